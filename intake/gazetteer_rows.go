package intake

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// MostPlaces bounds a gazetteer. A county has some thousands of streets.
const MostPlaces = 50_000

// ReadGazetteer reads rows in the formats of GeoNames (download.geonames.org/export/dump
// and …/export/zip, their readme.txt files): 19 columns between tabs for places, 12 for
// postal codes, both kinds in one file if one likes. Rows farther than withinKm from center
// are left out, 0 = none is; so are those that are neither a town, a road, a spot nor a
// postal area. Lines that begin with # are comments.
func ReadGazetteer(r io.Reader, center Place, withinKm float64) (*Gazetteer, error) {
	g := &Gazetteer{byName: map[string][]int{}, byStem: map[string][]int{}}
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20) // a capital's alternate names take 20 kB
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimRight(lines.Text(), "\r")
		if strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#") {
			continue
		}
		s, names, err := readRow(line)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if s.kind == 0 || withinKm > 0 && kilometres(Place{Lat: s.lat, Lon: s.lon}, center) > withinKm {
			continue
		}
		if len(g.spots) == MostPlaces {
			return nil, fmt.Errorf("line %d: more than %d places; take a file of your own county", n, MostPlaces)
		}
		g.add(s, names)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read places: %w", err)
	}
	return g, nil
}

// Rows returns the places as ReadGazetteer reads them.
func (g *Gazetteer) Rows() []byte {
	var b strings.Builder
	for _, s := range g.spots {
		b.WriteString(s.row)
		b.WriteByte('\n')
	}
	return []byte(b.String())
}

func readRow(line string) (listed, []string, error) {
	switch cols := strings.Split(line, "\t"); len(cols) {
	case placeColumns:
		return readPlaceRow(cols)
	case postalColumns:
		return readPostalRow(cols)
	default:
		return listed{}, nil, fmt.Errorf("%d columns between tabs; GeoNames' place files have %d, its postal files %d", len(cols), placeColumns, postalColumns)
	}
}

// readPlaceRow reads: id, name, asciiname, alternatenames, lat, lon, feature class, feature
// code, country, cc2, admin1 … admin4, population, elevation, dem, timezone, modified.
func readPlaceRow(c []string) (listed, []string, error) {
	const longest = 400 // bytes of alternate names kept
	s := listed{name: strings.TrimSpace(c[1])}
	var err error
	if s.lat, s.lon, err = readPoint(c[4], c[5]); err != nil {
		return s, nil, err
	}
	if s.name == "" {
		return s, nil, fmt.Errorf("a place without a name")
	}
	c[3] = cut(c[3], longest)
	population, _ := strconv.ParseFloat(c[14], 64)
	s.kind, s.precision = kindOfFeature(c[6], c[7], population)
	s.row = strings.Join(c, "\t")
	return s, append([]string{s.name, c[2]}, strings.Split(c[3], ",")...), nil
}

// readPostalRow reads: country, postal code, place, admin names and codes 1 to 3, lat, lon,
// accuracy.
func readPostalRow(c []string) (listed, []string, error) {
	code := strings.TrimSpace(c[1])
	s := listed{name: code, kind: 'Z', row: strings.Join(c, "\t")}
	if place := strings.TrimSpace(c[2]); place != "" {
		s.name = code + " " + place
	}
	var err error
	if s.lat, s.lon, err = readPoint(c[9], c[10]); err != nil {
		return s, nil, err
	}
	if code == "" {
		return s, nil, fmt.Errorf("a postal area without a code")
	}
	switch accuracy, _ := strconv.Atoi(c[11]); {
	case len(code) >= 6 && strings.ContainsFunc(code, unicode.IsLetter):
		s.precision = 300 // British, Canadian and Dutch full codes are a few houses
	case accuracy >= 4:
		s.precision = 5000
	default:
		s.precision = 8000
	}
	return s, []string{code}, nil
}

func readPoint(lat, lon string) (float64, float64, error) {
	la, err1 := strconv.ParseFloat(lat, 64)
	lo, err2 := strconv.ParseFloat(lon, 64)
	if err1 != nil || err2 != nil || !(math.Abs(la) <= 90) || !(math.Abs(lo) <= 180) {
		return 0, 0, fmt.Errorf("%q, %q are not degrees north and east", cut(lat, 20), cut(lon, 20))
	}
	return la, lo, nil
}

// kindOfFeature sorts GeoNames' feature classes (geonames.org/export/codes.html) and says
// within how many metres of its point such a place is. All distances are judgement; a town
// is a circle with a thousand people on a square kilometre.
func kindOfFeature(class, code string, population float64) (kind rune, metres float64) {
	switch {
	case class == "P" && population <= 0:
		return 'P', 1500
	case class == "P":
		return 'P', math.Max(800, 1000*math.Sqrt(population/1000/math.Pi))
	case class == "R" && code == "ST":
		return 'R', 400
	case class == "R":
		return 'R', 2000
	case class == "S" && (code == "AIRP" || code == "FRM" || code == "EST"):
		return 'S', 800
	case class == "S":
		return 'S', 100
	case class == "L" && code == "PRK", class == "V", class == "T", class == "H":
		return 'S', 600
	}
	return 0, 0
}

func (g *Gazetteer) add(s listed, names []string) {
	at := len(g.spots)
	g.spots = append(g.spots, s)
	file := func(index map[string][]int, key string) {
		if key != "" && !slices.Contains(index[key], at) {
			index[key] = append(index[key], at)
		}
	}
	for _, name := range names {
		words := foldName(seen(name))
		g.most = max(g.most, len(words))
		file(g.byName, strings.Join(words, " "))
		if s.kind == 'R' && len(words) > 1 {
			if roadWords[words[len(words)-1]] {
				file(g.byStem, strings.Join(words[:len(words)-1], " "))
			} else if roadWords[words[0]] {
				file(g.byStem, strings.Join(words[1:], " "))
			}
		}
	}
}

// The columns of GeoNames' place file and of its postal file.
const (
	placeColumns  = 19
	postalColumns = 12
)
