package intake

import "slices"

// Emergency reports whether text tells of a severe reaction: trouble breathing, a swollen
// face, throat or tongue, fainting or collapse, and the other signs listed in
// reading/*.toml. A missed one is far worse than a false alarm: only what is plainly denied
// ("nobody has trouble breathing") or plainly harmless ("breathing fine") is left out, and
// each sign is judged by itself, so that "not allergic but can't breathe" counts.
func Emergency(text string) bool {
	return alarmIn(text).heard
}

// EmergencyIn is Emergency of an answer to asked, which may be "". To "is anyone allergic?" a
// "yes" tells of no sting, and who carries a pen is no sign; what else is said counts as ever.
func EmergencyIn(asked Question, text string) bool {
	return alarmTo(asked, text).heard
}

func alarmTo(asked Question, text string) alarm {
	if asked != AskAllergic {
		return alarmIn(text)
	}
	ts, yes := seen(text), 0
	for yes < len(ts) && (ts[yes].in("yes_words") || yes > 0 && (ts[yes].kind == aPause || ts[yes].kind == anEnd)) {
		yes++
	}
	if yes == len(ts) {
		return alarm{}
	}
	rest := text[ts[yes].start:]
	sign, heard := emergencySign(seenKnown(rest))
	if odds, at := alarming(seen(rest)); !heard && odds > alarmAllergic {
		sign, heard = match{from: at, to: at + 1}, true
	}
	if story := hearStory(seenKnown(rest), grammar.find("emergency", seenKnown(rest))); yes > 0 && !heard && story.stungAt >= 0 && !story.well {
		sign, heard = match{from: story.stungAt, to: story.stungAt + 1}, true // "yes my son is and one just got him"
	}
	return alarm{match{rule: sign.rule, from: sign.from + yes, to: sign.to + yes}, heard}
}

// alarm is what emergencySign made of a text.
type alarm struct {
	sign  match
	heard bool
}

func alarmIn(text string) alarm {
	r := recall(text)
	known := r.alarm.Load()
	if known == nil {
		known = &alarm{}
		known.sign, known.heard = emergencySign(seenKnown(text))
		if !known.heard {
			known.sign, known.heard = secondEar(text)
		}
		r.alarm.Store(known)
	}
	return *known
}

// secondEar hears what no rule lists.
func secondEar(text string) (match, bool) {
	ts, bar := seen(text), alarmBar
	switch {
	case len(ts) == 0:
		return match{}, false
	case bare(ts):
		bar = alarmBare
	case signsDenied(seenKnown(text)):
		bar = alarmSure
	}
	odds, at := alarming(ts)
	return match{from: at, to: at + 1}, odds > bar
}

// emergencySign is the first sign that nobody takes back.
func emergencySign(ts []token) (match, bool) {
	all := grammar.find("emergency", ts)
	s := hearStory(ts, all)
	if s.joke && s.stung < 0 {
		return match{}, false
	}
	for _, m := range all {
		if m.rule.topic == "emergency" && !takenBack(m, all, ts, 0) && !elsewhen(m, all, ts) {
			return m, true
		}
	}
	if m, ok := signAlone(ts); ok {
		return m, true
	}
	if m, ok := stungWithSign(ts, all); ok {
		return m, true
	}
	if m, ok := s.allergicAndStung(); ok {
		return m, true
	}
	if m, ok := s.composedSign(); ok {
		return m, true
	}
	return s.manyStings()
}

// signsDenied reports whether a text that is no emergency speaks of signs, and so denies them.
func signsDenied(ts []token) bool {
	return slices.ContainsFunc(grammar.find("emergency", ts), func(m match) bool { return m.rule.topic == "emergency" || m.rule.topic == "calm" })
}

// signAlone finds a sign that is the whole text: "hives", "911!!".
func signAlone(ts []token) (match, bool) {
	first, last := -1, -1
	for i, t := range ts {
		if (t.kind == aWord || t.kind == aNumber) && !t.in("pleading") {
			last = i
			if first < 0 {
				first = i
			}
		}
	}
	for _, m := range grammar.find("alone", ts) {
		if m.from == first && m.to == last+1 {
			return m, true
		}
	}
	return match{}, false
}

// stungWithSign finds somebody who was stung and a word for a sign of shock anywhere in the
// same text, however they are joined: "she was stung and now she is really confused".
func stungWithSign(ts []token, all []match) (match, bool) {
	sting := -1
	for i := range ts {
		if ts[i].in("stinging") && !takenBack(match{from: i, to: i + 1}, nil, ts, 0) {
			sting = i
			break
		}
	}
	if sting < 0 {
		return match{}, false
	}
	for i := range ts {
		m := match{from: i, to: i + 1}
		if ts[i].in("signs") && !takenBack(m, all, ts, 0) {
			return m, true
		}
	}
	return match{}, false
}

// allergicAndStung finds somebody who is allergic and was stung: their own emergency plan
// says to use the pen and call without waiting (safety text 3). "I got stung, my wife is
// allergic" tells of two people.
func (s *story) allergicAndStung() (match, bool) {
	ts := s.ts
	for i := range ts {
		if !ts[i].in("allergy") || takenBack(match{from: i, to: i + 1}, nil, ts, 0) {
			continue
		}
		if j := s.stungAt; j >= 0 && samePerson(ts, i, j) && !s.well {
			return match{from: min(i, j), to: max(i, j) + 1}, true
		}
		for j := range ts {
			if ts[j].in("stung_event") && !maybeStung(ts, j) && samePerson(ts, i, j) {
				return match{from: min(i, j), to: max(i, j) + 1}, true
			}
		}
	}
	return match{}, false
}

