package triage

import (
	"math"
	"time"
)

// Stays returns the probability, 0 to 1, that a settled swarm that hangs at (lat, lon) at
// from still hangs there at to. Both are local times: their location tells the local date.
// A to before from gives 1.
//
// The time to leaving is exponential in scouting hours, with the mean of weights.toml: 20
// daylight hours (Villa, Ann. Entomol. Soc. Am. 97:111-116, 2004). Only that mean and "about
// two days" are published; the shape is judgement, the cautious one for the first hours.
func Stays(from, to time.Time, lat, lon float64) float64 {
	return stillThere(ScoutingHours(from, to, lat, lon))
}

// stillThere returns the probability that a swarm still hangs after so many more hours in
// which scouts could fly.
func stillThere(scoutingHours float64) float64 {
	return math.Exp(-scoutingHours / tables.Stay.MeanHours)
}

// ScoutingHours returns in how many hours between from and to scouts may fly, if the weather
// is fair: from 9 to 18 by the sun (judgement: they start when the air has warmed and are
// home by evening), never before sunrise or after sunset. At night the swarm stays, so that
// one seen at five in the afternoon is very likely there at dawn. Days beyond the sixtieth
// are not counted: no swarm is left by then.
func ScoutingHours(from, to time.Time, lat, lon float64) float64 {
	var hours float64
	y, m, d := from.Date()
	for n := -1; n < 60; n++ { // yesterday too: where clock and sun disagree, its window may end today
		day := time.Date(y, m, d+n, 12, 0, 0, 0, from.Location())
		if day.Add(-24 * time.Hour).After(to) {
			break
		}
		noon := solarNoon(day, lon)
		if noon.Add(12*time.Hour).Before(from) || noon.Add(-12*time.Hour).After(to) {
			continue
		}
		opens, closes := scoutingWindow(noon, lat, lon)
		hours += overlap(opens, closes, from, to).Hours()
	}
	return hours
}

// scoutingWindow returns when scouts may fly around a noon by the sun; both are the same when
// the sun does not rise.
func scoutingWindow(noon time.Time, lat, lon float64) (opens, closes time.Time) {
	up := func(t time.Time) bool { return altitude(t, lat, lon) > atHorizon }
	if !up(noon) {
		return noon, noon
	}
	clock := tables.Stay
	opens = noon.Add(seconds((clock.ScoutsFrom - 12) * 3600))
	closes = noon.Add(seconds((clock.ScoutsTo - 12) * 3600))
	if !up(opens) {
		opens = crossing(opens, noon, lat, lon, atHorizon)
	}
	if !up(closes) {
		closes = crossing(noon, closes, lat, lon, atHorizon)
	}
	return opens, closes
}

// overlap returns how long two spans of time have in common.
func overlap(from1, to1, from2, to2 time.Time) time.Duration {
	if from2.After(from1) {
		from1 = from2
	}
	if to2.Before(to1) {
		to1 = to2
	}
	return max(0, to1.Sub(from1))
}
