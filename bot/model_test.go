package bot

import (
	"cmp"
	"encoding/json"
	"maps"
	"slices"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// model is a store in a few maps, for tests of decisions: it commits like the real one
// (versions, first outcomes, timers, messages in order) and forgets nothing.
type model struct {
	now      time.Time
	settings *Settings
	docs     map[Key]Document
	finds    map[string]string
	roster   map[string]notify.Catcher
	board    notify.Board
	timers   map[string]Timer
	seen     map[EventID]Outcome
	sent     []notify.Message
	places   *intake.Gazetteer
	errands  []Errand
}

func newModel(t testing.TB, now time.Time) *model {
	t.Helper()
	s := DefaultSettings()
	return &model{
		now: now.In(s.Zone()), settings: s, docs: map[Key]Document{}, finds: map[string]string{}, roster: map[string]notify.Catcher{},
		board:  notify.Board{Calls: map[string]notify.CallCard{}, Catchers: map[string]notify.CatcherCard{}},
		timers: map[string]Timer{}, seen: map[EventID]Outcome{}, places: BuiltInPlaces(s),
	}
}

var testSecret = []byte("a secret of thirty-two bytes, ok?")

// hear takes an event through Decide and the model's commit. Every decision is made twice
// and must come out the same to the byte.
func (m *model) hear(t testing.TB, e Event) Outcome {
	t.Helper()
	if o, ok := m.seen[e.ID()]; ok {
		return o
	}
	change := m.decide(t, e)
	if again := m.decide(t, e); asJSON(t, again) != asJSON(t, change) {
		t.Fatalf("%T decided twice gives two changes:\n%s\n%s", e, asJSON(t, change), asJSON(t, again))
	}
	m.commit(t, change)
	return change.Outcome
}

func (m *model) decide(t testing.TB, e Event) Change {
	t.Helper()
	f := Facts{Settings: m.settings, Secret: testSecret, Now: m.now, Event: e}
	for range 20 {
		change, need := Decide(f)
		if need.none() {
			return change
		}
		for _, k := range need.Keys {
			doc := m.docs[k]
			doc.Key = k
			f.Documents = append(f.Documents, doc)
		}
		if need.Find != "" {
			f.Finds = append(f.Finds, Find{need.Find, m.finds[need.Find]})
		}
		if need.Around != nil {
			roster := slices.SortedFunc(maps.Values(m.roster), func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
			f.Around = append(f.Around, &Surroundings{Place: *need.Around, Roster: roster, Board: m.board, Members: len(roster)})
		}
		if need.Places {
			f.Places = m.places
		}
		if need.Season {
			summing := NewSumming(m.settings)
			for _, c := range m.calls(t) {
				if !c.Ended.IsZero() {
					summing.Add(entryOf(&c))
				}
			}
			season := summing.Summary()
			f.Season = &season
		}
		if !need.Day.IsZero() {
			f.Day = &DaySum{Day: need.Day, Reported: 1}
		}
		if need.Roster {
			f.Roster = slices.SortedFunc(maps.Values(m.roster), func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
			f.Board = &m.board
		}
	}
	t.Fatalf("%T: Decide never has enough", e)
	return Change{}
}

func (m *model) commit(t testing.TB, c Change) {
	t.Helper()
	for _, check := range c.Checks {
		if m.docs[check.Key].Version != check.Version {
			t.Fatalf("check of %v at %d, stored is %d", check.Key, check.Version, m.docs[check.Key].Version)
		}
	}
	for _, d := range c.Documents {
		if m.docs[d.Key].Version != d.Version {
			t.Fatalf("write of %v at %d, stored is %d", d.Key, d.Version, m.docs[d.Key].Version)
		}
		if d.Version++; len(d.Body) == 0 {
			delete(m.docs, d.Key)
			continue
		}
		m.docs[d.Key] = d
	}
	for _, f := range c.Finds {
		m.finds[f.Name] = f.Subject
	}
	for _, r := range c.Roster {
		delete(m.roster, r.ID)
		if r.Catcher != nil {
			m.roster[r.ID] = *r.Catcher
		}
	}
	for _, card := range c.Cards {
		m.pin(t, card)
	}
	for _, tc := range c.Timers {
		delete(m.timers, tc.ID)
		if !tc.Clear {
			m.timers[tc.ID] = tc.Timer
		}
	}
	m.seen[c.Event] = c.Outcome
	m.sent = append(m.sent, c.Messages...)
	m.errands = append(m.errands, c.Errands...)
}

func (m *model) pin(t testing.TB, card Card) {
	t.Helper()
	id := card.Field[2:]
	if card.Field[0] == 'k' {
		if delete(m.board.Catchers, id); card.Body == nil {
			return
		}
		var k notify.CatcherCard
		decode(t, card.Body, &k)
		m.board.Catchers[id] = k
		return
	}
	delete(m.board.Calls, id)
	if card.Body != nil {
		var c notify.CallCard
		decode(t, card.Body, &c)
		m.board.Calls[id] = c
	}
}

// wait lets time pass; timers go off on the way, in order.
func (m *model) wait(t testing.TB, d time.Duration) {
	t.Helper()
	end := m.now.Add(d)
	for {
		due := slices.SortedFunc(maps.Values(m.timers), func(a, b Timer) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
		if len(due) == 0 || due[0].At.After(end) {
			m.now = end
			return
		}
		if due[0].At.After(m.now) {
			m.now = due[0].At.In(m.settings.Zone())
		}
		m.hear(t, Fired{Timer: due[0]})
	}
}

// calls returns every call, by id.
func (m *model) calls(t testing.TB) []Call {
	t.Helper()
	var all []Call
	for k, d := range m.docs {
		if k.Kind == KindCall {
			var c Call
			decode(t, d.Body, &c)
			all = append(all, c)
		}
	}
	slices.SortFunc(all, func(a, b Call) int { return cmp.Compare(a.ID, b.ID) })
	return all
}

func decode(t testing.TB, body []byte, v any) {
	t.Helper()
	if err := json.Unmarshal(body, v); err != nil {
		t.Fatal(err)
	}
}

func asJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
