package triage

import (
	"math"
	"time"
)

// The season at 40 degrees north. In New Jersey swarm clusters had their mean on 15 May (n =
// 689; Gilley, Courtright, Thom, Environ. Entomol. 47:603-608, 2018); if its +/- 0.6 d is a
// standard error, five in a hundred come before 19 April. That the tail lasts into August is
// judgement. South-east Louisiana peaks 25 days earlier 9.8 degrees farther south (Villa
// 2004): 2.5 days a degree.
const (
	seasonOpensDay  = 109 // day of the year at 40 degrees: 19 April
	seasonClosesDay = 232 // 20 August
	daysPerDegree   = 2.5
)

// Season returns when the swarm season of a year opens and closes at a latitude, as local
// midnights in loc. South of the equator it may close in the following year.
func Season(year int, lat float64, loc *time.Location) (opens, closes time.Time) {
	shift := daysPerDegree * (min(max(math.Abs(lat), 25), 55) - 40)
	if lat < 0 {
		shift += daysInYear / 2
	}
	day := func(n float64) time.Time { return time.Date(year, 1, int(math.Round(n+shift)), 0, 0, 0, 0, loc) }
	return day(seasonOpensDay), day(seasonClosesDay)
}

// InSeason reports whether t lies in a swarm season at that latitude.
func InSeason(t time.Time, lat float64) bool {
	for _, year := range []int{t.Year() - 1, t.Year()} {
		if opens, closes := Season(year, lat, t.Location()); !t.Before(opens) && t.Before(closes) {
			return true
		}
	}
	return false
}
