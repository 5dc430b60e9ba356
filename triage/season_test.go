package triage

import (
	"math"
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

// Gilley, Courtright, Thom 2018 (New Jersey, about 40 N): mean 15 May. Computed from it with a
// standard deviation of 15.7 days: .176 of the normal part in April, .674 in May, .146 in June.
func TestSeasonShare(t *testing.T) {
	sum := func(latitude float64, from, to time.Month) (share float64) {
		for day := time.Date(2026, from, 1, 0, 0, 0, 0, time.UTC); day.Month() <= to && day.Year() == 2026; day = day.AddDate(0, 0, 1) {
			share += SeasonShare(day, latitude)
		}
		return share
	}
	for _, row := range []struct {
		why      string
		latitude float64
		from, to time.Month
		want     float64
	}{
		{"the whole year", 40, 1, 12, 1},
		{"the whole year in the south", -37, 1, 12, 1},
		{"April", 40, 4, 4, .9 * .176},
		{"May", 40, 5, 5, .9 * .674},
		{"June with its late swarms", 40, 6, 6, .9*.146 + .1*30/122},
		{"August, late swarms alone", 40, 8, 8, .1 * 31 / 122},
		{"Louisiana is done by June (Villa 2004: early April to early May)", 30.5, 3, 5, .9},
	} {
		if got := sum(row.latitude, row.from, row.to); math.Abs(got-row.want) > .02 {
			t.Errorf("%s: %.3f, want %.3f", row.why, got, row.want)
		}
	}
	may, november := SeasonShare(time.Date(2026, 5, 15, 0, 0, 0, 0, time.UTC), 40), SeasonShare(time.Date(2026, 11, 14, 0, 0, 0, 0, time.UTC), -40)
	if math.Abs(may-november) > .001 {
		t.Errorf("the south's middle of the season is %g, the north's %g", november, may)
	}
}
