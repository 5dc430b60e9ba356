package bot

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/triage"
)

// Entry is what the ledger keeps of one ended call: when and roughly where, what the caller
// saw, what triage made of it, who took it and what it turned out to be. Nothing in it is the
// caller's: no name, number, address or words.
type Entry struct {
	Reference     string
	Opened, Ended time.Time
	Outcome       Stage          // the stage it ended at
	Answers       intake.Answers // those about the bees; no place, name or access
	Assessment    triage.Assessment
	Found         triage.Kind // what it turned out to be, "" where nobody looked
	Placed        bool        // Lat and Lon are told
	Lat, Lon      float64     // degrees north and east, rounded to about a kilometre
	Asked         int         // catchers asked
	Catcher       string      // id of the last one who took it
	Taken, There  time.Time   // the last time each; zero = never
	Boxed, Hived  time.Time
	OnSite        OnSite // what its catchers saw and did there
	TrapLine      bool   // a catch of a bait box: nobody was asked, nobody called
}

// NotHoneyBees is what was found where nobody told the kind.
const NotHoneyBees triage.Kind = "not_honey_bees"

// placesTo is how many digits of a degree the ledger keeps: 0.01 is about a kilometre, which
// names a neighbourhood and no house.
const placesTo = 2

// ReadEntry reads a call's document. It reports false for one that is still open, was part of
// another, or is not there.
func ReadEntry(doc Document) (Entry, bool, error) {
	if doc.Version == 0 {
		return Entry{}, false, nil
	}
	var c Call
	if err := json.Unmarshal(doc.Body, &c); err != nil {
		return Entry{}, false, fmt.Errorf("the call %s cannot be read: %w", doc.Key.ID, err)
	}
	if c.Ended.IsZero() || c.Joined != "" { // one swarm counts once
		return Entry{}, false, nil
	}
	return entryOf(&c), true, nil
}

func entryOf(c *Call) Entry {
	e := Entry{
		Reference: c.Reference, Opened: c.Opened, Ended: c.Ended, Outcome: c.Stage,
		Answers: aboutTheBees(c.Answers), Assessment: c.Assessment, Asked: len(c.Offers), OnSite: c.OnSite, TrapLine: c.By == byTrapLine,
	}
	if p := c.Answers.Place; p != nil && p.PrecisionM < intake.InWordsOnly {
		e.Placed, e.Lat, e.Lon = true, roundedTo(p.Lat, placesTo), roundedTo(p.Lon, placesTo)
	}
	if c.Holder != nil {
		e.Catcher, e.Taken = c.Holder.Catcher, c.Holder.Taken
	}
	e.There, e.Boxed, e.Hived = c.storyTime(There), c.storyTime(Boxed), c.storyTime(Hived)
	e.Found = c.turnedOut()
	return e
}

// aboutTheBees returns a without what is about people and houses.
func aboutTheBees(a intake.Answers) intake.Answers {
	a.Place, a.Name, a.Access, a.Owner = nil, "", "", ""
	return a
}

func roundedTo(v float64, digits int) float64 {
	unit := math.Pow10(digits)
	return math.Round(v*unit) / unit
}

// storyTime returns when the call last came to a stage.
func (c *Call) storyTime(s Stage) time.Time {
	var at time.Time
	for _, line := range c.Story {
		if line.What == string(s) {
			at = line.At
		}
	}
	return at
}

// turnedOut returns what the call turned out to be, as somebody saw who went there. Bees in
// a box are a swarm; what flew on before anybody came is not known.
func (c *Call) turnedOut() triage.Kind {
	switch {
	case c.Found != "":
		return c.Found
	case !c.storyTime(Boxed).IsZero() || !c.storyTime(Lifted).IsZero() || !c.storyTime(Hived).IsZero():
		return triage.HoneyBeeSwarm
	case slices.ContainsFunc(c.Story, func(l Line) bool { return strings.HasPrefix(l.What, "not_bees") }):
		return NotHoneyBees
	}
	return ""
}

// Caught reports whether the bees ended up with a beekeeper.
func (e Entry) Caught() bool { return e.Outcome == Hived || e.Outcome == Lifted }

// ToTake returns how long it took until the catcher who ended up with it took it, and
// whether anybody did.
func (e Entry) ToTake() (time.Duration, bool) {
	return e.Taken.Sub(e.Opened), !e.Taken.IsZero() && !e.TrapLine
}

