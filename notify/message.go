package notify

import (
	"strings"
	"time"
)

// Class says how much a message matters and what becomes of it in doubt: its place in the
// queue, whether it is sent again when nobody knows whether it arrived, and whether it may
// be dropped.
type Class string

// The classes, in the order in which they go out when there is not enough room for all.
const (
	Safety   Class = "safety"   // an emergency or a sting: its own lane, resent in doubt
	Claim    Class = "claim"    // "yours": to the one who holds the call
	Taken    Class = "taken"    // "no need to go"
	Offer    Class = "offer"    // a call put to a catcher
	Question Class = "question" // a question to a caller
	Relay    Class = "relay"    // words from one person to another
	News     Class = "news"     // who comes and when
	Reminder Class = "reminder" // dusk, tomorrow morning
	Goodbye  Class = "goodbye"  // the one answer to an opt-out
)

// Classes lists every class, in that order.
var Classes = []Class{Safety, Claim, Taken, Offer, Question, Relay, News, Reminder, Goodbye}

// Message is one thing to say to one person. It is data: it is stored in the outbox by the
// commit that decided it and sent by the delivery loop.
type Message struct {
	ID        string     `json:"id"`             // derived from the event that caused it
	To        Address    `json:"to"`             // where it goes
	Also      Address    `json:"also,omitempty"` // the same person on another channel, for safety and claims
	Recipient string     `json:"recipient"`      // whose line it stands in: the person's id
	Class     Class      `json:"class"`
	Text      string     `json:"text"`              // final words, at most MaxText
	Buttons   [][]Button `json:"buttons,omitempty"` // rows; channels without buttons leave them out
	Pin       *Pin       `json:"pin,omitempty"`     // a place to show on a map; SMS shows a link in Text instead
	Photos    []string   `json:"photos,omitempty"`  // pictures to pass on, as the provider named them ("tg:<file id>")
	Link      *Link      `json:"link,omitempty"`    // the link whose token is filled in when it goes out
	Edits     string     `json:"edits,omitempty"`   // the id of an earlier message to change in place
	Silent    bool       `json:"silent,omitempty"`  // no sound
	Still     Still      `json:"still"`             // sent only while this holds
	At        time.Time  `json:"at,omitzero"`       // when it was decided
	NotAfter  time.Time  `json:"not_after"`         // stale from then on; zero = never
}

// Button is a tap that says something: Says is what Decide hears, at most 64 bytes.
type Button struct {
	Label string `json:"label"`
	Says  string `json:"says"`
}

// Link says which link a text carries. The text itself holds a mask in the token's place:
// only the hash of a token is ever stored.
type Link struct {
	Seed string `json:"seed"` // what the token is made of, together with the secret
	Hash string `json:"hash"` // SHA-256 of the token, in hex
}

// Pin is a point on the map with a title.
type Pin struct {
	Lat     float64 `json:"lat"` // degrees north
	Lon     float64 `json:"lon"` // degrees east
	Title   string  `json:"title"`
	Address string  `json:"address"`
}

// Still is the condition under which a message is still worth sending, checked against the
// documents right before it goes out. Empty fields are not checked.
type Still struct {
	Call      string   `json:"call,omitempty"`   // the call that the fields below speak of
	Stages    []string `json:"stages,omitempty"` // the call is in one of these stages
	Offer     string   `json:"offer,omitempty"`  // this catcher's offer is open
	Holder    string   `json:"holder,omitempty"` // this catcher holds the call
	Epoch     int      `json:"epoch,omitempty"`  // not checked: which take of the call made them the holder
	Reference string   `json:"ref,omitempty"`    // not checked: the call's, with Epoch
	Asked     string   `json:"asked,omitempty"`  // the recipient still owes an answer to this question
}

// Lane is a due-set of the outbox. A channel has three, in this order: "sms!" for safety,
// "sms" for what is said, and "sms~" for what only changes something said before.
type Lane string

// Lane returns the lane of m.
func (m Message) Lane() Lane { return Lane(string(m.To.Channel()) + m.mark()) }

// Line returns the name of the line in which m waits its turn: one line a recipient, one more
// for safety, so that an emergency text never waits for a message in flight, and one for
// changes, so that taking back an old offer never holds up a new one.
func (m Message) Line() string { return m.Recipient + m.mark() }

// lineMarks end the names of lines and lanes that are not the ordinary one.
const lineMarks = "!~"

func (m Message) mark() string {
	switch {
	case m.Class == Safety:
		return "!"
	case m.Edits != "":
		return "~"
	}
	return ""
}

// WhoseLine returns the recipient in whose line a message waits; see Message.Line.
func WhoseLine(line string) string { return strings.TrimRight(line, lineMarks) }

// LanesOf lists the lanes of a channel, in the order in which they go.
func LanesOf(c Channel) []Lane { return []Lane{Lane(c) + "!", Lane(c), Lane(c) + "~"} }
