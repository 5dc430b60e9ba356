package intake

import (
	"regexp"
	"strconv"
	"strings"
)

// BaitBox is what a text tells of a bait box.
type BaitBox struct {
	Place       string  // in words, as typed
	VolumeL     float64 // litres, 0 = not told
	HeightM     float64 // of its floor over the ground, 0 = not told
	EntranceCm2 float64 // 0 = not told
	Lured       bool    // "lure", "lemongrass"
}

var boxMeasure = regexp.MustCompile(`(?i)(\d+(?:[.,]\d+)?)\s*(l|litres?|liters?|litros?|gal|gallons?|ft3|cu ?ft|cm2|sq ?cm|in2|sq ?in|m|metros?|met(?:er|re)s?|ft|feet|pies)(?:\b|$)`)

// litresPer and friends turn what people write into one unit: US gallons, cubic feet.
var boxUnits = []struct {
	prefix string
	field  string
	factor float64
}{
	{"ft3", "volume", 28.3168}, {"cu", "volume", 28.3168}, {"gal", "volume", 3.78541}, {"l", "volume", 1},
	{"cm2", "entrance", 1}, {"sqcm", "entrance", 1}, {"in2", "entrance", 6.4516}, {"sqin", "entrance", 6.4516},
	{"ft", "height", 0.3048}, {"feet", "height", 0.3048}, {"pies", "height", 0.3048}, {"m", "height", 1},
}

// ReadBaitBox reads "old oak by the barn, 40 L, 3 m, 12 cm2, lure". False when it tells no
// measure, so that it is no box.
func ReadBaitBox(text string) (BaitBox, bool) {
	var b BaitBox
	found := false
	for _, m := range boxMeasure.FindAllStringSubmatch(text, -1) {
		n, err := strconv.ParseFloat(strings.ReplaceAll(m[1], ",", "."), 64)
		unit := strings.ReplaceAll(strings.ToLower(m[2]), " ", "")
		if err != nil || n <= 0 || n > 1000 {
			continue
		}
		for _, u := range boxUnits {
			if strings.HasPrefix(unit, u.prefix) {
				switch u.field {
				case "volume":
					b.VolumeL = n * u.factor
				case "entrance":
					b.EntranceCm2 = n * u.factor
				default:
					b.HeightM = n * u.factor
				}
				found = true
				break
			}
		}
	}
	low := strings.ToLower(text)
	b.Lured = strings.Contains(low, "lure") || strings.Contains(low, "lemongrass") || strings.Contains(low, "cebo") || strings.Contains(low, "limonaria")
	b.Place, _, _ = strings.Cut(text, ",")
	if at := boxMeasure.FindStringIndex(b.Place); at != nil {
		b.Place = b.Place[:at[0]]
	}
	b.Place = cut(strings.TrimSpace(b.Place), 60)
	return b, found
}
