package intake

import (
	"math"
	"strings"
)

// Plus Codes: Open Location Code, https://github.com/google/open-location-code (its
// specification.md). Whole numbers throughout, as the specification advises: a latitude is
// counted in 1/25 000 000 degree, a longitude in 1/8 192 000.
const (
	plusAlphabet = "23456789CFGHJMPQRVWX"
	plusPairs    = 10 // digits that come in pairs, latitude first; finer ones divide a cell 5 by 4
	plusLatUnits = 25_000_000
	plusLonUnits = 8_192_000
)

// findPlusCode finds a full code (8FVC9G8F+6W) or a short one (9G8F+6W, read near the
// hotline's centre) in text.
func findPlusCode(text string, s Setting) (Place, span, bool) {
	for plus := strings.IndexByte(text, '+'); plus >= 0; {
		start, end := plus, plus+1
		for start > 0 && plusDigit(text[start-1]) >= 0 {
			start--
		}
		for end < len(text) && plusDigit(text[end]) >= 0 {
			end++
		}
		alone := (start == 0 || !wordByte(text[start-1])) && (end == len(text) || !wordByte(text[end]))
		if p, ok := plusPlace(text[start:plus], text[plus+1:end], s); ok && alone {
			return p, span{start, end}, true
		}
		next := strings.IndexByte(text[plus+1:], '+')
		if next < 0 {
			break
		}
		plus += 1 + next
	}
	return Place{}, span{}, false
}

func wordByte(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c == '+' || c >= 0x80
}

func plusDigit(c byte) int {
	if c >= 'a' && c <= 'z' {
		c -= 'a' - 'A'
	}
	return strings.IndexByte(plusAlphabet, c)
}

// plusPlace reads the digits before and after the "+".
func plusPlace(before, after string, s Setting) (Place, bool) {
	if len(after) < 2 || len(after) > 7 {
		return Place{}, false
	}
	switch len(before) {
	case 8:
		return decodePlus(before + after)
	case 4, 6:
		return recoverPlus(before+after, 8-len(before), s)
	}
	return Place{}, false
}

// decodePlus gives the middle of a full code's cell; its precision is half the diagonal.
func decodePlus(digits string) (Place, bool) {
	lat, lon, latCell, lonCell := plusCell(digits)
	if lat >= 180*plusLatUnits || lon >= 360*plusLonUnits {
		return Place{}, false
	}
	p := Place{
		Lat: float64(2*(lat-90*plusLatUnits)+latCell) / (2 * plusLatUnits),
		Lon: float64(2*(lon-180*plusLonUnits)+lonCell) / (2 * plusLonUnits),
	}
	height := float64(latCell) / plusLatUnits * 111_200
	width := float64(lonCell) / plusLonUnits * 111_200 * math.Cos(p.Lat*math.Pi/180)
	p.PrecisionM = math.Ceil(math.Hypot(height, width) / 2)
	return p, true
}

// plusCell is the south-west corner of a cell, counted from the south pole and the date
// line, and the cell's height and width.
func plusCell(digits string) (lat, lon, latCell, lonCell int64) {
	latCell, lonCell = 400*plusLatUnits, 400*plusLonUnits
	for i := 0; i < len(digits); i++ {
		d := int64(plusDigit(digits[i]))
		switch {
		case i >= plusPairs:
			latCell, lonCell = latCell/5, lonCell/4
			lat, lon = lat+d/4*latCell, lon+d%4*lonCell
		case i%2 == 0:
			latCell /= 20
			lat += d * latCell
		default:
			lonCell /= 20
			lon += d * lonCell
		}
	}
	return lat, lon, latCell, lonCell
}

// recoverPlus completes a short code from which missing digits were left out, to the cell
// nearest to the hotline's centre.
func recoverPlus(digits string, missing int, s Setting) (Place, bool) {
	if s.Center.Lat == 0 && s.Center.Lon == 0 {
		return Place{}, false
	}
	p, ok := decodePlus(encodePlus(s.Center)[:missing] + digits)
	if !ok {
		return Place{}, false
	}
	step := math.Pow(20, 2-float64(missing)/2) // degrees covered by the missing digits
	for p.Lat-s.Center.Lat > step/2 && p.Lat-step > -90 {
		p.Lat -= step
	}
	for s.Center.Lat-p.Lat > step/2 && p.Lat+step < 90 {
		p.Lat += step
	}
	for p.Lon-s.Center.Lon > step/2 {
		p.Lon -= step
	}
	for s.Center.Lon-p.Lon > step/2 {
		p.Lon += step
	}
	return p, true
}

// encodePlus is the code of ten digits for a point, without its "+".
func encodePlus(p Place) string {
	lat := int64(math.Floor(math.Min(math.Max(p.Lat+90, 0), 180-1e-9) * plusLatUnits))
	lon := int64(math.Floor(math.Mod(p.Lon+540, 360) * plusLonUnits))
	latCell, lonCell := int64(400*plusLatUnits), int64(400*plusLonUnits)
	var b []byte
	for range plusPairs / 2 {
		latCell, lonCell = latCell/20, lonCell/20
		b = append(b, plusAlphabet[lat/latCell], plusAlphabet[lon/lonCell])
		lat, lon = lat%latCell, lon%lonCell
	}
	return string(b)
}
