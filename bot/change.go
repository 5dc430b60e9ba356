package bot

import (
	"strings"
	"time"

	"skepline/notify"
)

// Key names one document.
type Key struct {
	Kind string // KindPerson, KindCall, KindCatcher, KindPhoto
	ID   string
}

// The kinds of documents.
const (
	KindPerson  = "person"
	KindCall    = "call"
	KindCatcher = "catcher"
)

// Document is one stored document. The store reads its version and pointer and treats the
// body as opaque bytes.
type Document struct {
	Key     Key
	Version int64  // 0 = not stored yet
	Loose   bool   // a count that may lose one in a race: it is written whatever its version is by now
	Pointer *Key   // the document this one points to (a person's open call), loaded along with it
	Body    []byte // JSON; written empty, the document is erased
}

// Change is everything that follows from one event. It is committed whole, by one script,
// or not at all; messages leave only after that.
type Change struct {
	Event     EventID
	Payload   string     // hash of the event, to notice two events under one id
	Outcome   Outcome    // kept under the event's id and returned to every later arrival
	Documents []Document // to write; Version is the version they were loaded at
	Checks    []Check    // read, and must still be at this version
	Cards     []Card     // board cards to set or clear
	Roster    []RosterCard
	Finds     []Find           // look-up entries to set or clear
	Stops     []Stop           // opt-outs
	Timers    []TimerChange    // set, moved or cleared
	Messages  []notify.Message // to the outbox, in this order
	Errands   []Errand         // look-ups to be made outside
	Closed    []Closed         // calls that ended
}

// Outcome is what came of an event, in codes ("won", "late"): at most 200 bytes, no words,
// no personal data. Decide's outcomes are the Outcome constants.
type Outcome string

// Check says at which version a document must still be for the change to hold.
type Check struct {
	Key     Key
	Version int64
}

// Card is one field of the board: "c:<call id>" or "k:<catcher id>". A nil Body clears it.
type Card struct {
	Field string
	Body  []byte
}

// RosterCard is one roster entry. A nil Catcher removes it.
type RosterCard struct {
	ID      string
	Catcher *notify.Catcher
}

// Find is one look-up entry: "ref:<reference>" or "tok:<sha256 hex>" to an id. An empty
// Subject clears it.
type Find struct {
	Name    string
	Subject string
}

// Stop sets or lifts a person's opt-out.
type Stop struct {
	Person string
	Lift   bool
}

// TimerChange sets or moves a timer, or clears it when Clear is set.
type TimerChange struct {
	Timer
	Clear bool
}

// Closed enters a call into the list of ended ones.
type Closed struct {
	Call string
	At   time.Time
}

// Event returns the id under which t's going off is an event.
func (t Timer) Event() EventID {
	return EventID("tm:" + t.ID + ":" + itoa(t.N))
}

// Timer takes the event id of a timer that went off ("tm:<timer id>:<n>") apart.
func (e EventID) Timer() (id, n string, ok bool) {
	rest, ok := strings.CutPrefix(string(e), "tm:")
	i := strings.LastIndex(rest, ":")
	if !ok || i < 1 {
		return "", "", false
	}
	return rest[:i], rest[i+1:], true
}
