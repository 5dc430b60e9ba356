package intake

import (
	"math"
	"strconv"
)

// quantity is a number that stands in the text: 8, 2.5, "10-12", "two and a half".
type quantity struct {
	value    float64
	from, to int // tokens
}

func (l *listener) is(i int, set string) bool {
	return i >= 0 && i < len(l.words) && l.words[i].in(set)
}

func (l *listener) mark(i int, m string) bool {
	return i >= 0 && i < len(l.words) && l.words[i].kind == aMark && l.words[i].text == m
}

// number reads one number at i: digits, a fraction, or a word; "a" is one before a unit.
func (l *listener) number(i int) (float64, int, bool) {
	if i >= len(l.words) {
		return 0, i, false
	}
	t := &l.words[i]
	if t.kind == aNumber {
		if l.is(i+1, "thousandfold") && t.number < 1000 { // "5 mil"
			return t.number * 1000, i + 2, true
		}
		return l.withFraction(t.number, i+1)
	}
	if t.kind != aWord {
		return 0, i, false
	}
	v, known := l.numbers[t.text]
	if !known {
		return 0, i, false
	}
	next := i + 1
	if l.is(i, "approx") && next < len(l.words) && (l.words[next].kind == aNumber || l.numbers[l.words[next].text] > 0) {
		return l.number(next) // "unas veinte"
	}
	if v >= 20 && v < 100 && next < len(l.words) {
		if ones, ok := l.numbers[l.words[next].text]; ok && ones < 10 && ones >= 1 {
			v, next = v+ones, next+1
		}
	}
	if l.is(next, "dozenfold") {
		v, next = v*12, next+1
	} else if l.is(next, "hundredfold") {
		v, next = v*100, next+1
	} else if l.is(next, "thousandfold") {
		v, next = v*1000, next+1
	}
	if next < len(l.words) && (l.words[next].text == "of" || l.words[next].text == "de") {
		next++ // "a couple of hours", "un par de horas"
	}
	return v, next, true
}

// withFraction adds what may follow digits: "½", "1/2".
func (l *listener) withFraction(v float64, next int) (float64, int, bool) {
	if next < len(l.words) && l.words[next].kind == aNumber {
		t := &l.words[next]
		if t.number < 1 && t.number > 0 && t.decimals == 0 {
			return v + t.number, next + 1, true
		}
		if t.number == 1 && l.mark(next+1, "/") && next+2 < len(l.words) && l.words[next+2].text == "2" {
			return v + 0.5, next + 3, true
		}
	}
	if v == 1 && l.mark(next, "/") && next+1 < len(l.words) && l.words[next+1].text == "2" {
		return 0.5, next + 2, true
	}
	return v, next, true
}

// quantity reads a number or a range at i, whose value is the middle.
func (l *listener) quantity(i int) (quantity, bool) {
	v, next, ok := l.number(i)
	if !ok {
		return quantity{}, false
	}
	q := quantity{value: v, from: i, to: next}
	between := i > 0 && (l.words[i-1].text == "between" || l.words[i-1].text == "entre")
	joined := l.mark(next, "-") || l.is(next, "ranging") || between && (l.is(next, "but") || l.words[min(next, len(l.words)-1)].text == "and")
	if joined {
		if high, after, ok := l.number(next + 1); ok && high > v {
			q.value, q.to = (v+high)/2, after
		}
	}
	return q, true
}

// length units in metres.
var lengths = []struct {
	set    string
	metres float64
}{{"unit_ft", 0.3048}, {"unit_m", 1}, {"unit_cm", 0.01}, {"unit_in", 0.0254}, {"unit_yd", 0.9144}}

// heights reads lengths that are heights: not "20 ft away", not "2 feet wide".
func (l *listener) heights() []said {
	var out []said
	for i := 0; i < len(l.words); i++ {
		m, to, ok := l.length(i)
		if !ok {
			continue
		}
		if weight, isHeight := l.heightWeight(i, to); isHeight && m <= 100 && (weight > 7 || !l.ofClump(i, m)) && (m > 0.2 || !l.is(to-1, "unit_in")) {
			out = append(out, said{field: "height_m", value: formatNumber(m), weight: weight, from: i, to: to})
		}
		i = to - 1
	}
	return out
}

// sizes reads how many bees there are from how large their cluster is: "2 feet long", "una
// bola como de 40 cm". One of a hand's width is some hundreds (judgement).
func (l *listener) sizes() []said {
	const hand = 0.1
	var out []said
	for i := 0; i < len(l.words); i++ {
		m, to, ok := l.length(i)
		if !ok || m > 3 {
			continue
		}
		if _, isHeight := l.heightWeight(i, to); !isHeight && l.measures(i, to) || l.ofClump(i, m) {
			value := "hundreds"
			if m > hand {
				value = "thousands"
			}
			out = append(out, said{field: "size", value: value, weight: 5, from: i, to: to})
		}
		i = to - 1
	}
	return out
}

// ofClump reports whether a length of m metres at i is a cluster's, by the words before it:
// "una bola como de 40 cm"; "a ball about 6 feet" tells how high it hangs.
func (l *listener) ofClump(i int, m float64) bool {
	const largest = 0.7
	if m > largest {
		return false
	}
	for i--; i >= 0 && (l.is(i, "counting") || l.word(i) == "de" || l.word(i) == "of"); i-- {
	}
	return l.is(i, "clump") || l.is(i, "bees") && l.is(i-2, "clump")
}

