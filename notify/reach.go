package notify

import (
	"math"
	"strconv"

	"skepline/intake"
)

// earthKm is the mean radius of the earth, (2a+b)/3 of WGS 84. On a sphere of that size
// distances are within 0.6 % of those on the ellipsoid, far better than roads are straight.
const earthKm = 6371.0088

// DistanceKm returns the great-circle distance between two points given in degrees north
// and east (the haversine formula, R. W. Sinnott, Sky and Telescope 68:159, 1984).
func DistanceKm(lat1, lon1, lat2, lon2 float64) float64 {
	a1, a2 := radians(lat1), radians(lat2)
	up, across := math.Sin((a2-a1)/2), math.Sin(radians(lon2-lon1)/2)
	h := up*up + math.Cos(a1)*math.Cos(a2)*across*across
	return 2 * earthKm * math.Asin(math.Sqrt(min(h, 1)))
}

// Minutes is DefaultTravel's Travel.Minutes.
func Minutes(km float64) float64 { return DefaultTravel().Minutes(km) }

// bearings are the eight winds, from north by east; their words are word_bearing_<wind>.
var bearings = []string{"n", "ne", "e", "se", "s", "sw", "w", "nw"}

// Bearing returns the wind, one of n ne e se s sw w nw, in which the second point lies as
// seen from the first.
func Bearing(lat1, lon1, lat2, lon2 float64) string {
	a1, a2, turn := radians(lat1), radians(lat2), radians(lon2-lon1)
	y := math.Sin(turn) * math.Cos(a2)
	x := math.Cos(a1)*math.Sin(a2) - math.Sin(a1)*math.Cos(a2)*math.Cos(turn)
	eighth := int(math.Round(math.Atan2(y, x) / (math.Pi / 4)))
	return bearings[(eighth+8)%8]
}

// Far says how far off a place is for one catcher.
type Far struct {
	Km      float64 // straight line; below 0 = unknown
	Bearing string  // the wind: "n", "ne" …; "" = unknown
	Out     bool    `json:",omitempty"` // from where they are, not from home
}

// kmTo returns the distance of p from c's home, -1 when p is known in words only.
func kmTo(c *Catcher, p intake.Place) float64 {
	if p.PrecisionM >= intake.InWordsOnly {
		return -1
	}
	return DistanceKm(c.Lat, c.Lon, p.Lat, p.Lon)
}

// FarFrom returns how far p is from c's home, unknown when p is known in words only.
func FarFrom(c Catcher, p intake.Place) Far {
	if p.PrecisionM >= intake.InWordsOnly {
		return Far{Km: -1}
	}
	return Far{
		Km:      DistanceKm(c.Lat, c.Lon, p.Lat, p.Lon),
		Bearing: Bearing(c.Lat, c.Lon, p.Lat, p.Lon),
	}
}

const (
	kmPerMile    = 1.609344
	metresPerFt  = 0.3048
	halfMetresTo = 10 // below this many metres a height is told to the half metre
)

// DistanceWords says how far off a place is: "4 mi E", "under 1 km NW", or that it is not
// known. Whole numbers only: an offer must not give the house away.
func DistanceWords(w intake.Words, far Far, metric bool) string {
	if far.Km < 0 {
		return w.Say("word_distance_unknown", nil)
	}
	n, key := math.Round(far.Km/kmPerMile), "word_distance_mi"
	if metric {
		n, key = math.Round(far.Km), "word_distance_km"
	}
	if n < 1 {
		n, key = 1, key+"_under"
	}
	return w.Say(key, map[string]any{
		"N": strconv.Itoa(int(n)), "Bearing": w.Say("word_bearing_"+far.Bearing, nil),
	})
}

// HeightWords says how high m metres are: "8 ft", "2.5 m". Nobody measures a swarm: feet
// are whole, metres to the half (whole from 10 m up).
func HeightWords(w intake.Words, m float64, metric bool) string {
	n, key := math.Round(m/metresPerFt), "word_height_ft"
	if metric {
		n, key = math.Round(m*2)/2, "word_height_m"
		if m >= halfMetresTo {
			n = math.Round(m)
		}
	}
	return w.Say(key, map[string]any{"N": strconv.FormatFloat(n, 'f', -1, 64)})
}

func radians(degrees float64) float64 { return degrees * math.Pi / 180 }
