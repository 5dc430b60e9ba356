package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

func num(f float64) *float64 { return &f }

// TestSameSwarm weighs pairs of reports. Two pins 0.001 degrees of latitude apart are 111 m
// apart (a degree is 111.2 km).
func TestSameSwarm(t *testing.T) {
	pin := func(north float64) *intake.Place {
		return &intake.Place{Lat: 42.444 + north, Lon: -76.502, PrecisionM: 20}
	}
	street := func(text string) *intake.Place {
		return &intake.Place{Lat: 42.4462, Lon: -76.4903, Text: text, PrecisionM: 400}
	}
	center := DefaultSettings().reading().Center
	words := func(text string) *intake.Place {
		return &intake.Place{Lat: center.Lat, Lon: center.Lon, Text: text, PrecisionM: center.PrecisionM}
	}
	town := func(text string) *intake.Place {
		return &intake.Place{Lat: 42.523, Lon: -76.391, Text: text, PrecisionM: 900}
	}
	ball := func(p *intake.Place, surface string) intake.Answers {
		return intake.Answers{Shape: "hanging_cluster", Surface: surface, Place: p}
	}
	paper := intake.Answers{Shape: "paper_ball", Surface: "eave", Place: pin(0)}
	for _, row := range []struct {
		why  string
		a, b intake.Answers
		gap  time.Duration
		same bool
	}{
		{"two pins in one garden", ball(pin(0), "branch"), ball(pin(0.0005), "branch"), time.Hour, true},
		{"one says bush, one says branch", ball(pin(0), "branch"), ball(pin(0.0005), "shrub"), time.Hour, true},
		{"one garden, one on a wall and one on a branch", ball(pin(0), "branch"), ball(pin(0.0005), "wall"), time.Hour, false},
		{"a paper nest is no swarm", ball(pin(0), "eave"), paper, time.Hour, false},
		{"two pins 560 m apart", ball(pin(0), "branch"), ball(pin(0.005), "branch"), time.Hour, false},
		{"one house", ball(street("14 Mill Ln"), "fence"), ball(street("14 mill lane"), ""), time.Hour, true},
		{"the neighbour reports it", ball(street("14 Mill Ln"), "fence"), ball(street("16 Mill Ln"), "fence"), time.Hour, true},
		{"the other end of the street", ball(street("14 Mill Ln"), "fence"), ball(street("212 Mill Ln"), "fence"), time.Hour, false},
		{"the same words, which only a person can read", ball(words("behind the red barn"), "branch"), ball(words("Behind the red barn."), "branch"), time.Hour, true},
		{"other words", ball(words("behind the red barn"), "branch"), ball(words("by the mill"), "branch"), time.Hour, false},
		{"a town is not enough", ball(town("Dunmere"), "branch"), ball(town("in Dunmere"), "branch"), time.Hour, false},
		{"a place and none", ball(pin(0), "branch"), ball(nil, "branch"), time.Hour, false},
		{"the same spot a day later, of another age", func() intake.Answers { a := ball(pin(0), ""); a.AgeH = num(1); return a }(),
			func() intake.Answers { a := ball(pin(0.001), ""); a.AgeH = num(1); return a }(), 26 * time.Hour, false},
		{"far apart in height", func() intake.Answers { a := ball(pin(0), ""); a.HeightM = num(1); return a }(),
			func() intake.Answers { a := ball(pin(0.001), ""); a.HeightM = num(8); return a }(), time.Hour, false},
	} {
		at := time.Date(2026, 5, 12, 14, 0, 0, 0, time.UTC)
		s := DefaultSettings().reading()
		w := sameSwarm(row.a, row.b, at, at.Add(row.gap), s)
		if (w >= sameFrom) != row.same {
			t.Errorf("%s: weight %.1f, want same %v", row.why, w, row.same)
		}
		if back := sameSwarm(row.b, row.a, at.Add(row.gap), at, s); back != w {
			t.Errorf("%s: weighs %.1f one way and %.1f the other", row.why, w, back)
		}
	}
}

// crewed is a model with two catchers and a steward.
func crewed(t *testing.T) *model {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Stewards = []string{"telegram:5550199"}
	for i, id := range []string{"ada", "bram"} {
		m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{
			ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: walkers[4+i], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3,
		}})
	}
	return m
}

// says hears texts of one person and returns what they were answered.
func (m *model) says(t testing.TB, from notify.Address, texts ...string) []string {
	t.Helper()
	before := len(m.sent)
	for _, text := range texts {
		m.hear(t, Said{Event: EventID(fmt.Sprintf("tw:s%d", len(m.seen))), From: from, Text: text})
	}
	return m.got(from, before)
}

