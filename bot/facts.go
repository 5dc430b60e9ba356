package bot

import (
	"time"

	"skepline/intake"
	"skepline/notify"
)

// Facts is everything that Decide may look at.
type Facts struct {
	Settings  *Settings
	Secret    []byte // for ids that must not be guessed
	Now       time.Time
	Event     Event
	Documents []Document // loaded so far
	Finds     []Find     // looked up so far
	Roster    []notify.Catcher
	Board     *notify.Board     // nil = roster and board not loaded
	Around    []*Surroundings   // by place, as far as loaded
	Places    *intake.Gazetteer // nil = not loaded
	Again     bool              // it was decided before and conflicted: nothing is assumed now
	Season    *Summary          // of the season so far; nil = not loaded
	Day       *DaySum           // of the day that was asked for; nil = not loaded
}

// Need is what Decide lacks. It is loaded and Decide runs again from the start: that keeps
// the rule of what an event needs in one place, the rule that uses it.
type Need struct {
	Keys   []Key
	Find   string
	Roster bool
	Around *intake.Place
	Places bool
	Season bool
	Day    time.Time // the midnight at which the day to sum up begins; zero = none
}

func (n Need) none() bool {
	return len(n.Keys) == 0 && n.Find == "" && !n.Roster && n.Around == nil && !n.Places && !n.Season && n.Day.IsZero()
}

func (f *Facts) add(docs []Document) {
	f.Documents = append(f.Documents, docs...)
}

func (f *Facts) document(k Key) (Document, bool) {
	for _, d := range f.Documents {
		if d.Key == k {
			return d, true
		}
	}
	return Document{}, false
}

func (f *Facts) found(name string) (string, bool) {
	for _, s := range f.Finds {
		if s.Name == name {
			return s.Subject, true
		}
	}
	return "", false
}
