package bot

import (
	"slices"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// Stage is how far a call has come. Moves go forward and may skip; a drop goes back to
// Looking.
type Stage string

// The stages, in order, then the ends.
const (
	Asking     Stage = "asking"
	Looking    Stage = "looking"
	Taken      Stage = "taken"
	There      Stage = "there"
	Boxed      Stage = "boxed"
	Lifted     Stage = "lifted"
	Hived      Stage = "hived"
	Flown      Stage = "flown"
	PassedOn   Stage = "passed_on"
	LeftAlone  Stage = "left_alone"
	Withdrawn  Stage = "withdrawn"
	Unfinished Stage = "unfinished"
)

// moves is the table of allowed moves.
var moves = map[Stage][]Stage{
	Asking:     {Looking, Flown, PassedOn, LeftAlone, Withdrawn, Unfinished},
	Looking:    {Taken, Flown, PassedOn, LeftAlone, Withdrawn},
	Taken:      {Looking, There, Boxed, Lifted, Hived, Flown, PassedOn, LeftAlone, Withdrawn},
	There:      {Looking, Boxed, Lifted, Hived, Flown, PassedOn, LeftAlone, Withdrawn},
	Boxed:      {Looking, Lifted, Hived, Flown}, // to Looking: somebody else fetches the box
	Lifted:     {Hived},
	PassedOn:   {Asking}, // "no, it is not paper": the caller corrects us
	LeftAlone:  {Asking},
	Unfinished: {Asking}, // resumed within a day
}

// MayMove reports whether a call may go from s to next.
func (s Stage) MayMove(next Stage) bool { return slices.Contains(moves[s], next) }

// Open reports whether a call at s still needs somebody.
func (s Stage) Open() bool { return slices.Contains(openStages, s) }

var openStages = []Stage{Asking, Looking, Taken, There, Boxed, Lifted}

// heldStages are the stages in which one catcher holds the call.
var heldStages = []Stage{Taken, There, Boxed, Lifted}

// Call is one swarm call from first text to last.
type Call struct {
	Schema      int               `json:"schema"`
	ID          string            `json:"id"`
	Reference   string            `json:"ref"` // "7KQ2": names the call, proves nothing
	Stage       Stage             `json:"stage"`
	Ended       time.Time         `json:"ended,omitzero"`
	Held        string            `json:"held,omitempty"` // why a steward must look
	Caller      Party             `json:"caller"`
	By          string            `json:"by,omitempty"` // "steward" when entered for somebody else
	Answers     intake.Answers    `json:"answers"`
	Assessment  triage.Assessment `json:"assessment,omitzero"`
	Emergency   bool              `json:"emergency,omitempty"` // somebody reacted badly to a sting
	Photos      []string          `json:"photos,omitempty"`
	Card        string            `json:"card,omitempty"` // the errand for a contact card under way
	Opened      time.Time         `json:"opened"`
	Promised    time.Time         `json:"promised,omitzero"` // by when the caller hears again
	Offers      []Offer           `json:"offers,omitempty"`
	Holder      *Holder           `json:"holder,omitempty"`
	Briefed     intake.Answers    `json:"briefed,omitzero"`  // what the holder was told
	Epoch       int               `json:"epoch,omitempty"`   // counts takes
	Weighed     *notify.Weighing  `json:"weighed,omitempty"` // what the last look at whom to ask went by
	Thin        bool              `json:"thin,omitempty"`    // stewards and caller know that nobody is free
	Referred    bool              `json:"referred,omitempty"`
	Told        []triage.Advice   `json:"told,omitempty"`  // advice the caller has had
	Found       triage.Kind       `json:"found,omitempty"` // what somebody saw who went there
	Timers      []CallTimer       `json:"timers,omitempty"`
	Story       []Line            `json:"story,omitempty"`     // what happened, in codes
	Seen        []Line            `json:"seen,omitempty"`      // who was shown the address: a catcher's id, "desk k3x7"; erased with it
	Joined      string            `json:"joined,omitempty"`    // the call of the same swarm that this report is part of
	Also        []string          `json:"also,omitempty"`      // reports that are part of this call
	Apart       []string          `json:"apart,omitempty"`     // calls that this one is not the same as
	LookedUp    string            `json:"looked_up,omitempty"` // the words of the place that were looked up last
	Area        bool              `json:"area,omitempty"`      // a town is all that is known of the place
	Errand      string            `json:"errand,omitempty"`    // the look-up of its place that is under way
	ErrandSince time.Time         `json:"errand_since,omitzero"`
	Roads       []Drive           `json:"roads,omitempty"`        // drives that were looked up
	RoadsTo     string            `json:"roads_to,omitempty"`     // marks the place they lead to
	RoadsErrand string            `json:"roads_errand,omitempty"` // the look-up that is under way
	Waits       bool              `json:"waits,omitempty"`        // the first round waits a moment for that
	Words       []Spoken          `json:"words,omitempty"`        // the conversation with the caller, for the desk; erased with the answers
	Links       []string          `json:"links,omitempty"`        // hashes of the links that open it
	InBox       bool              `json:"in_box,omitempty"`       // boxed by an earlier holder and still at the site
	OnSite      OnSite            `json:"on_site,omitzero"`       // what its catchers saw and did
	Reached     []Line            `json:"reached,omitempty"`      // when each stage was reached
	Relayed     int               `json:"relayed,omitempty"`      // words passed on between its two sides
	Frozen      string            `json:"frozen,omitempty"`       // "caller" or "holder" reported the other: no more words are passed on
}

// OnSite is what the catchers of a call saw and did there, in codes, for the ledger. What it
// was is in Call.Found.
type OnSite struct {
	Triage  string  `json:"triage,omitempty"`   // what became of it there: "right", "wrong_kind", "too_high", "unsafe", "colony", "flown"
	HeightM float64 `json:"height_m,omitempty"` // as a catcher saw it, when it was told
	Tries   int     `json:"tries,omitempty"`    // times they came out and were taken again
	Lift    string  `json:"lift,omitempty"`     // "evening" or "morning"
	Stayed  string  `json:"stayed,omitempty"`   // "yes" or "no", two weeks after hiving
	Frames  string  `json:"frames,omitempty"`   // "yes" or "no": whether the box has frames
	Size    string  `json:"size,omitempty"`     // "small", "medium" or "large", as its catcher saw it
	SizeKg  float64 `json:"size_kg,omitempty"`  // the same in kilograms, when a measure was told
}

// Party is a person as a call needs to reach them.
type Party struct {
	Person   string         `json:"person"`
	Address  notify.Address `json:"address"`
	Also     notify.Address `json:"also,omitempty"` // a second way to reach them
	Language string         `json:"language"`
}

// Offer is the call put to one catcher.
type Offer struct {
	notify.Ask
	Name    string     `json:"name"`
	Party   Party      `json:"party"`
	Message string     `json:"message"`         // id of the message that carries it
	Far     notify.Far `json:"far"`             // from the catcher's home
	Epoch   int        `json:"epoch,omitempty"` // takes of the call before this offer
	Until   time.Time  `json:"until,omitzero"`  // a fallback: when it is decided
	Next    bool       `json:"next,omitempty"`  // a yes: after the job that they are on
	Gain    float64    `json:"gain,omitempty"`  // as the rule weighed it when it was made, see notify.Pick
	Cost    float64    `json:"cost,omitempty"`
}

// Holder is the one catcher who has the call.
type Holder struct {
	Catcher string    `json:"catcher"`
	Name    string    `json:"name"`
	Party   Party     `json:"party"`
	Taken   time.Time `json:"taken"`
	ETA     time.Time `json:"eta,omitzero"`
	Word    string    `json:"word"` // the check word the caller hears it by
	Nudges  int       `json:"nudges,omitempty"`
	Heard   bool      `json:"heard,omitempty"` // somebody wrote since the caller was asked whether they came
	Phone   string    `json:"phone,omitempty"` // "yes" when the caller may be phoned
	Wrote   time.Time `json:"wrote,omitzero"`  // to the caller, last
}

// CallTimer is one timer of a call. It stays in the list when cleared, so that its count of
// moves never goes back.
type CallTimer struct {
	Purpose string    `json:"purpose"`
	N       int       `json:"n"`
	At      time.Time `json:"at,omitzero"` // zero = cleared
}

// Line is one thing that happened to a call: a code and a time, no words of anybody.
type Line struct {
	At   time.Time `json:"at"`
	What string    `json:"what"`
}

// offer returns the catcher's latest offer.
func (c *Call) offer(catcher string) *Offer {
	for i := len(c.Offers) - 1; i >= 0; i-- {
		if c.Offers[i].Catcher == catcher {
			return &c.Offers[i]
		}
	}
	return nil
}

// openOffers counts the offers that wait for an answer.
func (c *Call) openOffers() int {
	n := 0
	for _, o := range c.Offers {
		if o.State == notify.AskOpen {
			n++
		}
	}
	return n
}

// heldBy reports whether catcher has the call.
func (c *Call) heldBy(catcher string) bool {
	return catcher != "" && c.Ended.IsZero() && c.Holder != nil && c.Holder.Catcher == catcher
}

// timer returns the call's timer for purpose, adding it when there is none.
func (c *Call) timer(purpose string) *CallTimer {
	for i := range c.Timers {
		if c.Timers[i].Purpose == purpose {
			return &c.Timers[i]
		}
	}
	c.Timers = append(c.Timers, CallTimer{Purpose: purpose})
	return &c.Timers[len(c.Timers)-1]
}

// due returns when the call's timer for purpose goes off, zero when it is not set.
func (c *Call) due(purpose string) time.Time {
	for _, t := range c.Timers {
		if t.Purpose == purpose {
			return t.At
		}
	}
	return time.Time{}
}

// next returns when the call's next timer goes off, zero when none is set.
func (c *Call) next() time.Time {
	var next time.Time
	for _, t := range c.Timers {
		if !t.At.IsZero() && (next.IsZero() || t.At.Before(next)) {
			next = t.At
		}
	}
	return next
}
