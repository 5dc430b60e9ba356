package intake

import "unicode"

// address finds a street with or without a number, a crossing, or a place with a name, as
// tokens[from:to].
func (l *listener) address() (from, to int, ok bool) {
	for _, find := range []func(int) (int, int, bool){l.numberedStreet, l.streetFirst, l.numberNamed, l.crossing, l.twoStreets, l.betweenStreets, l.namedPlace, l.atNamed, l.route, l.streetOnly} {
		for i := range l.words {
			if from, to, ok := find(i); ok {
				return from, l.withCrossing(to), true
			}
		}
	}
	return 0, 0, false
}

// proper reports whether token i can be part of a name: written with a capital, or a word
// that the grammar does not know. In a text all in capitals, capitals say nothing.
func (l *listener) proper(i int) bool {
	if i < 0 || i >= len(l.words) || l.words[i].kind != aWord {
		return false
	}
	t := &l.words[i]
	ordinary := t.classes != nil && !(t.mended && t.capital) || len(t.text) < 3 || ordinaryWord(t.text)
	return !ordinary || t.capital && !l.shouting() && !t.in("articles") && !t.in("small")
}

func ordinaryWord(w string) bool {
	for _, set := range []string{"plain", "evidence", "not_names", "nearby", "attached", "small"} {
		if grammar.sets[set][w] {
			return true
		}
	}
	return false
}

func (l *listener) shouting() bool {
	capitals, letters := 0, 0
	for _, r := range l.text {
		if unicode.IsUpper(r) {
			capitals++
		}
		if unicode.IsLetter(r) {
			letters++
		}
	}
	return capitals*2 > letters && letters > 6
}

// numberedStreet reads "14 Mill Ln", "212 N Aurora Street", "1250 5th Ave", "1200 Route 13".
func (l *listener) numberedStreet(i int) (int, int, bool) {
	if l.words[i].kind != aNumber || l.words[i].decimals > 0 || l.words[i].number < 1 {
		return 0, 0, false
	}
	j := i + 1
	for l.is(j, "compass") {
		j++
	}
	if l.is(j, "street") && j+1 < len(l.words) && l.words[j+1].kind == aNumber && !l.is(j+2, "unit_ft") {
		return i, j + 2, true
	}
	for n := 0; n < 3 && j < len(l.words); n++ {
		t := &l.words[j]
		if t.kind == aNumber && j+1 < len(l.words) && l.words[j+1].glued {
			j++ // "5th"
		} else if t.kind != aWord || l.is(j, "unit_ft") || l.is(j, "unit_m") || l.is(j, "small") || l.is(j, "bees") || l.is(j, "unit_min") || l.is(j, "unit_h") || l.is(j, "unit_day") {
			return 0, 0, false
		}
		j++
		if l.is(j, "street") {
			return i, l.withCompass(j + 1), true
		}
	}
	return 0, 0, false
}

func (l *listener) withCompass(to int) int {
	if l.is(to, "compass") {
		return to + 1
	}
	return to
}

// streetFirst reads "calle Robles 12", "av. 5 de Mayo 33".
func (l *listener) streetFirst(i int) (int, int, bool) {
	if !l.words[i].in("street.es") {
		return 0, 0, false
	}
	j := i + 1
	if j < len(l.words) && l.words[j].text == "." {
		j++
	}
	if j+1 < len(l.words) && l.words[j].kind == aNumber && l.words[j].decimals == 0 && l.joinsStreets(j+1) {
		return i, l.streetName(j + 2), l.streetName(j+2) > j+2 // "calle 9 y Nogal"
	}
	for n := 0; n < 5 && j < len(l.words); n, j = n+1, j+1 {
		t := &l.words[j]
		if n > 0 && t.kind == aNumber && t.decimals == 0 && !(j+1 < len(l.words) && l.words[j+1].text == "de") {
			return i, j + 1, true
		}
		if t.kind == anEnd || t.kind == aPause && n == 0 || l.is(j, "bees") {
			break
		}
	}
	if l.proper(i + 1) {
		return i, l.properRun(i+1, 3), true
	}
	return 0, 0, false
}

