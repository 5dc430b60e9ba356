package triage

import (
	"math"
	"time"
)

// The sun is computed here because no library at hand holds the check values of
// testdata/published/sun_vectors.json (30 s). Tried on all of them: nathan-osman/go-sunrise
// v1.1.0 is up to 68 s off at middle latitudes and 10 min at Tromso, the Go port of suncalc
// up to 151 s; soniakeys/meeus has the position right but works by the UT day, leaves
// local dates and twilight to its caller and has not changed since 2018.

// Sun is when the sun rises and sets on one date. A zero time means that it does not on
// that date: polar day, polar night, or a summer night that never gets dark.
type Sun struct {
	Rise, Set            time.Time // centre at -0.8333 degrees: 34' of refraction, 16' of radius
	CivilDawn, CivilDusk time.Time // centre at -6 degrees
}

const (
	atHorizon   = -0.8333 // degrees
	atCivilDusk = -6.0    // degrees
)

// SunOn returns the sun's times for the local date of day: the date that day has in its own
// location, not in UT. lat and lon are in degrees north and east. Times are in day's
// location, to the second; they are good to a few seconds in flat country, to minutes where
// the sun grazes the horizon. In high summer an evening's dusk may fall after midnight: it
// then belongs to the evening it ends.
func SunOn(day time.Time, lat, lon float64) Sun {
	noon := solarNoon(day, lon)
	morning, evening := noon.Add(-12*time.Hour), noon.Add(12*time.Hour)
	at := func(from, to time.Time, degrees float64) time.Time {
		return crossing(from, to, lat, lon, degrees).In(day.Location())
	}
	return Sun{
		Rise:      zeroOr(at(morning, noon, atHorizon)),
		Set:       zeroOr(at(noon, evening, atHorizon)),
		CivilDawn: zeroOr(at(morning, noon, atCivilDusk)),
		CivilDusk: zeroOr(at(noon, evening, atCivilDusk)),
	}
}

// zeroOr makes every form of the zero time the plain one, whatever its location.
func zeroOr(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t
}

// DuskNote says what a time from DuskFor is.
type DuskNote string

// The notes.
const (
	DuskCivil      DuskNote = ""            // civil dusk
	DuskStillLight DuskNote = "still_light" // 45 min after sunset: it does not get dark
	DuskByClock    DuskNote = "by_clock"    // 22:00: the sun does not set, or does not rise
)

// DuskFor returns when a box may be closed on the evening of day's local date: civil dusk,
// or where there is none 45 minutes after sunset, or at last 22:00 by the local clock. The
// fallbacks are judgement; the note says which it is, so that the catcher can be told that
// it will still be light.
func DuskFor(day time.Time, lat, lon float64) (time.Time, DuskNote) {
	return SunOn(day, lat, lon).Dusk(day)
}

// Dusk is DuskFor on the day whose sun this is.
func (sun Sun) Dusk(day time.Time) (time.Time, DuskNote) {
	switch {
	case !sun.CivilDusk.IsZero():
		return sun.CivilDusk, DuskCivil
	case !sun.Set.IsZero():
		return sun.Set.Add(45 * time.Minute), DuskStillLight
	}
	y, m, d := day.Date()
	return time.Date(y, m, d, 22, 0, 0, 0, day.Location()), DuskByClock
}

// SunHeight returns how high the sun's centre stands over the true horizon at t, in degrees.
func SunHeight(t time.Time, lat, lon float64) float64 { return altitude(t, lat, lon) }

// NoonHeight returns how high the sun stands at solar noon on the local date of day.
func NoonHeight(day time.Time, lat, lon float64) float64 {
	return altitude(solarNoon(day, lon), lat, lon)
}

// solarNoon returns when the sun stands highest on the local date of day. It starts from
// the local clock's noon and steps to the nearest transit; three steps reach the second.
func solarNoon(day time.Time, lon float64) time.Time {
	const degreesPerSecond = 360.98564736629 / 86400 // the sky's turn
	y, m, d := day.Date()
	t := time.Date(y, m, d, 12, 0, 0, 0, day.Location())
	for range 3 {
		t = t.Add(-seconds(hourAngle(t, lon) / degreesPerSecond))
	}
	return t
}