// maybeStung reports whether the sting at j is denied, feared, long ago or a dog's.
func maybeStung(ts []token, j int) bool {
	if takenBack(match{from: j, to: j + 1}, nil, ts, 0) {
		return true
	}
	for i := max(0, j-5); i < j; i++ {
		if ts[i].in("if_stung") || ts[i].in("negators") {
			return true
		}
	}
	return false
}

// samePerson reports whether the words before i and before j may be about one person: only
// two different names of people ("wife", "i") tell them apart.
func samePerson(ts []token, i, j int) bool {
	a, b := whoBefore(ts, i), whoBefore(ts, j)
	return a == "" || b == "" || a == b
}

// whoBefore is the person named within five tokens before i; pronouns that may stand for
// anybody name nobody.
func whoBefore(ts []token, i int) string {
	for k := i - 1; k >= 0 && k >= i-5; k-- {
		switch w := ts[k].text; {
		case w == "he" || w == "she" || w == "they" || w == "hes" || w == "shes" || w == "le" || w == "lo" || w == "la":
			return ""
		case w == "i" || w == "im" || w == "me" || w == "soy":
			return "i"
		case grammar.sets["person"][w] || grammar.sets["patient"][w]:
			return w
		}
	}
	return ""
}

// manyAtOnce is the number of stings from which care is needed at once, however one feels
// (San Diego Fire-Rescue: more than 15; from 50 on signs may begin a day later).
const manyAtOnce = 15

// manyForFrail is the same where a small child, or somebody old or ill, is named (judgement).
const manyForFrail = 5

// manyStings finds "stung 60 times", "40 stings", "le picaron más de 50", "yes, like 30 times".
func (s *story) manyStings() (match, bool) {
	ts, many := s.ts, float64(manyAtOnce)
	if slices.ContainsFunc(s.all, func(m match) bool { return m.rule.topic == "frail" }) {
		many = manyForFrail
	}
	for i := range ts {
		if n := countOf(ts[i]); n < many || n > 100000 || elsewhen(match{from: i, to: i + 1}, s.all, ts) {
			continue
		}
		next := i + 1
		for next < len(ts) && (ts[next].in("counting") || ts[next].in("hundredfold")) {
			next++
		}
		from, to := max(0, i-5), min(len(ts), i+3)
		if s.stung >= 0 && next < len(ts) && ts[next].in("unit_times") && i-s.stung < 8 {
			return match{from: i, to: next + 1}, true
		}
		for j := from; j < to; j++ {
			counted := grammar.sets["sting_counts"][wordAt(ts, next)] || j < i && (next == len(ts) || ts[next].kind == anEnd || ts[next].kind == aPause || ts[next].glued)
			if ts[j].in("stinging") && counted {
				return match{from: min(i, j), to: max(i, j) + 1}, true
			}
		}
	}
	return match{}, false
}

// countOf is the number that a token stands for in any language, 0 for none.
func countOf(t token) float64 {
	if t.kind == aNumber {
		return t.number
	}
	if t.in("hundredfold") || t.in("thousandfold") {
		return 100
	}
	for _, lang := range grammar.langs {
		if n, ok := grammar.numbers[lang][t.text]; ok && n >= manyAtOnce { // fewer in words mislead: "once" is eleven in Spanish
			return n
		}
	}
	return 0
}

func wordAt(ts []token, i int) string {
	if i >= len(ts) {
		return ""
	}
	return ts[i].text
}

func takenBack(m match, all []match, ts []token, depth int) bool {
	for _, calm := range all {
		if calm.rule.topic == "calm" && calm.from <= m.from && calm.to >= m.to && !answersNo(ts, calm.from) {
			return true
		}
	}
	i := m.from - 1
	for ; i >= 0 && i >= m.from-4 && ts[i].kind == aWord && ts[i].in("denying"); i-- {
	}
	if i < 0 || ts[i].kind != aWord {
		return false
	}
	if ts[i].text == "one" && i > 0 && ts[i-1].text == "no" {
		return true
	}
	switch ts[i].text {
	case "or", "nor", "ni", "o": // a list goes on: "no wheezing or vomiting"
		return depth < 4 && listDenied(i, all, ts, depth)
	}
	return ts[i].in("deniers") && !answersNo(ts, i)
}

// listDenied reports whether the sign just before the "or" at i is denied.
func listDenied(or int, all []match, ts []token, depth int) bool {
	if ts[or].text == "nor" || ts[or].text == "ni" {
		return true
	}
	for _, m := range all {
		if m.rule.topic == "emergency" && m.to == or && m.from < or {
			return takenBack(m, all, ts, depth+1)
		}
	}
	return false
}

// answersNo reports whether the "no" at i answers a question and the sentence goes on with
// somebody: "no he can't breathe" denies nothing.
func answersNo(ts []token, i int) bool {
	return ts[i].text == "no" && i+1 < len(ts) && (ts[i+1].in("answers_no") || ts[i+1].in("patient"))
}
