package bot

import (
	"context"
	"errors"
	"strconv"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// Store keeps the hotline's state. bot/store fills it with Redis.
type Store interface {
	notify.Outbox
	ClosedCalls

	// Load begins an event in one round trip: the outcome of its first arrival if there
	// was one, else the person's document (when person is not "") with the document it
	// points to, and the subject that find names (when find is not "").
	// A person whom nobody knows yet comes with the documents in strangers instead.
	Load(ctx context.Context, event EventID, person, find string, strangers ...Key) (Loaded, error)
	// Documents returns the named documents in the order asked, those not stored yet at
	// version 0.
	Documents(ctx context.Context, keys []Key) ([]Document, error)
	// Find returns the subject of a look-up entry, "" when there is none.
	Find(ctx context.Context, name string) (string, error)
	// Roster returns every catcher, sorted by id. The result is shared: do not change it.
	Roster(ctx context.Context) ([]notify.Catcher, error)
	// Board returns the board as it stood a moment ago.
	Board(ctx context.Context) (notify.Board, error)
	// Around returns what of roster and board matters for a call at a place: who may go there,
	// and the calls within km of it, as far as their places are sure. It may be more, and is
	// all where the place is known in words only.
	Around(ctx context.Context, place intake.Place, km float64, now time.Time) (*Surroundings, error)
	// Commit applies a change, all or nothing. A repeated event changes nothing and
	// returns the stored outcome. ErrConflict means that a checked document moved.
	Commit(ctx context.Context, change Change) (Committed, error)

	// DueTimers returns up to max timers whose time has come by the store's clock, oldest
	// first, and how long until the next one after those.
	DueTimers(ctx context.Context, max int) (due []Timer, wait time.Duration, err error)
	// Postpone moves a timer that could not be handled, so that it holds up no other. One
	// that was set anew since it was read is left alone.
	Postpone(ctx context.Context, timer Timer, by time.Duration) error

	// Gazetteer returns the imported places, nil when there are none. The result is shared
	// and does not change.
	Gazetteer(ctx context.Context) (*intake.Gazetteer, error)
	// SetGazetteer keeps places, in the form of Gazetteer.Rows, instead of those before.
	SetGazetteer(ctx context.Context, rows []byte) error
	// LeaseErrand hands out one errand whose turn it is, for hold; it comes back when it was
	// not answered by then. At most one goes out every gap, over all replicas. Without one
	// it returns how long to wait.
	LeaseErrand(ctx context.Context, hold, gap time.Duration) (e *Errand, wait time.Duration, err error)

	// Report merges a delivery report into its message and returns the message when the
	// report is a final failure that was not reported before.
	Report(ctx context.Context, r DeliveryReport) (failed *notify.Message, err error)

	// Hold takes or renews a named lease for owner and reports whether owner has it.
	Hold(ctx context.Context, name, owner string, d time.Duration) (bool, error)
	// Release gives a named lease back, if owner has it.
	Release(ctx context.Context, name, owner string) error
	// Mark returns a named note of progress, "" when there is none; SetMark sets it.
	Mark(ctx context.Context, name string) (string, error)
	SetMark(ctx context.Context, name, value string) error

	// Spent returns how many SMS segments were sent on the UTC day of day; only the last two
	// days are known.
	Spent(ctx context.Context, day time.Time) (segments int, err error)

	// Now returns the store's clock.
	Now(ctx context.Context) (time.Time, error)
}

// Loaded is what an event starts from.
type Loaded struct {
	Seen      bool       // the event was handled before
	Outcome   Outcome    // its outcome, when Seen
	Documents []Document // the person's, then the one it points to, if any
	Found     string     // the subject that find names
}

// Surroundings is what of roster and board matters at a place. It is shared: do not change it.
type Surroundings struct {
	Place   intake.Place
	Roster  []notify.Catcher // sorted by id
	Board   notify.Board
	Members int // of the whole roster
}

// Committed is the answer to a commit.
type Committed struct {
	Outcome  Outcome
	Repeated bool // the event had been committed before; Outcome is that of the first time
	Mismatch bool // with Repeated: the payload is not that of the first time, two events under one id
}

// DeliveryReport is what a provider says of a message after it took it.
type DeliveryReport struct {
	Message    string // our message id
	ProviderID string
	Status     string // the provider's word: queued, sent, delivered, undelivered, failed, read …
	Code       string // the provider's error code, if any
}

// ErrConflict is returned by Commit when a checked document has moved on.
var ErrConflict = errors.New("conflict")

// Clock tells the time to loops; decisions get it as data.
type Clock interface {
	Now() time.Time
	// Sleep waits for d or until ctx ends.
	Sleep(ctx context.Context, d time.Duration) error
}

func itoa(n int) string { return strconv.Itoa(n) }