// properRun is the end of the run of name words that starts at i.
func (l *listener) properRun(i, most int) int {
	to := i
	for to < i+most && l.proper(to) {
		to++
	}
	return to
}

// crossing reads "corner of Oak and Mill", "esquina de Robles y Norte".
func (l *listener) crossing(i int) (int, int, bool) {
	if !l.is(i, "corner") || i+3 >= len(l.words) || l.words[i+1].text != "of" && l.words[i+1].text != "de" && l.words[i+1].text != "con" {
		return 0, 0, false
	}
	joined := false
	j := i + 2
	for ; j < len(l.words) && j < i+9; j++ {
		t := &l.words[j]
		if l.joinsStreets(j) {
			joined = true
			continue
		}
		if t.kind != aWord && t.kind != aNumber || joined && !l.proper(j) && !l.is(j, "street") && t.kind != aNumber && j > i+5 {
			break
		}
	}
	return i, j, joined && j > i+4
}

// joinsStreets reports whether token i stands between the two streets of a crossing.
func (l *listener) joinsStreets(i int) bool {
	switch l.word(i) {
	case "and", "y", "con":
		return true
	}
	return false
}

// numberNamed reads a house number and a name that does not say what it is of: "902 Truitt",
// "118 Sparrow Hill". The name has capitals, and nothing follows that was counted.
func (l *listener) numberNamed(i int) (int, int, bool) {
	const least = 100 // fewer are bees, feet or years
	if l.words[i].kind != aNumber || l.words[i].decimals > 0 || l.words[i].number < least || l.is(i-1, "approx") || l.is(i-1, "counting") {
		return 0, 0, false
	}
	j := i + 1
	for j < len(l.words) && j <= i+2 && l.words[j].capital && l.proper(j) && !l.insects(j) && !l.is(j, "clump") {
		j++
	}
	if j == i+1 || !l.clauseEnds(j) || l.shouting() {
		return 0, 0, false
	}
	return i, j, true
}

// twoStreets reads "at Holloway and 3rd", "on Oak & Elm", "Pine y la 9" behind a word for where.
func (l *listener) twoStreets(i int) (int, int, bool) {
	at := i + 1
	switch {
	case l.words[i].kind == aNumber && l.is(i+1, "ordinal_ends") && l.joinsStreets(i+2) && i+3 < len(l.words) && l.words[i+3].capital:
		at = i // "hydrant 3rd & Walnut"
	case l.is(i, "at_named") || l.is(i, "corner") || l.word(i) == "de":
	case l.opensClause(i) && l.saysStreet(i): // "…, Third and Sycamore"
		at = i
	default:
		return 0, 0, false
	}
	for l.word(at) == "la" || l.word(at) == "the" {
		at++
	}
	first := l.streetName(at)
	if first == at || !l.joinsStreets(first) {
		return 0, 0, false
	}
	from := first + 1
	for l.word(from) == "la" || l.word(from) == "the" {
		from++
	}
	if to := l.streetName(from); to > from {
		return at, to, true
	}
	return 0, 0, false
}

// opensClause reports whether a clause begins with token i.
func (l *listener) opensClause(i int) bool {
	return i == 0 || l.words[i-1].kind == anEnd || l.words[i-1].kind == aPause
}

// saysStreet reports whether one of two names that token i begins is a street's by itself, by
// its number or by what it is called: "3rd and Sycamore", "Third & Pine", "Elm and Pine St".
func (l *listener) saysStreet(i int) bool {
	if l.shouting() {
		return false
	}
	for j := i; j < i+7 && !l.clauseEnds(j); j++ {
		if l.is(j, "street") || l.is(j, "ordinals") && l.words[j].capital || l.words[j].kind == aNumber && l.is(j+1, "ordinal_ends") {
			return true
		}
	}
	return false
}

// streetName is the end of what may be a street's name at i: "Holloway", "N Oak St", "3rd".
func (l *listener) streetName(i int) int {
	to := i
	for l.is(to, "compass") {
		to++
	}
	if to < len(l.words) && l.words[to].kind == aNumber && l.words[to].decimals == 0 && to+1 < len(l.words) && l.words[to+1].glued && l.words[to+1].kind == aWord {
		to += 2
	} else if to < len(l.words) && l.words[to].kind == aNumber && l.word(i-1) == "la" {
		to++
	} else if n := l.properRun(to, 2); n > to {
		to = n
	} else {
		return i
	}
	if l.is(to, "street") {
		to++
	}
	return to
}

