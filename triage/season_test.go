package triage

import (
	"testing"
	"time"
)

// The 40 N date is the 5 % point of Normal(15 May, 15.7 d) computed from Gilley et al. 2018;
// the shift is 2.5 days a degree from Villa 2004.
func TestSeasonMovesWithLatitude(t *testing.T) {
	for _, c := range []struct {
		why           string
		lat           float64
		opens, inside string
	}{
		{"New Jersey", 40, "2026-04-19", "2026-05-15"},
		{"Baton Rouge: 24 days sooner", 30.45, "2026-03-26", "2026-04-20"},
		{"Ithaca", 42.444, "2026-04-25", "2026-06-01"},
		{"Sydney, half a year later", -33.87, "2026-10-03", "2026-11-15"},
	} {
		opens, _ := Season(2026, c.lat, time.UTC)
		if got := opens.Format(time.DateOnly); got != c.opens {
			t.Errorf("%s: opens %s, want %s", c.why, got, c.opens)
		}
		day, _ := time.Parse(time.DateOnly, c.inside)
		if !InSeason(day, c.lat) {
			t.Errorf("%s: %s is not in the season", c.why, c.inside)
		}
		if InSeason(opens.AddDate(0, 0, -1), c.lat) {
			t.Errorf("%s: the day before it opens is in the season", c.why)
		}
	}
}
