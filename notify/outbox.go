package notify

import (
	"context"
	"time"
)

// Outbox is where committed messages wait for their turn.
type Outbox interface {
	// Lease takes up to max messages of channel (safety first) that may go out this
	// instant and holds their lines for hold. The lease is the attempt intent: when it
	// runs out unfinished, the message comes back as LeftOpen.
	Lease(ctx context.Context, channel Channel, max int, hold time.Duration) (Leased, error)
	// Finish records how a send ended: it removes the message, or puts it back for later,
	// and lets the next one of its line step forward. A stale fence changes nothing but
	// the provider id. An Ambiguous end without Drop leaves the attempt open: the message
	// comes back as LeftOpen after Result.After. With Drop it is removed whatever the End.
	Finish(ctx context.Context, done Done) error
}

// Leased is what a Lease call handed out.
type Leased struct {
	Items []Lease
	Wait  time.Duration // when nothing was due: how long until something may be, at most
}

// Lease is one message in flight.
type Lease struct {
	Outgoing
	Fence int64
	State LeaseState
	Since time.Time // when the earlier attempt began, with LeftOpen
	// Stands is the line that is held. It is Line() of the message, unless an older version of
	// this program filed it, or it cannot be read; then it is not for us to work out.
	Stands string
}

// LeaseState says what to do with a leased message.
type LeaseState string

// The lease states.
const (
	Fresh    LeaseState = "fresh"     // send it
	LeftOpen LeaseState = "left_open" // an earlier attempt began and nobody recorded its end
	OptedOut LeaseState = "opted_out" // its recipient has opted out
	Unfunded LeaseState = "unfunded"  // the day's money is spent; only safety goes out
	Detour   LeaseState = "detour"    // its channel does not work; it has another address

	Unreadable LeaseState = "unreadable" // what is stored of it cannot be read: it only stands in its line's way
)

// Done is the end of one attempt.
type Done struct {
	Lease  Lease
	Result Result
	Drop   string // when the message will not be sent (again): why ("stale", "opted_out", "superseded", "unfunded", "gave_up", "in_doubt")
	// Unsent says that nothing was handed over this time: an earlier attempt was looked up
	// instead, and Result is what became of that one.
	Unsent bool
}

// Sign is what an attempt tells of its channel: "works" when the provider answered, "fails"
// when it seems dead, "" when it says nothing.
func (done Done) Sign() string {
	switch r := done.Result; {
	case done.Unsent:
		return ""
	case r.End == Accepted, r.End == Refused:
		return "works"
	case r.End == Ambiguous, r.End == RetryLater && r.Down:
		return "fails"
	}
	return ""
}

// Ending sums an attempt up for a store, in one word: "accepted", "dropped" (never handed
// over), "refused", "later", "doubted" (nobody will know, and it is not sent again) or "open".
func (done Done) Ending() string {
	switch end := done.Result.End; {
	case end == Accepted:
		return "accepted"
	case end == "" && done.Drop != "":
		return "dropped"
	case end == Refused, end == RetryLater && done.Drop != "":
		return "refused"
	case end == RetryLater:
		return "later"
	case done.Drop != "":
		return "doubted"
	}
	return "open"
}
