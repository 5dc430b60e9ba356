package intake

import (
	"math"
	"strings"
	"unicode"
)

// ReadPlace reads where something is, without asking anybody: coordinates ("42.44, -76.50",
// 42°26'38"N 76°30'7"W, geo:), Plus Codes, map links, and, as words at the hotline's
// centre, street addresses, crossings and places with a name. A shortened link holds no
// place and is not followed. (0,0), and latitude and longitude the wrong way round, are
// refused. The point may lie outside the area served: see Heard.Outside.
func ReadPlace(text string, s Setting) (Place, bool) {
	p, _, ok := listen(text, s).place()
	return p, ok
}

// span is a piece of the text, in bytes.
type span struct{ start, end int }

// place finds the first place in the text, the most exact kinds first.
func (l *listener) place() (Place, span, bool) {
	for _, find := range []func(string, Setting) (Place, span, bool){findLink, findPlusCode, findDegrees, findDecimal} {
		if p, at, ok := find(l.text, l.setting); ok && plausible(p, l.setting) {
			if p.Text == "" {
				p.Text = l.pointWords(at)
			}
			return p, at, true
		}
	}
	if from, to, ok := l.address(); ok {
		at := span{l.words[from].start, l.words[to-1].end}
		return inWords(l.text[at.start:at.end], l.setting), at, true
	}
	return Place{}, span{}, false
}

// pointWords are the words for a point: the address that came along, which a driver reads,
// before the point as it was written; a link is no words.
func (l *listener) pointWords(at span) string {
	if from, to, ok := l.address(); ok && (l.words[from].start >= at.end || l.words[to-1].end <= at.start) {
		return clean(l.text[l.words[from].start:l.words[to-1].end])
	}
	if written := clean(l.text[at.start:at.end]); !strings.Contains(written, "://") {
		return written
	}
	return ""
}

// longestPlace bounds the words kept of a place, in bytes.
const longestPlace = 240

// inWords is a place of which we know only the words: its point is the hotline's centre.
func inWords(words string, s Setting) Place {
	words = clean(words)
	if len(words) > longestPlace {
		words = clean(words[:longestPlace])
	}
	return Place{Lat: s.Center.Lat, Lon: s.Center.Lon, Text: words, PrecisionM: math.Max(InWordsOnly, s.RadiusKm*1000)}
}

// plausible refuses what is no place on earth, the null island of broken phones, and a
// pair that makes sense only when swapped.
func plausible(p Place, s Setting) bool {
	if math.Abs(p.Lat) > 90 || math.Abs(p.Lon) > 180 || math.IsNaN(p.Lat+p.Lon) || math.Abs(p.Lat) < 0.01 && math.Abs(p.Lon) < 0.01 {
		return false
	}
	swapped := Place{Lat: p.Lon, Lon: p.Lat}
	return !(outside(p, s) && math.Abs(p.Lon) <= 90 && !outside(swapped, s))
}

func outside(p Place, s Setting) bool {
	return s.RadiusKm > 0 && p.PrecisionM < InWordsOnly && kilometres(p, s.Center) > s.RadiusKm
}

// kilometres is the great-circle distance (haversine, mean earth radius 6371.0088 km, IUGG).
func kilometres(a, b Place) float64 {
	rad := math.Pi / 180
	dLat, dLon := (b.Lat-a.Lat)*rad, (b.Lon-a.Lon)*rad
	h := math.Pow(math.Sin(dLat/2), 2) + math.Cos(a.Lat*rad)*math.Cos(b.Lat*rad)*math.Pow(math.Sin(dLon/2), 2)
	return 2 * 6371.0088 * math.Asin(math.Min(1, math.Sqrt(h)))
}

// hasLetters reports whether text holds anything that could be words of a place.
func hasLetters(text string) bool { return strings.ContainsFunc(text, unicode.IsLetter) }
