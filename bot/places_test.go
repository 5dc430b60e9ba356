package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

const barn = "hanging cluster of bees on the fence, nobody stung, behind the red barn, I can reach it"

// asksOut is a model with a map server, and a call whose place only that may know.
func asksOut(t *testing.T) (*model, Errand) {
	m := crewed(t)
	m.settings.Places.Nominatim = "https://maps.example.org"
	m.says(t, walkers[0], "hanging cluster of bees on the fence, nobody stung, I can reach it", "behind the red barn")
	if len(m.errands) != 1 {
		t.Fatalf("%d errands", len(m.errands))
	}
	return m, m.errands[0]
}

func spot(lat, lon, precision float64, name string) intake.Spot {
	return intake.Spot{Name: name, Place: intake.Place{Lat: lat, Lon: lon, Text: "behind the red barn", PrecisionM: precision}}
}

func (m *model) offers() []string {
	var texts []string
	for _, msg := range m.sent {
		if msg.Class == notify.Offer {
			texts = append(texts, msg.Text)
		}
	}
	return texts
}

// TestFirstRoundWaitsForTheMap holds that a look-up is used by the first round when it is
// quick, and never waited for when it is not.
func TestFirstRoundWaitsForTheMap(t *testing.T) {
	m, errand := asksOut(t)
	if len(m.offers()) != 0 {
		t.Fatal("the round did not wait")
	}
	m.hear(t, Returned{Errand: errand, Spots: []intake.Spot{spot(42.452, -76.48, 60, "Red Barn")}})
	if offers := m.offers(); len(offers) != 2 || strings.Contains(offers[0], "not on the map") {
		t.Errorf("the first offers are %q", offers)
	}

	m, errand = asksOut(t)
	m.wait(t, errandWaited)
	if offers := m.offers(); len(offers) != 2 || !strings.Contains(offers[0], "not on the map") {
		t.Errorf("without an answer the first offers are %q", offers)
	}
	m.hear(t, Returned{Errand: errand, Spots: []intake.Spot{spot(42.452, -76.48, 60, "Red Barn")}})
	offers := m.offers()
	if last := offers[len(offers)-1]; len(offers) != 4 || strings.Contains(last, "not on the map") {
		t.Errorf("a late answer changed the offers to %q", offers)
	}
	for _, c := range m.calls(t) {
		if c.Answers.Place.Text != "behind the red barn" || c.Answers.Place.PrecisionM != 60 {
			t.Errorf("the place is %+v", c.Answers.Place)
		}
	}
}

// TestMapAnswers lets a look-up come back in every odd way.
func TestMapAnswers(t *testing.T) {
	far := spot(44.2, -76.5, 60, "Red Barn, Elsewhere")
	for _, row := range []struct {
		why   string
		spots []intake.Spot
		want  string // in what the caller reads
	}{
		{"nothing found", nil, "volunteers asked"},
		{"two places", []intake.Spot{spot(42.452, -76.48, 60, "Red Barn, Dunmere"), spot(42.40, -76.55, 60, "Red Barn, Fernhollow")}, "1 Red Barn, Dunmere 2 Red Barn, Fernhollow 3 Somewhere else"},
		{"one near, one far", []intake.Spot{far, spot(42.452, -76.48, 60, "Red Barn")}, "volunteers asked"},
		{"outside", []intake.Spot{far}, "outside the area"},
	} {
		m, errand := asksOut(t)
		before := len(m.sent)
		m.hear(t, Returned{Errand: errand, Spots: row.spots})
		if got := strings.Join(m.got(walkers[0], before), " "); !strings.Contains(got, row.want) {
			t.Errorf("%s: the caller reads %q, want %q", row.why, got, row.want)
		}
		if again := m.hear(t, Returned{Errand: errand, Spots: row.spots}); again != OutcomeNoted {
			t.Errorf("%s: the same answer again is %q", row.why, again)
		}
	}
}

// TestStaleMapAnswer holds that an answer about words that were taken back changes nothing.
func TestStaleMapAnswer(t *testing.T) {
	m, errand := asksOut(t)
	m.hear(t, Said{Event: "tw:pin", From: walkers[0], Pin: &Point{Lat: 42.446, Lon: -76.49}})
	m.hear(t, Returned{Errand: errand, Spots: []intake.Spot{spot(42.40, -76.55, 60, "Red Barn")}})
	for _, c := range m.calls(t) {
		if c.Answers.Place.Lat != 42.446 {
			t.Errorf("the pin gave way to %+v", c.Answers.Place)
		}
	}
	m.says(t, walkers[0], "GONE")
	m.wait(t, time.Hour)
	late := errand
	late.ID = "another"
	if got := m.hear(t, Returned{Errand: late}); got != OutcomeStale {
		t.Errorf("an answer to nobody is %q", got)
	}
}

// TestNeighbour finds who serves a place.
func TestNeighbour(t *testing.T) {
	s := DefaultSettings()
	s.Neighbours = append(s.Neighbours, Neighbour{Name: "Near Club", Link: "https://near.example.org", Latitude: 42.9, Longitude: -76.5, RadiusKm: 20})
	for _, row := range []struct {
		lat  float64
		want string
	}{{42.99, "Saltmarsh Beekeepers"}, {42.91, "Near Club"}, {44, ""}} {
		got := ""
		if n := s.Neighbour(intake.Place{Lat: row.lat, Lon: -76.5}); n != nil {
			got = n.Name
		}
		if got != row.want {
			t.Errorf("at %v: %q, want %q", row.lat, got, row.want)
		}
	}
}

// TestBuiltInPlaces holds that a real club does not find invented streets.
func TestBuiltInPlaces(t *testing.T) {
	s := DefaultSettings()
	if n := BuiltInPlaces(s).Len(); n < 20 {
		t.Errorf("%d invented places", n)
	}
	s.Latitude = 40
	if n := BuiltInPlaces(s).Len(); n != 0 {
		t.Errorf("%d invented places around a real club", n)
	}
}
