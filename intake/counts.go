package intake

import (
	"slices"
	"strconv"
)

// counts reads how many bees and how many stings.
func (l *listener) counts() []said {
	stung := l.speaksOfStings()
	var out []said
	for i := 0; i < len(l.words); i++ {
		q, ok := l.quantity(i)
		if !ok || l.words[i].start >= l.placed.start && l.words[i].end <= l.placed.end || l.ageOfSomebody(i) {
			continue // a house number counts nothing
		}
		n := q.to
		for l.is(n, "counting") {
			n++
		}
		switch {
		case (l.is(n, "sting_nouns") || l.insects(n) && l.is(n+1, "sting_nouns")) && q.value >= 1 && q.value <= 100000 && l.denial(i) < 0:
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: n + 1})
		case stung && l.is(n, "unit_times") && q.value <= 100000:
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: n + 1})
		case l.is(i-1, "stinging") && (l.clauseEnds(q.to) || l.is(q.to, "attached")) && q.value >= 1 && q.value <= 100000: // "le picaron tres"
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: q.to})
		case l.is(i, "approx") && q.to == i+1: // "unas abejas" counts nothing
		case q.value < 2 && (l.ofThem(n) || l.ofThem(n-1)): // "stung by one of them"
		case stung && l.insects(n) && l.stungBy(i) && q.value >= 1 && q.value <= 100: // "me picaron como 5 avispas"
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 5, from: i, to: n + 1})
		case l.insects(n) || l.insects(n+1) && l.words[n].kind == aWord || l.ofThem(n) || l.ofThem(n-1) || !stung && l.described(n):
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 5, from: i, to: min(n+1, len(l.words))})
		case l.setting.Waiting == AskCrowd:
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 1, from: i, to: q.to})
		case l.countedAlone(q):
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 1, from: i, to: q.to})
		case q.value >= 1 && q.value <= childUntil && l.yearsOld(q):
			out = append(out, said{field: "hazards", value: "children", weight: 4, from: i, to: n + 1})
		}
		i = q.to - 1
	}
	return out
}

// ageOfSomebody reports whether the number at i is how old somebody is: "she is 82 and …".
func (l *listener) ageOfSomebody(i int) bool {
	switch l.word(i - 1) {
	case "is", "am", "was":
		i--
	case "im", "hes", "shes":
		return !l.insects(i + 1)
	}
	switch l.word(i - 1) {
	case "she", "he", "i":
		return !l.insects(i + 2)
	}
	return false
}

// insects reports whether token i names insects one by one; a swarm is not counted in bees.
func (l *listener) insects(i int) bool {
	return (l.is(i, "bees") || l.is(i, "wasps") || l.is(i, "bumbles")) && !l.is(i, "swarms")
}

// stungBy reports whether a number of insects that begins at token i tells who stung.
func (l *listener) stungBy(i int) bool {
	for i--; i >= 0 && (l.is(i, "counting") || l.is(i, "approx") || l.words[i].text == "by"); i-- {
	}
	return i >= 0 && l.is(i, "stinging")
}

// described reports whether insects are named behind a few words that tell what they are like:
// "3 thin waisted wasps".
func (l *listener) described(i int) bool {
	for n := i; n < i+4 && n < len(l.words); n++ {
		if l.insects(n) {
			return true
		}
		t := &l.words[n]
		if t.kind != aWord || t.in("attached") || t.in("nearby") || t.in("negators") || t.in("going") {
			return false
		}
	}
	return false
}

// ofThem reports whether "of them" stands at i: "20 of them".
func (l *listener) ofThem(i int) bool {
	if i+1 >= len(l.words) || l.words[i].text != "of" && l.words[i].text != "de" {
		return false
	}
	return l.is(i+1, "swarms") || l.words[i+1].text == "ellas"
}

// countedAlone reports whether a number without a noun counts the bees: "I count maybe 15",
// and at the end of a text that speaks of them, "… on the window, about 20".
func (l *listener) countedAlone(q quantity) bool {
	if !l.countEnds(q) || q.value < 2 || l.afterComing(q.from) || l.words[q.from].decimals > 0 {
		return false
	}
	for j := q.from - 1; j >= 0 && j >= q.from-3; j-- {
		if l.is(j, "counted") {
			return true
		}
	}
	if w := l.setting.Waiting; w == AskHeight || w == AskAge {
		return false // "10 ft maybe 12"
	}
	if l.is(q.from, "approx") || l.is(q.from-1, "approx") {
		return true
	}
	if !l.is(q.from-1, "counting") && !l.is(q.from-1, "hesitation") {
		return false
	}
	return slices.ContainsFunc(l.words, func(t token) bool {
		return t.in("bees") || t.in("wasps") || t.in("thousandfold") || t.in("hundredfold")
	})
}

// countEnds reports whether nothing is counted by name behind a number: "about 20.", "maybe 20
// in the window", "unas 20 cada tarde", "30 or so".
func (l *listener) countEnds(q quantity) bool {
	switch {
	case l.clauseEnds(q.to):
	case l.is(q.from-1, "counting") && l.is(q.to, "attached"):
	case l.is(q.from, "approx") && (l.word(q.to) == "cada" || l.word(q.to) == "mas"):
	case l.is(q.to, "counting") && l.is(q.to+1, "counting"):
	default:
		return false
	}
	return true
}

func (l *listener) clauseEnds(i int) bool {
	return i >= len(l.words) || l.words[i].kind == anEnd || l.words[i].kind == aPause
}

// childUntil is the age in years up to which somebody is called a child here (judgement).
const childUntil = 12

// yearsOld reports whether a number is somebody's age: "my 4 year old", "de 5 años".
func (l *listener) yearsOld(q quantity) bool {
	n := q.to
	if l.mark(n, "-") {
		n++
	}
	if !l.is(n, "unit_year") {
		return false
	}
	after := n + 1
	if l.mark(after, "-") {
		after++
	}
	before := l.word(q.from - 1)
	return l.word(after) == "old" || l.word(after) == "olds" || before == "de" || before == "tiene"
}

// word is token i's text, "" outside the text.
func (l *listener) word(i int) string {
	if i < 0 || i >= len(l.words) {
		return ""
	}
	return l.words[i].text
}

func (l *listener) speaksOfStings() bool {
	for _, m := range l.matches {
		if m.rule.topic == "stung" && m.rule.value == "someone" && m.rule.asked == "" {
			return true
		}
	}
	return l.setting.Waiting == AskStung
}

func crowdOf(n float64) string {
	switch {
	case n < 10:
		return "under_10"
	case n < 100:
		return "tens"
	case n < 1000:
		return "hundreds"
	}
	return "thousands"
}
