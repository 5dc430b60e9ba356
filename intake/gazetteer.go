package intake

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Gazetteer is a list of named places with their points: what turns "14 Mill Ln" into a
// spot on the map without asking anybody. It does not change once read.
type Gazetteer struct {
	spots  []listed
	byName map[string][]int // folded name -> places in spots
	byStem map[string][]int // folded name of a street without its "street" -> places in spots
	most   int              // words of the longest name
}

// Spot is a place that a gazetteer or a map service knows, as a candidate for what
// somebody meant.
type Spot struct {
	Name  string `json:"name"` // as people tell it from others: "Mill Ln, Dunmere"
	Place Place  `json:"place"`
	Area  bool   `json:"area,omitempty"` // nothing but a town or a postal area was named: no spot to drive to
}

// listed is one row.
type listed struct {
	row       string // as it is written back
	name      string // as people read it
	kind      rune   // 'P' town, 'R' road, 'Z' postal area, 'S' anything else one can stand at
	lat, lon  float64
	precision float64
}

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

// Len returns how many places g holds.
func (g *Gazetteer) Len() int {
	if g == nil {
		return 0
	}
	return len(g.spots)
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

// The columns of GeoNames' place file and of its postal file.
const (
	placeColumns  = 19
	postalColumns = 12
)

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

// PlainPlace is a place's words as they are compared: "14 Mill Ln." and "14 mill lane" are
// the same.
func PlainPlace(text string) string { return strings.Join(foldName(seen(text)), " ") }

// shortNames are the ways in which parts of names are shortened, written out.
var shortNames = map[string]string{
	"st": "street", "str": "street", "ln": "lane", "rd": "road", "ave": "avenue", "av": "avenue", "avda": "avenida", "blvd": "boulevard",
	"dr": "drive", "ct": "court", "pl": "place", "ter": "terrace", "terr": "terrace", "cir": "circle", "pkwy": "parkway", "hwy": "highway",
	"rte": "route", "rt": "route", "sq": "square", "trl": "trail", "n": "north", "s": "south", "e": "east", "w": "west", "mt": "mount",
	"c": "calle", "ctra": "carretera", "bldg": "building", "elem": "elementary", "hs": "high school", "twp": "township", "ctr": "center", "centre": "center",
}

var roadWords = wordSet("street lane road avenue boulevard drive court place terrace circle parkway highway route square trail way row pike close crescent alley path calle avenida camino carretera paseo plaza callejon bulevar")

func wordSet(words string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(words) {
		set[w] = true
	}
	return set
}

// foldName is a name as it is compared: folded words, the usual abbreviations written out.
func foldName(ts []token) []string {
	var words []string
	for i := range ts {
		if ts[i].kind <= aNumber {
			words = append(words, longForm(ts[i].text))
		}
	}
	return words
}

func longForm(w string) string {
	if long, ok := shortNames[w]; ok {
		return long
	}
	return w
}

// hit is a name that stands in a text.
type hit struct {
	from, to int // words
	spots    []int
}

// Find returns the places that words can mean, nearest to the hotline first, at most four:
// one when it is clear, none when g knows nothing of it. A road and a town together are the
// road in that town, two roads are their crossing. What lies inside the area served goes
// before what does not. Every Place holds words as its Text.
func (g *Gazetteer) Find(words string, s Setting) []Spot {
	if g.Len() == 0 {
		return nil
	}
	hits := g.hits(words)
	of := func(kinds string) []hit {
		return slices.DeleteFunc(slices.Clone(hits), func(h hit) bool { return !strings.ContainsRune(kinds, g.spots[h.spots[0]].kind) })
	}
	roads, areas := of("R"), of("PZ")
	found := g.inAreas(g.crossings(roads), areas)
	if len(found) == 0 {
		found = g.inAreas(g.near(g.all(of("S")), g.all(roads)), areas)
	}
	if len(found) == 0 {
		found = g.inAreas(g.all(roads), areas)
	}
	if len(found) == 0 {
		found = g.all(areas)
		if len(areas) > 1 { // a town and its postal code: whichever is the smaller
			slices.SortStableFunc(found, func(a, b listed) int { return cmp.Compare(a.precision, b.precision) })
			found = found[:1]
		}
	}
	return g.candidates(found, words, s, more(words, areas))
}

// more reports whether a text says more than the names of areas: "behind the red barn in
// Dunmere" does, "in Dunmere please" does not.
func more(text string, areas []hit) bool {
	ts := slices.DeleteFunc(tokens(text), func(t token) bool { return t.kind > aNumber })
	left := 0
	for i, t := range ts {
		named := slices.ContainsFunc(areas, func(h hit) bool { return h.from <= i && i < h.to })
		if !named && len(t.text) > 2 && !ordinaryWord(t.text) && !t.in("articles") && !t.in("attached") && !t.in("polite") {
			left++
		}
	}
	return left > 0
}

// hits finds the names in a text, the longest at each spot.
func (g *Gazetteer) hits(text string) []hit {
	l := listen(text, Setting{})
	written := tokens(text) // before misspellings are mended: a name may look like one
	var ts []int            // the tokens that are words
	for i := range l.words {
		if l.words[i].kind <= aNumber {
			ts = append(ts, i)
		}
	}
	crossing := slices.ContainsFunc(ts, func(i int) bool { return l.is(i, "corner") })
	var hits []hit
	for at := 0; at < len(ts); {
		n, spots := g.longest(l, written, ts[at:], crossing)
		if n == 0 {
			at++
			continue
		}
		hits = append(hits, hit{at, at + n, spots})
		at += n
	}
	return hits
}

func (g *Gazetteer) longest(l *listener, written []token, ts []int, crossing bool) (n int, spots []int) {
	for n = min(g.most, len(ts)); n > 0; n-- {
		words := make([]string, n)
		for i := range words {
			words[i] = longForm(written[ts[i]].text)
		}
		key := strings.Join(words, " ")
		if spots = g.byName[key]; len(spots) > 0 && (n > 1 || l.couldName(ts[0], len(ts))) {
			return n, spots
		}
		if spots = g.byStem[key]; crossing && len(spots) > 0 {
			return n, spots
		}
	}
	return 0, nil
}

// couldName refuses an ordinary word as the name of a place ("post", "big"), unless it is
// written like a name.
func (l *listener) couldName(i, left int) bool {
	t := &l.words[i]
	if t.kind == aNumber {
		return len(t.text) >= 4 && left == 1 || len(t.text) >= 5 // a postal code, not a house
	}
	ordinary := t.classes != nil || len(t.text) < 3 || ordinaryWord(t.text)
	return !ordinary || t.capital && !l.shouting()
}

func (g *Gazetteer) all(hits []hit) []listed {
	var all []listed
	for _, h := range hits {
		for _, i := range h.spots {
			all = append(all, g.spots[i])
		}
	}
	return all
}

func apart(a, b listed) float64 {
	return kilometres(Place{Lat: a.lat, Lon: a.lon}, Place{Lat: b.lat, Lon: b.lon})
}

// crossings are where two named roads may meet: between their middles.
func (g *Gazetteer) crossings(roads []hit) []listed {
	if len(roads) < 2 {
		return nil
	}
	const reach = 2.5 // km between the middles of two roads that cross; judgement
	var found []listed
	for _, i := range roads[0].spots {
		for _, j := range roads[1].spots {
			a, b := g.spots[i], g.spots[j]
			if km := apart(a, b); i != j && km <= reach {
				found = append(found, listed{name: a.name + " & " + b.name, kind: 'S', lat: (a.lat + b.lat) / 2, lon: (a.lon + b.lon) / 2, precision: math.Max(150, km*500)})
			}
		}
	}
	return found
}

// near keeps the spots that lie by one of roads, all of them when none is named.
func (g *Gazetteer) near(spots, roads []listed) []listed {
	if len(roads) == 0 {
		return spots
	}
	return slices.DeleteFunc(spots, func(s listed) bool {
		return !slices.ContainsFunc(roads, func(r listed) bool { return apart(s, r) <= 1.5 })
	})
}

// inAreas keeps what lies in or by the towns and postal areas named, all when none is.
func (g *Gazetteer) inAreas(found []listed, areas []hit) []listed {
	if len(areas) == 0 {
		return found
	}
	named := g.all(areas)
	return slices.DeleteFunc(found, func(s listed) bool {
		return !slices.ContainsFunc(named, func(a listed) bool { return apart(s, a) <= math.Max(4, a.precision*1.5/1000) })
	})
}

// candidates turns what was found into at most four spots that are not the same.
func (g *Gazetteer) candidates(found []listed, words string, s Setting, more bool) []Spot {
	var spots []Spot
	if l := listen(words, s); slices.ContainsFunc(l.words, func(t token) bool { return t.in("nearby") }) {
		// "across from the library" is not in the library. Judgement.
		for i := range found {
			found[i].precision = math.Max(found[i].precision, 250)
		}
	}
	for _, f := range found {
		spots = append(spots, Spot{Name: g.told(f), Area: !more && (f.kind == 'P' || f.kind == 'Z'),
			Place: Place{Lat: f.lat, Lon: f.lon, Text: clean(words), PrecisionM: math.Round(f.precision)}})
	}
	return Clear(spots, s)
}

// told is a place's name with its town, by which people tell it from others.
func (g *Gazetteer) told(f listed) string {
	if f.kind == 'P' || f.kind == 'Z' {
		return f.name
	}
	town, best := "", math.Inf(1)
	for _, t := range g.spots {
		if km := apart(f, t); t.kind == 'P' && km < best {
			town, best = t.name, km
		}
	}
	if town == "" || best > 15 || strings.HasPrefix(f.name, town) {
		return f.name
	}
	return f.name + ", " + town
}

// Clear sorts candidates by their distance from the hotline and leaves out those that are
// the same for a driver, and those outside the area served when others are inside. At most
// four stay: nobody reads a longer list on a phone.
func Clear(spots []Spot, s Setting) []Spot {
	const same, most = 0.7, 4 // km, candidates
	spots = slices.Clone(spots)
	slices.SortStableFunc(spots, func(a, b Spot) int {
		return cmp.Or(cmp.Compare(kilometres(a.Place, s.Center), kilometres(b.Place, s.Center)), cmp.Compare(a.Name, b.Name))
	})
	if slices.ContainsFunc(spots, func(x Spot) bool { return !s.Outside(x.Place) }) {
		spots = slices.DeleteFunc(spots, func(x Spot) bool { return s.Outside(x.Place) })
	}
	var clear []Spot
	for _, x := range spots {
		if len(clear) < most && !slices.ContainsFunc(clear, func(c Spot) bool { return kilometres(c.Place, x.Place) <= same }) {
			clear = append(clear, x)
		}
	}
	return clear
}

// Outside reports whether all of p lies beyond the area served.
func (s Setting) Outside(p Place) bool {
	return s.RadiusKm > 0 && kilometres(p, s.Center)-p.PrecisionM/1000 > s.RadiusKm
}

// Unlocated reports whether p is nothing but words: nobody has found them on a map.
func (s Setting) Unlocated(p *Place) bool {
	return p != nil && p.Text != "" && p.PrecisionM >= math.Max(InWordsOnly, s.RadiusKm*1000) && p.Lat == s.Center.Lat && p.Lon == s.Center.Lon
}

// Km returns the distance between two places in kilometres.
func Km(a, b Place) float64 { return kilometres(a, b) }