// measures reports whether the length in tokens[from:to] tells how large something is, and
// that something is the bees: "two feet long", "a two foot cluster"; not "a gap 2 inches wide".
func (l *listener) measures(from, to int) bool {
	for i := from - 1; i >= 0 && i >= from-6 && l.words[i].kind != anEnd; i-- {
		if l.is(i, "gap") || l.is(i, "nestword") {
			return false
		}
	}
	if l.is(to, "clump") || l.is(to, "bees") || l.is(from-1, "measured") || l.is(from-2, "measured") {
		return true
	}
	if l.word(to) == "de" || l.word(to) == "in" {
		to++
	}
	return l.is(to, "large_by")
}

// length reads a number with its unit at i, in metres.
func (l *listener) length(i int) (float64, int, bool) {
	q, ok := l.quantity(i)
	if !ok {
		if m, to, ok := l.oneUnit(i); ok {
			return m, to, ok
		}
		return 0, i, false
	}
	n := q.to
	if l.mark(n, "-") { // "8-ft"
		n++
	}
	if l.mark(n, "'") || l.is(n, "unit_ft") {
		m, to := q.value*0.3048, n+1
		if l.is(to, "and_half") || l.is(to+1, "and_half") {
			return l.andHalf(m, 0.3048, to)
		}
		if inch, after, ok := l.number(to); ok && inch < 12 && (l.mark(after, `"`) || l.is(after, "unit_in") || l.mark(n, "'")) {
			to = after
			if l.mark(after, `"`) || l.is(after, "unit_in") {
				to++
			}
			return m + inch*0.0254, to, true
		}
		return m, to, true
	}
	if l.mark(n, `"`) {
		return q.value * 0.0254, n + 1, true
	}
	for _, u := range lengths {
		if l.is(n, u.set) && (u.set != "unit_in" || l.words[n].text != "in") {
			if cm, after, ok := l.centimetres(n + 1); ok && u.set == "unit_m" {
				return q.value + cm, after, true
			}
			return l.andHalf(q.value*u.metres, u.metres, n+1)
		}
	}
	if l.is(n, "unit_story") && q.value >= 1 && l.is(n+1, "storied") {
		return 3*q.value + 1.5, n + 2, true // the eave or roof of a "one story house"
	}
	if l.is(n, "unit_story") && q.value >= 1 {
		return 3*q.value - 1, n + 1, true // a storey is about 3 m; the spot is inside the top one
	}
	// "dos y medio metros", "two and a half feet"
	if j := n + 1; n < len(l.words) && (l.words[n].text == "and" || l.words[n].text == "y") {
		if l.is(j, "unit_one") {
			j++
		}
		if l.is(j, "half") {
			for _, u := range lengths {
				if l.is(j+1, u.set) {
					return (q.value + 0.5) * u.metres, j + 2, true
				}
			}
		}
	}
	return 0, i, false
}

// centimetres reads what may follow metres without a word for it: "un metro setenta".
func (l *listener) centimetres(i int) (metres float64, to int, ok bool) {
	v, to, ok := l.number(i)
	if !ok || v < 10 || v > 99 || !l.clauseEnds(to) && l.word(to) != "del" && l.word(to) != "de" {
		return 0, i, false
	}
	return v / 100, to, true
}

// oneUnit reads "a metre", "half a metre", "medio metro", "metro y medio".
func (l *listener) oneUnit(i int) (float64, int, bool) {
	factor, n := 1.0, i
	if l.is(n, "half") {
		factor, n = 0.5, n+1
	}
	if l.is(n, "unit_one") {
		n++
	}
	for _, u := range lengths[:2] {
		if !l.is(n, u.set) || len(l.words[n].text) < 3 {
			continue
		}
		m, to, _ := l.andHalf(factor*u.metres, u.metres, n+1)
		if n == i && to == n+1 {
			return 0, i, false // "metres" alone says nothing
		}
		return m, to, true
	}
	return 0, i, false
}

// andHalf adds "and a half", "y medio" behind a unit.
func (l *listener) andHalf(m, unit float64, to int) (float64, int, bool) {
	j := to
	if j < len(l.words) && (l.words[j].text == "and" || l.words[j].text == "y") {
		j++
		if l.is(j, "unit_one") {
			j++
		}
		if l.is(j, "and_half") {
			return m + unit/2, j + 1, true
		}
	}
	return m, to, true
}

// heightWeight tells a height from a distance by the words after it.
func (l *listener) heightWeight(from, to int) (int, bool) {
	weight := 7 // more than a vague "way up high"
	for i := to; i < len(l.words) && i < to+3; i++ {
		t := &l.words[i]
		if t.kind == anEnd {
			break
		}
		if l.is(i, "upward") {
			return 8, true
		}
		if l.is(i, "from") && l.is(i+1, "upward") {
			return 8, true // "7 metros de altura"
		}
		if l.is(i, "from") {
			return 6, l.is(i+1, "high_from") || l.is(i+2, "high_from")
		}
		if l.is(i, "not_height") {
			return 0, false
		}
		if l.is(i, "nearby") {
			return 0, false
		}
		if t.kind == aPause || !t.in("articles") && i > to {
			break
		}
	}
	if l.is(to-1, "unit_story") && !l.is(to, "upward") {
		weight = 5 // how high the house is, perhaps: "above the roof, it's 2 story"
	}
	if l.is(to, "bees") || l.is(to, "clump") || l.is(from-1, "measured") || l.is(from-2, "measured") {
		return 0, false // "a two foot cluster"
	}
	return weight, true
}

// metres is the height that a statement tells.
func (l *listener) metres(f said) (*float64, string) {
	v, err := strconv.ParseFloat(f.value, 64)
	if err != nil || v < 0 || v > 100 {
		return nil, ""
	}
	v = math.Round(v*100) / 100
	return &v, formatNumber(v)
}

func formatNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}
