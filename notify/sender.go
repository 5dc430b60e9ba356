package notify

import (
	"context"
	"time"
)

// Sender hands one message to a provider. Each channel's door is one.
type Sender interface {
	// Send hands out to the provider and says how that ended. It never returns before it
	// knows, or before ctx ends.
	Send(ctx context.Context, out Outgoing) Result
}

// Outgoing is a message on its way out.
type Outgoing struct {
	Message
	EditsProvider string // the provider's id of the message that Edits names; "" when it is not known
	Attempt       int    // 1 for the first
}

// End is how a send ended.
type End string

// The four ends.
const (
	Accepted   End = "accepted"    // the provider has it
	Refused    End = "refused"     // it will never be taken: do not send it again
	RetryLater End = "retry_later" // it was not taken, and may be later
	Ambiguous  End = "ambiguous"   // nobody knows whether it was taken
)

// Result is how a send ended and what follows.
type Result struct {
	End        End
	ProviderID string        // the provider's id of an accepted message
	Reason     string        // a short code for logs and for the call: "opted_out", "bad_number", "blocked", "twilio_30007" …
	After      time.Duration // with RetryLater: not before
	Pause      bool          // with RetryLater: hold the whole channel for After
	Down       bool          // with RetryLater: the provider cannot be reached or lets us not in
}
