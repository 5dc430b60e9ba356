package triage

import (
	"math"
	"time"

	"skepline/intake"
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

// SeasonShare returns what share, 0 to 1, of a year's swarms is expected on the local date of
// day at a latitude in degrees north. The shares of 365 days add up to 1.
//
// Nine tenths are normal around 15 May at 40 degrees north, with a standard deviation of 15.7
// days (Gilley, Courtright, Thom, Environ. Entomol. 47:603-608, 2018: 15 May +/- 0.6, n = 689,
// taken for a standard error), moved by the days a degree of weights.toml. The last tenth,
// even over June to September, stands for late swarms: judgement.
func SeasonShare(day time.Time, latitude float64) float64 {
	const (
		peak      = 134.5 // 15 May, in days since New Year
		deviation = 15.7
		late      = 0.1
		lateFrom  = 151.0 // 1 June
		lateDays  = 122.0 // to 30 September
	)
	noon := time.Date(day.Year(), day.Month(), day.Day(), 12, 0, 0, 0, time.UTC)
	on, _ := seasonDay(intake.Answers{}, Scene{At: noon, Latitude: latitude, Longitude: 1})
	from := math.Remainder(on-peak, daysInYear)
	share := (1 - late) / (deviation * math.Sqrt(2*math.Pi)) * math.Exp(-from*from/(2*deviation*deviation))
	if on >= lateFrom && on < lateFrom+lateDays {
		share += late / lateDays
	}
	return share
}
