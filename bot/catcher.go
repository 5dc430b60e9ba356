package bot

import (
	"slices"
	"time"

	"skepline/notify"
)

// Catcher is one volunteer as promises need it: what they hold and what they are asked.
type Catcher struct {
	Schema int `json:"schema"`
	notify.Catcher
	Person    string       `json:"person,omitempty"` // set once the invitation is used
	Token     string       `json:"token,omitempty"`  // SHA-256 of an unused invitation
	AwayUntil time.Time    `json:"away,omitzero"`
	Asks      []string     `json:"asks,omitempty"`     // calls whose offer is open
	Fresh     time.Time    `json:"fresh,omitzero"`     // when last asked
	Holds     []string     `json:"holds,omitempty"`    // calls held, until hived
	Active    []string     `json:"active,omitempty"`   // of these, on the way to or at the swarm: a box that waits for dusk makes nobody busy
	Kept      []string     `json:"kept,omitempty"`     // of the asks, those to which they are the fallback
	Takes     []time.Time  `json:"takes,omitempty"`    // calls taken, last eight weeks
	Drops     []time.Time  `json:"drops,omitempty"`    // of these, given back before they were there
	Stand     notify.Stand `json:"stand,omitzero"`     // where they are, when not at home
	Released  string       `json:"released,omitempty"` // the call that was taken from them last, for being late
	Wrote     string       `json:"wrote,omitempty"`    // the ended call whose caller wrote last: answers go there for a day
	Diary     []Reminder   `json:"diary,omitempty"`    // what they are told on later days
	Timers    []CallTimer  `json:"timers,omitempty"`   // of the diary
	Boxes     []BaitBox    `json:"boxes,omitempty"`    // the trap line
	Pings     []time.Time  `json:"pings,omitempty"`    // asks that led to no job, last three weeks

	Habits notify.Habits `json:"habits,omitzero"` // how they answer
}

// card returns the catcher's board card.
func (c *Catcher) card() notify.CatcherCard {
	card := notify.CatcherCard{
		AwayUntil: c.AwayUntil, Busy: len(c.Active) > 0, Kept: len(c.Kept) > 0, Today: c.Takes, LastAsk: c.Fresh, Asks: c.Pings, Habits: c.Habits,
		Stand: c.Stand,
	}
	if len(c.Asks) > 0 {
		card.OpenAsk = c.Asks[len(c.Asks)-1]
	}
	return card
}

// asked notes an open offer.
func (c *Catcher) asked(call string, now time.Time) {
	c.Asks = append(without(c.Asks, call), call)
	c.Fresh = now
	c.Pings = append(since(c.Pings, now.Add(-21*24*time.Hour)), now)
}

// took notes that the catcher holds call now; that ask was no waste.
func (c *Catcher) took(call string, now time.Time) {
	c.Asks, c.Kept = without(c.Asks, call), without(c.Kept, call)
	c.Released = ""
	c.Holds = append(without(c.Holds, call), call)
	c.Active = append(without(c.Active, call), call)
	c.Takes = append(since(c.Takes, now.Add(-notify.JobsKept)), now)
	if n := len(c.Pings); n > 0 {
		c.Pings = c.Pings[:n-1]
	}
}

// let notes that the catcher has no more to do with call.
func (c *Catcher) let(call string) {
	c.Asks, c.Holds, c.Active = without(c.Asks, call), without(c.Holds, call), without(c.Active, call)
	c.Kept = without(c.Kept, call)
}

// takesOn counts the calls taken on the local day of now.
func (c *Catcher) takesOn(now time.Time) int {
	n := 0
	for _, t := range c.Takes {
		if y, m, d := t.In(now.Location()).Date(); y == now.Year() && m == now.Month() && d == now.Day() {
			n++
		}
	}
	return n
}

func without[T comparable](list []T, gone T) []T {
	return slices.DeleteFunc(slices.Clone(list), func(s T) bool { return s == gone })
}

func since(times []time.Time, from time.Time) []time.Time {
	return slices.DeleteFunc(slices.Clone(times), func(t time.Time) bool { return t.Before(from) })
}
