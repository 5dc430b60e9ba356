package triage

import (
	"math"
	"time"

	"skepline/intake"
)

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
