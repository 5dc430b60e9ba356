package triage

import (
	"math"
	"slices"

	"skepline/intake"
)

// What is likely before the caller has said anything: the month, moved by the latitude and
// turned south of the equator.

const daysInYear = 365.0

// monthMiddles are the middles of the months, in days since New Year.
var monthMiddles = []float64{15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5}

// prior returns how likely each kind is for a report from that place at that time of year.
// With neither month nor time it is that of the mean report of a year.
func prior(a intake.Answers, s Scene) chances {
	day, known := seasonDay(a, s)
	if !known {
		return meanPrior
	}
	p := priorOn(day, s)
	if s.Africanized && !winter(a, s) {
		p = p.atLeast(HoneyBeeSwarm, tables.Season.AfricanizedSwarms)
	}
	return p
}

// atLeast returns c with the chance of k raised to low, if it is less; c sums to 1.
func (c chances) atLeast(k Kind, low float64) chances {
	have := c.of(k)
	if have >= low {
		return c
	}
	for i := range c {
		c[i] *= (1 - low) / (1 - have)
	}
	c[slices.Index(Kinds, k)] = low
	return c
}

// priorOn mixes the rows of the two months whose middles lie around day.
func priorOn(day float64, s Scene) chances {
	next := slices.IndexFunc(monthMiddles, func(middle float64) bool { return middle > day })
	if next < 0 {
		next = 0 // after the middle of December
	}
	last := (next + 11) % 12
	span := math.Mod(monthMiddles[next]-monthMiddles[last]+daysInYear, daysInYear)
	share := math.Mod(day-monthMiddles[last]+daysInYear, daysInYear) / span
	from, to := s.weights().month(last+1).P, s.weights().month(next+1).P
	var mixed chances
	for i := range mixed {
		mixed[i] = from[i] + share*(to[i]-from[i])
	}
	return mixed
}

// meanPrior is the prior of a report from we know not when: the months' rows, each by how
// many reports come then.
var meanPrior = func() (mean chances) {
	for month := 1; month <= 12; month++ {
		row := tables.month(month)
		for i, p := range row.P {
			mean[i] += row.Reports * p
		}
	}
	return mean.normal()
}()

func (w *weights) month(month int) monthRow {
	i := slices.IndexFunc(w.Prior, func(r monthRow) bool { return slices.Contains(r.Months, month) })
	return w.Prior[i]
}

// seasonDay returns the day of the year, 0 to 365, that has the same season at 40 degrees
// north. A plain month means its middle; with none, the day is that of s.At.
func seasonDay(a intake.Answers, s Scene) (day float64, known bool) {
	switch {
	case a.Month >= 1 && a.Month <= 12:
		day = monthMiddles[a.Month-1]
	case !s.At.IsZero():
		day = float64(s.At.YearDay()) - 0.5
	default:
		return 0, false
	}
	latitude := latitudeOf(a, s)
	if latitude < 0 {
		day += daysInYear / 2
	}
	reach := min(max(math.Abs(latitude), tables.Season.From), tables.Season.To)
	day -= tables.Season.DaysPerDegree * (reach - tables.Season.TableLatitude)
	return math.Mod(day+daysInYear, daysInYear), true
}

// latitudeOf returns the latitude for the season: the caller's, that of the place, or the
// hotline's. A scene at (0, 0), which is open sea, is one that says nothing.
func latitudeOf(a intake.Answers, s Scene) float64 {
	switch {
	case a.Latitude != nil:
		return *a.Latitude
	case a.Place != nil:
		return a.Place.Lat
	case s.Latitude == 0 && s.Longitude == 0:
		return tables.Season.TableLatitude
	}
	return s.Latitude
}

// where returns the point to reckon the sun for.
func where(a intake.Answers, s Scene) (lat, lon float64) {
	if a.Place != nil {
		return a.Place.Lat, a.Place.Lon
	}
	return s.Latitude, s.Longitude
}

// winter reports whether it is the season in which no wasp or hornet is about.
func winter(a intake.Answers, s Scene) bool {
	day, known := seasonDay(a, s)
	if !known || math.Abs(latitudeOf(a, s)) < tables.Season.WinterLatitude {
		return false
	}
	return slices.Contains(tables.Season.WinterMonths, monthOfDay(day))
}

// monthOfDay returns the month, 1 to 12, whose middle is nearest to day.
func monthOfDay(day float64) int {
	best, distance := 0, math.Inf(1)
	for i, middle := range monthMiddles {
		if d := math.Abs(math.Remainder(day-middle, daysInYear)); d < distance {
			best, distance = i+1, d
		}
	}
	return best
}