// crossing returns when, between from and to, the sun's centre passes the given altitude,
// or the zero time when it does not. Between noon and midnight the sun only sinks, and
// between midnight and noon it only climbs, so a span that holds the crossing is narrowed
// until it is found: by the chord between its ends, halving the weight of an end that stays
// (regula falsi, the Illinois variant: Dowell and Jarratt, BIT 11, 1971).
func crossing(from, to time.Time, lat, lon, degrees float64) time.Time {
	sky := skyOver(lat, lon)
	a, b := 0.0, to.Sub(from).Seconds()
	start := julianDay(from)
	over := func(seconds float64) float64 { return sky.altitude(start+seconds/86400) - degrees }
	atA, atB := over(a), over(b)
	if atA > 0 == (atB > 0) {
		return time.Time{}
	}
	for range 60 { // six or seven do; at a flat pass of the horizon a few more
		x := (a*atB - b*atA) / (atB - atA)
		atX := over(x)
		stays := atX > 0 == (atB > 0)
		if stays {
			atA /= 2
		} else {
			a, atA = b, atB
		}
		done := math.Abs(b-x) < 0.05
		b, atB = x, atX
		if done {
			break
		}
	}
	return from.Add(seconds(b)).Round(time.Second)
}

// altitude returns the height of the sun's centre over the true horizon at t, in degrees,
// without refraction.
func altitude(t time.Time, lat, lon float64) float64 {
	return skyOver(lat, lon).altitude(julianDay(t))
}

// sky is the sky over one place.
type sky struct{ sinLat, cosLat, lon float64 }

func skyOver(lat, lon float64) sky { return sky{sin(lat), cos(lat), lon} }

// altitude returns what altitude does, at the Julian day jd.
func (s sky) altitude(jd float64) float64 {
	ra, dec := sunPosition(jd)
	return asin(s.sinLat*sin(dec) + s.cosLat*cos(dec)*cos(siderealTime(jd)+s.lon-ra))
}

// hourAngle returns how far the sun is past the meridian of lon, in degrees, -180 to 180.
func hourAngle(t time.Time, lon float64) float64 {
	jd := julianDay(t)
	ra, _ := sunPosition(jd)
	return math.Remainder(siderealTime(jd)+lon-ra, 360)
}

// julianDay returns t as a Julian day in universal time.
func julianDay(t time.Time) float64 {
	return float64(t.Unix())/86400 + float64(t.Nanosecond())/86400e9 + 2440587.5
}

// dynamicalLead is terrestrial minus universal time in days: 69 s in the 2020s. The sun
// moves 0.003 degrees in a whole hour, so its slow change does not matter.
const dynamicalLead = 69.0 / 86400

// sunPosition returns the sun's apparent right ascension and declination in degrees at the
// Julian day jd (universal time), to 0.01 degrees. Source: J. Meeus, Astronomical
// Algorithms, 2nd edition, chapter 25, "low accuracy".
func sunPosition(jd float64) (ra, dec float64) {
	t := (jd + dynamicalLead - 2451545) / 36525
	longitude := 280.46646 + t*(36000.76983+t*0.0003032)
	anomaly := 357.52911 + t*(35999.05029-t*0.0001537)
	center := (1.914602-t*(0.004817+t*0.000014))*sin(anomaly) +
		(0.019993-0.000101*t)*sin(2*anomaly) + 0.000289*sin(3*anomaly)
	node := moonsNode(t)
	apparent := longitude + center - 0.00569 - 0.00478*sin(node)
	obliquity := meanObliquity(t) + 0.00256*cos(node)
	ra = degrees(math.Atan2(cos(obliquity)*sin(apparent), cos(apparent)))
	return math.Mod(ra+360, 360), asin(sin(obliquity) * sin(apparent))
}

// siderealTime returns the apparent sidereal time at Greenwich in degrees. Source: Meeus,
// chapter 12, formula 12.4, with the main term of the nutation.
func siderealTime(jd float64) float64 {
	days := jd - 2451545
	t := days / 36525
	mean := 280.46061837 + 360.98564736629*days + t*t*(0.000387933-t/38710000)
	return math.Mod(mean-0.00478*sin(moonsNode(t))*cos(meanObliquity(t)), 360)
}

func moonsNode(t float64) float64     { return 125.04 - 1934.136*t }
func meanObliquity(t float64) float64 { return 23.4392911 - t*(0.0130042+t*(1.64e-7-t*5.04e-7)) }

// Trigonometry in degrees, as the book has it.
func degrees(radians float64) float64 { return radians * 180 / math.Pi }
func sin(deg float64) float64         { return math.Sin(deg * math.Pi / 180) }
func cos(deg float64) float64         { return math.Cos(deg * math.Pi / 180) }
func asin(x float64) float64          { return degrees(math.Asin(max(-1, min(1, x)))) }

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