// ClosedCalls is the part of the store that the ledger reads.
type ClosedCalls interface {
	// ClosedCalls returns the ids of the calls that ended from one time to another, both
	// included, oldest first.
	ClosedCalls(ctx context.Context, from, to time.Time) ([]string, error)
	Documents(ctx context.Context, keys []Key) ([]Document, error)
}

// EachEntry hands every call that ended from one time to another to do, oldest first, a
// batch of documents in memory at a time. progress, when not nil, hears how many of how many
// calls have been read.
func EachEntry(ctx context.Context, st ClosedCalls, from, to time.Time, progress func(read, all int), do func(Entry) error) error {
	const batch = 100
	ids, err := st.ClosedCalls(ctx, from, to)
	if err != nil {
		return err
	}
	for read := 0; read < len(ids); read += batch {
		part := ids[read:min(read+batch, len(ids))]
		keys := make([]Key, len(part))
		for i, id := range part {
			keys[i] = Key{KindCall, id}
		}
		docs, err := st.Documents(ctx, keys)
		if err != nil {
			return err
		}
		for _, doc := range docs {
			e, ended, err := ReadEntry(doc)
			if err != nil {
				return err
			}
			if ended {
				if err := do(e); err != nil {
					return err
				}
			}
		}
		if progress != nil {
			progress(min(read+batch, len(ids)), len(ids))
		}
	}
	return nil
}

// Lesson returns what triage can learn from the entry, and whether the kind is known.
func (e Entry) Lesson() (triage.Lesson, bool) {
	return triage.Lesson{Answers: e.Answers, Kind: e.Found}, slices.Contains(triage.Kinds, e.Found)
}

// Summary is a season in numbers.
type Summary struct {
	From, To    time.Time // the first call's opening and the last one's
	Calls       int
	Outcomes    map[Stage]int
	Weeks       []Week
	ToTake      []time.Duration // sorted
	Catchers    []CatcherSummary
	Places      []Spot
	Reliability Reliability
	Confusion   map[triage.Route]map[triage.Kind]int // what was done with it, what it was
}

// Week counts the calls opened in one week; Monday is its first day, in the hotline's zone.
type Week struct {
	Monday      time.Time
	Calls       int
	Caught      int
	Expected    float64 // its share, 0 to 1, of a season's swarms at that latitude
	SwarmCalls  int     // offered, or found to be a swarm
	ExpectedOut float64 // Expected times the season's swarm calls
}

// CatcherSummary is what one catcher did. Of the calls, only those that they held last.
type CatcherSummary struct {
	ID                             string
	Took, Caught, Flown, NotASwarm int
	Trapped                        int // of those caught, in their own bait boxes
	MedianToTake                   time.Duration
	toTake                         []time.Duration
}

// Spot is one call on the map.
type Spot struct {
	Lat, Lon float64
	Outcome  Stage
}

// Summing gathers entries for a Summary.
type Summing struct {
	settings *Settings
	sum      Summary
	weeks    map[time.Time]*Week
	catchers map[string]*CatcherSummary
}

// NewSumming returns an empty one for a hotline.
func NewSumming(s *Settings) *Summing {
	return &Summing{
		settings: s, weeks: map[time.Time]*Week{}, catchers: map[string]*CatcherSummary{},
		sum: Summary{Outcomes: map[Stage]int{}, Confusion: map[triage.Route]map[triage.Kind]int{}},
	}
}

// Add counts one entry.
func (g *Summing) Add(e Entry) {
	s := &g.sum
	s.Calls++
	s.Outcomes[e.Outcome]++
	if s.From.IsZero() || e.Opened.Before(s.From) {
		s.From = e.Opened
	}
	if e.Opened.After(s.To) {
		s.To = e.Opened
	}
	g.addWeek(e)
	took, asked := e.ToTake()
	if asked {
		s.ToTake = append(s.ToTake, took)
	}
	if asked || e.TrapLine {
		g.addCatcher(e, took)
	}
	if e.Placed {
		s.Places = append(s.Places, Spot{e.Lat, e.Lon, e.Outcome})
	}
	if e.Found != "" && len(e.Assessment.Kinds) > 0 {
		s.Reliability.add(e.Assessment.Likelihood, e.Found == triage.HoneyBeeSwarm)
		if s.Confusion[e.Assessment.Route] == nil {
			s.Confusion[e.Assessment.Route] = map[triage.Kind]int{}
		}
		s.Confusion[e.Assessment.Route][e.Found]++
	}
}