// betweenStreets reads "between Oak and Elm", "entre Robles y Cedro", written with capitals.
func (l *listener) betweenStreets(i int) (int, int, bool) {
	if l.word(i) != "between" && l.word(i) != "entre" || l.shouting() {
		return 0, 0, false
	}
	j := i + 1
	for j < i+4 && j < len(l.words) && l.words[j].capital {
		j++
	}
	if j == i+1 || l.word(j) != "and" && l.word(j) != "y" || j+1 >= len(l.words) || !l.words[j+1].capital {
		return 0, 0, false
	}
	to := j + 1
	for to < j+4 && to < len(l.words) && (l.words[to].capital || l.is(to, "street")) {
		to++
	}
	return i, to, true
}

// namedPlace reads "Stewart Park", "parque Benito Juárez"; "the park" has no name.
func (l *listener) namedPlace(i int) (int, int, bool) {
	if !l.is(i, "place_kind") {
		return 0, 0, false
	}
	from := i
	for from > 0 && i-from < 3 && l.proper(from-1) && !l.is(from-1, "place_kind") {
		from--
	}
	if from < i && l.words[i].in("place_kind.en") {
		return from, i + 1, true
	}
	if !l.words[i].in("place_kind.es") {
		return 0, 0, false
	}
	first := i + 1
	if l.is(first, "articles") && l.words[first].capital && !l.shouting() {
		first++ // "parque Los Olmos"
	}
	if to := l.properRun(first, 3); to > first {
		return i, to, true
	}
	return 0, 0, false
}

// atNamed reads "at the Wegmans", "afuera del Soriana": a name after a word for where, written
// with a capital and known to nobody here.
func (l *listener) atNamed(i int) (int, int, bool) {
	if !l.is(i, "at_named") || l.shouting() {
		return 0, 0, false
	}
	j := i + 1
	for j < i+3 && (l.word(j) == "the" || l.word(j) == "de" || l.is(j, "articles")) {
		j++
	}
	if !l.proper(j) || !l.words[j].capital || l.is(j, "first_names") && !(l.proper(j+1) && l.words[j+1].capital) {
		return 0, 0, false
	}
	to := l.properRun(j, 3)
	if l.mark(to, "-") && l.proper(to+1) {
		return j, l.properRun(to+1, 3), true // "the Save-Rite"
	}
	if (l.words[j].classes == nil || to > j+1) && len(l.words[j].text) >= 3 {
		return j, to, true
	}
	return 0, 0, false
}

// route reads a road that has a number for a name: "on Route 13", "hwy 96".
func (l *listener) route(i int) (int, int, bool) {
	if !l.is(i, "routes") || i+1 >= len(l.words) || l.words[i+1].kind != aNumber || l.words[i+1].decimals > 0 {
		return 0, 0, false
	}
	return i, l.withCompass(i + 2), true
}

// withCrossing takes the crossing street along: "Avenida Juárez 210 esquina con Pino".
func (l *listener) withCrossing(to int) int {
	if !l.is(to, "corner") || l.word(to+1) != "con" && l.word(to+1) != "of" && l.word(to+1) != "y" && l.word(to+1) != "with" {
		return to
	}
	j := to + 2
	for j < to+5 && j < len(l.words) && (l.words[j].capital || l.is(j, "street")) {
		j++
	}
	if j == to+2 {
		return to
	}
	return j
}

// streetOnly reads a street without a number: "Mill Ln", "on main street".
func (l *listener) streetOnly(i int) (int, int, bool) {
	if !l.is(i, "street") || i == 0 || l.words[i].in("street_words") && !l.words[i].capital {
		return 0, 0, false
	}
	from := i
	for from > 0 && i-from < 2 && l.proper(from-1) {
		from--
	}
	return from, l.withCompass(i + 1), from < i
}
