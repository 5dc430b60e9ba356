package triage

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Source: Villa, Ann. Entomol. Soc. Am. 97:111-116 (2004): mean 20 daylight hours; the
// exponential values are computed from it.
func TestStillThere(t *testing.T) {
	for _, row := range []struct{ hours, want float64 }{
		{0, 1}, {1, .951}, {2, .905}, {4, .819}, {6, .741}, {8, .670}, {10, .607}, {15, .472}, {20, .368}, {30, .223}, {40, .135},
	} {
		if got := stillThere(row.hours); math.Abs(got-row.want) > 0.0006 {
			t.Errorf("after %g h: %.4f, want %.3f", row.hours, got, row.want)
		}
	}
}

// Quillbrook County in May: solar noon is at 13:02, so scouts fly from about 10 to 19 by
// the clock.
func TestStays(t *testing.T) {
	ny := zone(t, "America/New_York")
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 5, day, hour, minute, 0, 0, ny) }
	for _, row := range []struct {
		why      string
		from, to time.Time
		want     float64
	}{
		{"six hours of a warm day: a quarter is gone", at(12, 11, 0), at(12, 17, 0), .741},
		{"two hours after noon", at(12, 14, 0), at(12, 16, 0), .905},
		{"from five in the afternoon to dawn: one hour for scouts at each end", at(12, 18, 2), at(13, 5, 0), .951},
		{"through the night nothing happens", at(12, 21, 0), at(13, 8, 0), 1},
		{"a whole day has nine hours", at(12, 8, 0), at(13, 8, 0), .638},
		{"two days and two hours: 20 hours of scouting", at(12, 8, 0), at(14, 12, 2), .368},
		{"backwards in time", at(12, 17, 0), at(12, 11, 0), 1},
		{"months later", at(1, 8, 0), at(1, 8, 0).AddDate(0, 4, 0), 0},
	} {
		if got := Stays(row.from, row.to, 42.444, -76.502); math.Abs(got-row.want) > 0.003 {
			t.Errorf("%s: %.4f, want %.3f", row.why, got, row.want)
		}
	}
}

func TestScoutingHoursOfOddPlaces(t *testing.T) {
	for _, row := range []struct {
		why, zone, date string
		lat, lon, want  float64
	}{
		{"winter at 52 N: from sunrise at about eight to sunset before four", "Europe/London", "2026-12-21", 51.5, -0.1, 6.8},
		{"polar day: nine hours by the sun", "Europe/Oslo", "2026-06-20", 69.65, 18.96, 9},
		{"polar night: none", "Europe/Oslo", "2026-12-21", 69.65, 18.96, 0},
		{"a clock six hours from the sun still counts a day's worth", "UTC", "2026-05-12", 42.444, -76.502, 9},
		{"the day the clock springs forward has its nine hours", "America/New_York", "2026-03-08", 40.7, -74, 8.9},
	} {
		in := zone(t, row.zone)
		day, err := time.ParseInLocation(time.DateOnly, row.date, in)
		if err != nil {
			t.Fatal(err)
		}
		if got := ScoutingHours(day, day.AddDate(0, 0, 1), row.lat, row.lon); math.Abs(got-row.want) > 0.15 {
			t.Errorf("%s: %.2f h, want %.2f", row.why, got, row.want)
		}
	}
}

// Waiting longer never makes a swarm likelier to be there, and a wait is the product of its
// parts.
func TestStaysProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyScene().Draw(t, "scene")
		first := time.Duration(rapid.Int64Range(0, 72*3600).Draw(t, "first")) * time.Second
		then := time.Duration(rapid.Int64Range(0, 72*3600).Draw(t, "then")) * time.Second
		middle, end := s.At.Add(first), s.At.Add(first+then)
		p1, p2 := Stays(s.At, middle, s.Latitude, s.Longitude), Stays(middle, end, s.Latitude, s.Longitude)
		whole := Stays(s.At, end, s.Latitude, s.Longitude)
		if p1 < whole-1e-9 || p1 > 1 || whole < 0 {
			t.Fatalf("there after %v: %g, after %v: %g", first, p1, first+then, whole)
		}
		if math.Abs(p1*p2-whole) > 1e-6 {
			t.Fatalf("%g times %g is not %g", p1, p2, whole)
		}
	})
}