func (g *Summing) addWeek(e Entry) {
	monday := mondayOf(e.Opened.In(g.settings.Zone()))
	w := g.weeks[monday]
	if w == nil {
		w = &Week{Monday: monday}
		g.weeks[monday] = w
	}
	w.Calls++
	if e.Caught() {
		w.Caught++
	}
	if e.Found == triage.HoneyBeeSwarm || e.Found == "" && e.Assessment.Route == triage.RouteOffer {
		w.SwarmCalls++
	}
}

func mondayOf(t time.Time) time.Time {
	y, m, d := t.Date()
	back := (int(t.Weekday()) + 6) % 7
	return time.Date(y, m, d-back, 0, 0, 0, 0, t.Location())
}

func (g *Summing) addCatcher(e Entry, took time.Duration) {
	k := g.catchers[e.Catcher]
	if k == nil {
		k = &CatcherSummary{ID: e.Catcher}
		g.catchers[e.Catcher] = k
	}
	k.Took++
	if e.TrapLine {
		k.Trapped++
	} else {
		k.toTake = append(k.toTake, took)
	}
	switch {
	case e.Caught():
		k.Caught++
	case e.Outcome == Flown:
		k.Flown++
	case e.Found != "" && e.Found != triage.HoneyBeeSwarm:
		k.NotASwarm++
	}
}

// Summary returns what has been added so far.
func (g *Summing) Summary() Summary {
	s := g.sum
	s.ToTake = slices.Sorted(slices.Values(s.ToTake))
	s.Weeks = g.weekList()
	s.Catchers = nil
	for _, k := range g.catchers {
		k.MedianToTake = Quantile(slices.Sorted(slices.Values(k.toTake)), 0.5)
		s.Catchers = append(s.Catchers, *k)
	}
	slices.SortFunc(s.Catchers, func(a, b CatcherSummary) int {
		return cmp.Or(cmp.Compare(b.Caught, a.Caught), cmp.Compare(b.Took, a.Took), cmp.Compare(a.ID, b.ID))
	})
	return s
}

// weekList returns every week from the first to the last, empty ones too, each with what is
// expected of it.
func (g *Summing) weekList() []Week {
	if len(g.weeks) == 0 {
		return nil
	}
	swarms := 0
	for _, w := range g.weeks {
		swarms += w.SwarmCalls
	}
	first := mondayOf(g.sum.From.In(g.settings.Zone()))
	last := mondayOf(g.sum.To.In(g.settings.Zone()))
	var list []Week
	for monday := first; !monday.After(last); monday = monday.AddDate(0, 0, 7) {
		w := Week{Monday: monday}
		if known := g.weeks[monday]; known != nil {
			w = *known
		}
		for day := range 7 {
			w.Expected += triage.SeasonShare(monday.AddDate(0, 0, day), g.settings.Latitude)
		}
		w.ExpectedOut = w.Expected * float64(swarms)
		list = append(list, w)
	}
	return list
}

// Quantile returns the value below which share q of sorted lies, the nearest rank; 0 for
// none.
func Quantile(sorted []time.Duration, q float64) time.Duration {
	if len(sorted) == 0 {
		return 0
	}
	i := int(math.Ceil(q*float64(len(sorted)))) - 1
	return sorted[min(max(i, 0), len(sorted)-1)]
}

// Reliability compares what was predicted with what was found, in ten bins of likelihood.
// Only calls that somebody looked at count, and those are mostly the likely ones.
type Reliability struct {
	Bins [10]Bin
	N    int
	sum  float64 // of squared errors
}

// Bin is one tenth of the likelihoods.
type Bin struct {
	N         int
	Swarms    int
	Predicted float64 // mean likelihood of its calls
}

func (r *Reliability) add(p float64, swarm bool) {
	b := &r.Bins[min(int(p*10), 9)]
	truth := 0.0
	if swarm {
		truth = 1
		b.Swarms++
	}
	b.Predicted = (b.Predicted*float64(b.N) + p) / float64(b.N+1)
	b.N++
	r.N++
	r.sum += (p - truth) * (p - truth)
}

// Brier returns the mean squared error of the predictions, 0 best and 1 worst (Brier, Monthly
// Weather Review 78:1-3, 1950, in its two-class half form); NaN with no calls.
func (r Reliability) Brier() float64 { return r.sum / float64(r.N) }

// Observed returns the share of swarms in b.
func (b Bin) Observed() float64 { return float64(b.Swarms) / float64(b.N) }

// Between returns the 95 % Wilson score interval of Observed (Wilson, J. Am. Stat. Assoc.
// 22:209-212, 1927).
func (b Bin) Between() (low, high float64) {
	const z = 1.959964
	n, p := float64(b.N), b.Observed()
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}
