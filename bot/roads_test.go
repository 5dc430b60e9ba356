package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// atMillLane is a report with a point, so that drives can be looked up.
const atMillLane = "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln https://maps.google.com/?q=42.446,-76.490 I can reach it"

func withRoads(t *testing.T) *model {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Travel.OSRM = "https://osrm.example.org"
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: atMillLane})
	return m
}

// TestFirstRoundGoesByRoad holds that a road server is asked once, for rounded homes, and
// that its answer decides when a catcher would be there.
func TestFirstRoundGoesByRoad(t *testing.T) {
	m := withRoads(t)
	if len(m.errands) != 1 || m.errands[0].Roads == nil || len(m.errands[0].Roads.From) != 3 || len(m.calls(t)[0].Offers) > 0 {
		t.Fatalf("look-ups %+v, offers %v", m.errands, m.calls(t)[0].Offers)
	}
	e := m.errands[0]
	minutes := make([]float64, 3)
	for i, from := range e.Roads.From {
		if from.Lat != roundedTo(from.Lat, homeTo) || from.Lon != roundedTo(from.Lon, homeTo) {
			t.Errorf("a road server is told %v", from)
		}
		if minutes[i] = 50; from.Catcher == "chidi" {
			minutes[i] = 7
		}
	}
	m.hear(t, Returned{Errand: e, Minutes: minutes})
	c := m.calls(t)[0]
	if len(c.Offers) != 3 || c.Offers[0].Catcher != "chidi" {
		t.Fatalf("asked %+v, want Chidi first: the others live across the river", c.Offers)
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[6], Text: "TAKE 30"})
	// Half an hour, three minutes to get going, seven on the road, rounded up to five.
	if got, want := m.calls(t)[0].Holder.ETA, m.now.Add(40*time.Minute); !got.Equal(want) {
		t.Errorf("Chidi is expected %v, want %v", got, want)
	}
	m.hear(t, Said{Event: "tw:2", From: walkers[0], Text: "it is about 8 ft up"})
	if len(m.errands) != 1 {
		t.Errorf("the same drives are looked up again: %+v", m.errands[1:])
	}
}

// TestNothingWaitsForTheRoads holds that without an answer the first round begins in seconds,
// by the formula.
func TestNothingWaitsForTheRoads(t *testing.T) {
	m := withRoads(t)
	m.wait(t, errandWaited)
	if c := m.calls(t)[0]; len(c.Offers) != 3 {
		t.Fatalf("after %v the offers are %+v", errandWaited, c.Offers)
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE 30"})
	want := m.now.Add(30*time.Minute + m.drives(t, "ada"))
	if got := m.calls(t)[0].Holder.ETA; got.Before(want) || got.After(want.Add(5*time.Minute)) {
		t.Errorf("expected %v, want %v", got, want)
	}
	m.hear(t, Returned{Errand: m.errands[0], Minutes: []float64{10, 10, 10}})
	if c := m.calls(t)[0]; len(c.Roads) != 3 || c.RoadsErrand != "" {
		t.Errorf("a late answer is lost: %+v", c)
	}
	if got := m.hear(t, Returned{Errand: Errand{ID: "foreign", Call: m.calls(t)[0].ID, Roads: &RoadsAsked{}}}); got != OutcomeStale {
		t.Errorf("an answer that nobody waits for is %q", got)
	}
}

// drives is what the formula says of a catcher's way to the call.
func (m *model) drives(t *testing.T, catcher string) time.Duration {
	p := m.calls(t)[0].Answers.Place
	far := notify.FarFrom(m.roster[catcher], *p)
	return time.Duration(m.settings.travel().Minutes(far.Km) * float64(time.Minute))
}

// TestTravelSettings holds that a club's own detour and speed decide.
func TestTravelSettings(t *testing.T) {
	slow := notify.Travel{Detour: 2, KmH: 30}
	if got, want := slow.Minutes(15), 63.0; got != want {
		t.Errorf("15 km take %v minutes, want %v", got, want)
	}
	if got, want := (notify.Travel{}).Minutes(15), notify.Minutes(15); got != want {
		t.Errorf("unset, 15 km take %v minutes, want %v", got, want)
	}
	m := withRoads(t)
	m.settings.Travel = Travel{Detour: 5, KmH: 5}
	m.wait(t, errandWaited)
	m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE 30"})
	if got, least := m.calls(t)[0].Holder.ETA, m.now.Add(30*time.Minute+m.drives(t, "ada")); got.Before(least) {
		t.Errorf("expected %v, want not before %v", got, least)
	}
}

// TestStandIsOldAfterAWhile holds that a catcher sets out from where they said they are, and
// from home again when that is old; and that a job leaves no exact place behind.
func TestStandIsOldAfterAWhile(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:pin", From: walkers[4], Pin: &Point{Lat: 42.44612, Lon: -76.49012}})
	m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: atMillLane})
	far := m.calls(t)[0].offer("ada").Far
	if !far.Out || far.Km > 0.1 {
		t.Errorf("from the pin it is %+v", far)
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE"})
	m.hear(t, Said{Event: "tw:2", From: walkers[4], Text: "BOXED"})
	var k Catcher
	decode(t, m.docs[Key{KindCatcher, "ada"}].Body, &k)
	if k.Stand.Lat != roundedTo(42.446, placesTo) || k.Stand.Until.Sub(m.now) > afterSite {
		t.Errorf("after a job Ada stands at %+v", k.Stand)
	}
	m.wait(t, standFor)
	m.hear(t, Said{Event: "tw:again", From: walkers[1], Text: strings.Replace(atMillLane, "42.446", "42.476", 1)})
	for _, c := range m.calls(t) {
		if o := c.offer("ada"); o != nil && c.Stage == Looking && o.Far.Out {
			t.Errorf("hours later Ada still sets out from there: %+v", o.Far)
		}
	}
}
