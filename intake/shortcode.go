package intake

import (
	"math"
	"strings"
)

// The digits of OpenStreetMap's short links (https://wiki.openstreetmap.org/wiki/Shortlink):
// like base64, but with "_" and "~" last. "@" is an older "~".
const shortDigits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_~"

// readShortcode reads the code of a short link. Each digit holds three bits of the longitude
// and three of the latitude, taken in turns, the most significant first; signs after them
// only say how near the map was. The point is the middle of what the digits leave open.
func readShortcode(code string) (Place, bool) {
	const fewest, most = 3, 10 // digits: three tell 80 km, ten are 32 bits each way
	var x, y uint64
	digits := 0
	for _, r := range strings.TrimSuffix(strings.ReplaceAll(code, "@", "~"), "/") {
		d := strings.IndexRune(shortDigits, r)
		if d < 0 {
			break // "-" or "=", or what follows the code
		}
		if digits++; digits > most+1 {
			return Place{}, false
		}
		for bit := 5; bit >= 0; bit -= 2 {
			x = x<<1 | uint64(d>>bit&1)
			y = y<<1 | uint64(d>>(bit-1)&1)
		}
	}
	if digits < fewest {
		return Place{}, false
	}
	cells := math.Pow(2, float64(3*digits))
	p := Place{Lon: (float64(x)+0.5)*360/cells - 180, Lat: (float64(y)+0.5)*180/cells - 90}
	// Half a cell, or the half of a screen that the link shows: 2^(zoom+8) cells go round.
	p.PrecisionM = math.Max(200, 360/cells/2*111_000)
	return p, true
}
