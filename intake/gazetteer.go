package intake

import (
	"cmp"
	"math"
	"slices"
	"strings"
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

// Len returns how many places g holds.
func (g *Gazetteer) Len() int {
	if g == nil {
		return 0
	}
	return len(g.spots)
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
