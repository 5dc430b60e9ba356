package bot

import (
	"time"

	"skepline/notify"
)

// EventID names one event for ever: a second arrival of the same id gets the outcome of the
// first. It is given by the outside ("tw:<MessageSid>", "tg:<bot>:<update_id>",
// "st:<MessageSid>:<status>", "tm:<timer id>:<n>", "web:<nonce>", "sw:<nonce>",
// "ro:<nonce>" for a roster command), never invented at commit time.
type EventID string

// Event is something that happened. The set is closed: Decide has one line for each.
type Event interface {
	ID() EventID
	isEvent()
}

// Said is words from a person, with whatever came along.
type Said struct {
	Event    EventID
	From     notify.Address
	Text     string   // as typed; "" when only something else came
	Photos   []string // pictures as the provider names them: "tg:<file id>", "tw:<message sid>/<media sid>"
	Pin      *Point   // a shared location
	Card     string   `json:",omitempty"` // a contact card that may hold a place, as the provider names it: "tw:<message sid>/<media sid>"
	Other    string   // what else came that we cannot read: "voice", "sticker", "contact", "video", "document", "garbled"
	Language string   // of the sender's profile, "en", "es"; "" when the channel does not say
	Profile  string   // first name in the sender's profile; "" when the channel does not say
	// OptOut is set when the carrier itself handled an opt-out word ("STOP", "START",
	// "HELP") and has already answered.
	OptOut string
}

// Point is a place on earth.
type Point struct {
	Lat        float64 // degrees north
	Lon        float64 // degrees east
	PrecisionM float64 // radius in metres, 0 when not said
	Title      string  // the name that came with it
}

// Tapped is a press on a button of ours.
type Tapped struct {
	Event    EventID
	From     notify.Address
	Says     string // the button's words, as we made them
	Language string
	Profile  string
}

// Rang is a phone call to the hotline's number.
type Rang struct {
	Event EventID
	From  notify.Address
}

// Blocked is a person who shut (or opened again) a channel to us, as the provider reports it.
type Blocked struct {
	Event EventID
	From  notify.Address
	Open  bool // true: they opened it again
}

// Fired is a timer that went off.
type Fired struct {
	Timer Timer
}

// Undelivered is the final failure of a message that had been accepted, or was refused.
type Undelivered struct {
	Event   EventID
	Message notify.Message // what it was; Text may be gone
	Reason  string         // "bad_number", "opted_out", "blocked", "unreachable", "twilio_30007", …
}

// Enrolled is a roster command that adds a catcher or changes one.
type Enrolled struct {
	Event   EventID
	Catcher notify.Catcher
	Token   string // SHA-256 hex of the invitation token, when the address is still open
}

// Dismissed is a roster command that takes a catcher out.
type Dismissed struct {
	Event   EventID
	Catcher string
}

// ID returns the event's id.
func (e Said) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Tapped) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Rang) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Blocked) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Fired) ID() EventID { return e.Timer.Event() }

// ID returns the event's id.
func (e Undelivered) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Enrolled) ID() EventID { return e.Event }

// ID returns the event's id.
func (e Dismissed) ID() EventID { return e.Event }

func (Said) isEvent()        {}
func (Tapped) isEvent()      {}
func (Rang) isEvent()        {}
func (Blocked) isEvent()     {}
func (Fired) isEvent()       {}
func (Undelivered) isEvent() {}
func (Enrolled) isEvent()    {}
func (Dismissed) isEvent()   {}

// sender returns the address an event came from, "" when it came from no person.
func sender(e Event) notify.Address {
	switch e := e.(type) {
	case Said:
		return e.From
	case Tapped:
		return e.From
	case Rang:
		return e.From
	case Blocked:
		return e.From
	case Undelivered:
		return e.Message.To
	}
	return ""
}

// Timer is an event in waiting. Its id says whose it is and what for ("<call id>/round"),
// so that setting it again moves it; N counts the moves.
type Timer struct {
	ID string    `json:"id"`
	N  int       `json:"n"`
	At time.Time `json:"at"`
}