// got returns the texts to one person since before.
func (m *model) got(to notify.Address, before int) []string {
	var texts []string
	for _, msg := range m.sent[before:] {
		if msg.To == to {
			texts = append(texts, msg.Text)
		}
	}
	return texts
}

const oneSwarm = "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"

// TestManyCallersOneSwarm lets ten people tell of one swarm: catchers are asked once, and
// every caller hears what becomes of it.
func TestManyCallersOneSwarm(t *testing.T) {
	m := crewed(t)
	var callers []notify.Address
	for n := range 10 {
		from := notify.Address(fmt.Sprintf("sms:+1607555%04d", 150+n))
		callers = append(callers, from)
		m.says(t, from, oneSwarm)
	}
	offers := 0
	for _, msg := range m.sent {
		if msg.Class == notify.Offer {
			offers++
		}
	}
	if offers != 2 {
		t.Errorf("ten reports of one swarm made %d offers to two catchers", offers)
	}
	before := len(m.sent)
	m.says(t, walkers[4], "TAKE", "ETA 20", "THERE", "BOXED", "LIFTED", "HIVED")
	for _, from := range callers {
		all := strings.Join(m.got(from, before), "\n")
		if !strings.Contains(all, "about") || !strings.Contains(all, "in a box") || !strings.Contains(all, "taken the box home") {
			t.Errorf("a caller heard only %q", all)
		}
	}
	for _, c := range m.calls(t) {
		for _, timer := range c.Timers {
			if c.Ended.IsZero() || !timer.At.IsZero() && timer.Purpose != scrubPurpose {
				t.Errorf("%s is %s, next step %+v", c.Reference, c.Stage, timer)
			}
		}
	}
}

// TestJoinedGoOnAlone ends the first call in the ways that say nothing of the swarm itself:
// who had joined gets catchers asked, and none is left behind.
func TestJoinedGoOnAlone(t *testing.T) {
	for _, word := range []string{"STOP", "no sorry it is a grey paper nest with wasps"} {
		m := crewed(t)
		m.says(t, walkers[0], oneSwarm)
		m.says(t, walkers[1], oneSwarm)
		m.says(t, walkers[2], oneSwarm)
		m.says(t, walkers[0], word)
		open := 0
		for _, c := range m.calls(t) {
			if c.Ended.IsZero() && c.Joined == "" {
				open++
				if len(c.Also) != 1 || c.next().IsZero() || c.Stage != Looking {
					t.Errorf("after %q %s is %s with %d joined, next step %v", word, c.Reference, c.Stage, len(c.Also), c.next())
				}
			}
		}
		if open != 1 {
			t.Errorf("after %q %d calls are open for one swarm", word, open)
		}
	}
}

// TestFlownForAll holds that one word of the first caller or the catcher is news for all.
func TestFlownForAll(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], oneSwarm)
	m.says(t, walkers[1], oneSwarm)
	before := len(m.sent)
	m.says(t, walkers[0], "GONE")
	if got := strings.Join(m.got(walkers[1], before), " "); !strings.Contains(got, "flown on") {
		t.Errorf("the second caller heard %q", got)
	}
	m = crewed(t)
	m.says(t, walkers[0], oneSwarm)
	m.says(t, walkers[1], oneSwarm)
	before = len(m.sent)
	if got := strings.Join(m.says(t, walkers[1], "GONE"), " "); !strings.Contains(got, "pass it on") {
		t.Errorf("the second caller's GONE got %q", got)
	}
	if got := strings.Join(m.got(walkers[0], before), " "); !strings.Contains(got, "If that is so, text GONE") {
		t.Errorf("the first caller heard %q", got)
	}
}

// TestOneSwarmCountsOnce holds that reports which joined another are no calls of the ledger.
func TestOneSwarmCountsOnce(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], oneSwarm)
	m.says(t, walkers[1], oneSwarm)
	m.says(t, walkers[4], "TAKE", "FLOWN")
	counted := 0
	for k, doc := range m.docs {
		if k.Kind != KindCall {
			continue
		}
		_, counts, err := ReadEntry(doc)
		if err != nil {
			t.Fatal(err)
		}
		if counts {
			counted++
		}
	}
	if calls := m.calls(t); counted != 1 || len(calls) != 2 || calls[0].Ended.IsZero() || calls[1].Ended.IsZero() {
		t.Errorf("%d of %d calls count, want one of two ended ones", counted, len(calls))
	}
}
