package triage

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

func on(month time.Month, day int) time.Time {
	return time.Date(2026, month, day, 12, 0, 0, 0, time.UTC)
}

func TestPriorOfThePlainMonthIsTheTable(t *testing.T) {
	for month := 1; month <= 12; month++ {
		got := prior(intake.Answers{Month: month}, Scene{Latitude: 40, Longitude: -76})
		if got != tables.month(month).P {
			t.Errorf("month %d: got %v, want %v", month, got, tables.month(month).P)
		}
	}
}

// The season moves 2.5 days a degree: Louisiana swarms about 20 April, New Jersey on 15 May
// (Villa 2004; Gilley et al. 2018).
func TestSeasonDay(t *testing.T) {
	for _, row := range []struct {
		why  string
		a    intake.Answers
		s    Scene
		want float64
	}{
		{"15 May at 40 N is itself", intake.Answers{}, Scene{At: on(time.May, 15), Latitude: 40, Longitude: -76}, 134.5},
		{"20 April in Louisiana is 15 May, give or take a day", intake.Answers{}, Scene{At: on(time.April, 20), Latitude: 30.2, Longitude: -91}, 134},
		{"further north the season is later, so the day counts as earlier", intake.Answers{}, Scene{At: on(time.May, 15), Latitude: 44, Longitude: -76}, 124.5},
		{"the tropics are not stretched to", intake.Answers{}, Scene{At: on(time.May, 15), Latitude: 5, Longitude: -76}, 172},
		{"southern November is May", intake.Answers{}, Scene{At: on(time.November, 14), Latitude: -40, Longitude: 175}, 135},
		{"the caller's latitude goes before the hotline's", intake.Answers{Latitude: metres(44)}, Scene{At: on(time.May, 15), Latitude: 40, Longitude: -76}, 124.5},
		{"so does the place", intake.Answers{Place: &intake.Place{Lat: 44}}, Scene{At: on(time.May, 15), Latitude: 40, Longitude: -76}, 124.5},
		{"a scene that says no place is at 40 N", intake.Answers{Month: 5}, Scene{}, 135.5},
		{"January turns into the year before", intake.Answers{}, Scene{At: on(time.January, 5), Latitude: 44, Longitude: -76}, 359.5},
	} {
		got, known := seasonDay(row.a, row.s)
		if !known || math.Abs(got-row.want) > 1e-6 {
			t.Errorf("%s: got %v %t, want %v", row.why, got, known, row.want)
		}
	}
	if _, known := seasonDay(intake.Answers{}, Scene{}); known {
		t.Error("with neither month nor time a season was made up")
	}
	// Then it is the mean report of a year, which is more often of May than of January.
	if p := prior(intake.Answers{}, Scene{}).of(HoneyBeeSwarm); p < .30 || p > .40 {
		t.Errorf("a swarm from we know not when: %.3f", p)
	}
}

// Halfway between two middles the prior is halfway between two rows; it always sums to 1
// and never jumps from one day to the next.
func TestPriorIsSmooth(t *testing.T) {
	half := priorOn((monthMiddles[4]+monthMiddles[5])/2, Scene{}).of(HoneyBeeSwarm)
	if want := (.56 + .42) / 2; math.Abs(half-want) > 1e-12 {
		t.Errorf("between May and June: %g, want %g", half, want)
	}
	for day := 0.0; day < 365; day++ {
		p, next := priorOn(day, Scene{}), priorOn(math.Mod(day+1, 365), Scene{})
		if sum := p.dot(chances{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}); math.Abs(sum-1) > 1e-9 {
			t.Errorf("day %g sums to %g", day, sum)
		}
		for i := range p {
			if math.Abs(p[i]-next[i]) > 0.015 {
				t.Errorf("day %g: %s jumps from %g to %g", day, Kinds[i], p[i], next[i])
			}
		}
	}
}

func TestWinter(t *testing.T) {
	for _, row := range []struct {
		why  string
		a    intake.Answers
		s    Scene
		want bool
	}{
		{"January at 40 N", intake.Answers{Month: 1}, Scene{Latitude: 40, Longitude: -76}, true},
		{"July at 40 N", intake.Answers{Month: 7}, Scene{Latitude: 40, Longitude: -76}, false},
		{"January in Miami: wasps fly all year", intake.Answers{Month: 1}, Scene{Latitude: 25.8, Longitude: -80}, false},
		{"July in Christchurch", intake.Answers{Month: 7}, Scene{Latitude: -43.5, Longitude: 172}, true},
		{"no time known", intake.Answers{}, Scene{Latitude: 40, Longitude: -76}, false},
	} {
		if got := winter(row.a, row.s); got != row.want {
			t.Errorf("%s: %t", row.why, got)
		}
	}
}

func TestSeasonDayIsADayOfTheYear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day, _ := seasonDay(anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene"))
		if day < 0 || day >= 365 {
			t.Fatalf("day %g", day)
		}
	})
}
