package intake

import (
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// ReadAnswer reads text as an answer to q: an option's number ("2", "2.", "two", "option
// 2"), an option's words, or any natural words. Other answers in the same text are read as
// well. "Not sure" and "skip" answer every question, with NotSure set. It returns false
// when the text does not answer q; what else it told is in Heard all the same.
func ReadAnswer(q Question, text string, s Setting) (Heard, bool) {
	s.Waiting = q
	l := listen(text, s)
	h := read(l)
	if s := h.Answers.Surface; q == AskHeight && (s == "wall" || s == "eave") {
		h.Answers.Surface = "" // "up by the gutters" says how high
		h.Readings = slices.DeleteFunc(h.Readings, func(r Reading) bool { return r.Field == "surface" })
	}
	if q == AskPlace {
		h.forgetNamedTrees(l)
	}
	if q == AskName || q == AskAccess {
		// "Gwen Park" and "side gate" answer these and tell nothing of the bees.
		h.forgetSpot()
	}
	if key, rest, ok := l.optionChosen(q); ok {
		return h.chosen(q, key, rest, l), true
	}
	if q == AskStung && h.Answers.Stung == "someone" && l.plainNo() {
		h.Readings = slices.DeleteFunc(h.Readings, func(r Reading) bool { return r.Field == "stung" })
		return h.chosen(q, "none", 0, l), true
	}
	if h.told(q) {
		if q == AskPlace {
			h.wholePlace(l)
		}
		return h, true
	}
	if yes, known := yesOrNo(l.words); known {
		if key := yesNoOption(q, yes); key != "" {
			return h.chosen(q, key, 0, l), true
		}
	}
	if h.NotSure {
		return h.chosen(q, "unsure", 0, l), true
	}
	return h.inOwnWords(q, l)
}

// plainNo reports whether an answer to "anyone stung?" says no and goes on about something
// else: "no. they are by the back door" is nobody's back. "No, my son" and "no, but my son"
// stay what they are.
func (l *listener) plainNo() bool {
	const short = 4 // words
	yes, known := yesOrNo(l.words)
	if !known || yes || len(strings.Fields(plainWords(l.words))) <= short {
		return false
	}
	for i := range l.words {
		if l.is(i, "but") && l.word(i) != "and" && l.word(i) != "y" || l.is(i, "only_words") {
			return false
		}
	}
	unasked := *l
	unasked.setting.Waiting = ""
	return read(&unasked).Answers.Stung == ""
}

// wholePlace keeps every word of an answer that tells little besides where: "behind the
// school on Oak St" helps a driver more than the street alone.
func (h *Heard) wholePlace(l *listener) {
	more := slices.ContainsFunc(h.Readings, func(r Reading) bool { return r.Field != "place" && r.Field != "hazards" && r.Field != "owner" })
	if p := h.Answers.Place; !more && p.PrecisionM >= InWordsOnly {
		whole := *p
		whole.Text = cut(clean(l.text), 160)
		h.Answers.Place = &whole
	}
}

// forgetNamedTrees takes back a surface that is a street's name: "behind the diner on Sycamore".
func (h *Heard) forgetNamedTrees(l *listener) {
	for _, r := range h.Readings {
		if i := l.tokenAt(r.Start); r.Field == "surface" && r.Start > 0 && l.words[i].capital && !l.shouting() {
			h.Answers.Surface = ""
		}
	}
	if h.Answers.Surface == "" {
		h.Readings = slices.DeleteFunc(h.Readings, func(r Reading) bool { return r.Field == "surface" })
	}
}

// forgetSpot takes back what was read about the spot and whose it is.
func (h *Heard) forgetSpot() {
	h.Answers.Place, h.Answers.Surface, h.Answers.Owner, h.Outside = nil, "", "", false
	h.Readings = slices.DeleteFunc(h.Readings, func(r Reading) bool { return r.Field == "place" || r.Field == "surface" || r.Field == "owner" })
}

func (h Heard) told(q Question) bool { return h.Answers.Told(q) }

// chosen is h with an option's answer laid over it. from is the token behind a number.
func (h Heard) chosen(q Question, key string, from int, l *listener) Heard {
	for _, o := range Options(q) {
		if o.Key == key {
			ill := h.Answers.Stung == "trouble_breathing"
			h.Answers = o.Set(h.Answers)
			if ill {
				h.Answers.Stung = "trouble_breathing" // never taken back by a number
			}
		}
	}
	h.NotSure = key == "unsure"
	if n := len(l.words); n > 0 {
		to := n
		if from > 0 {
			to = from
		}
		h.Readings = append(h.Readings, l.reading(string(q), key, 0, to))
	}
	return h
}

// optionChosen finds an option named by its number or by its very words. rest is the token
// behind a number that more words follow, 0 otherwise.
func (l *listener) optionChosen(q Question) (key string, rest int, ok bool) {
	options := Options(q)
	if len(options) == 0 {
		return "", 0, false
	}
	i := 0
	for i < len(l.words) && (l.is(i, "option_words") || l.words[i].kind > aMark) {
		i++
	}
	n, next, ok := l.number(i)
	if ok && n >= 1 && n <= float64(len(options)) && n == float64(int(n)) && (l.words[i].kind == aNumber || i+1 == next) {
		stopped := next == len(l.words) || l.words[next].kind == anEnd || l.words[next].kind == aPause || l.mark(next, "-")
		tail := next
		for tail < len(l.words) && (l.words[tail].kind >= aPause || l.is(tail, "polite") || l.is(tail, "courtesy")) {
			tail++
		}
		switch {
		case tail == len(l.words):
			return options[int(n)-1].Key, 0, true
		case stopped && l.words[i].kind == aNumber && !(l.mark(next, "-") && l.words[min(next+1, len(l.words)-1)].kind == aNumber):
			return options[int(n)-1].Key, next, true
		}
	}
	key, ok = optionWords()[string(q)+" "+plainWords(l.words)]
	return key, 0, ok
}

// plainWords joins the folded words and numbers of a text.
func plainWords(ts []token) string {
	var b strings.Builder
	for _, t := range ts {
		if t.kind <= aNumber {
			b.WriteString(t.text)
			b.WriteByte(' ')
		}
	}
	return strings.TrimSpace(b.String())
}

// optionWords maps "<question> <words>" to an option's key, for the words that the wording
// files show in any language, short and long, and for the key itself.
var optionWords = sync.OnceValue(func() map[string]string {
	all := map[string]string{}
	for q, list := range options {
		for _, o := range list {
			for _, lang := range Languages() {
				for _, chat := range []bool{false, true} {
					shown := Words{Language: lang, Chat: chat}.Say("opt_"+string(q)+"_"+o.Key, nil)
					if !strings.HasPrefix(shown, "[") {
						all[string(q)+" "+plainWords(knownTokens(shown))] = o.Key
					}
				}
			}
		}
	}
	return all
})

// yesNoOption is the option that a bare yes or no means.
func yesNoOption(q Question, yes bool) string {
	keys := map[Question][2]string{
		AskStung: {"fine", "none"}, AskAllergic: {"yes", "no"}, AskOwner: {"yes", "no"},
		AskAccess: {"", "nothing"}, AskPhoto: {"", "no"},
	}[q]
	if yes {
		return keys[0]
	}
	return keys[1]
}

// inOwnWords answers the questions that take any words.
func (h Heard) inOwnWords(q Question, l *listener) (Heard, bool) {
	words := clean(l.text)
	switch q {
	case AskPlace:
		if !l.couldBePlace(h) {
			return h, false
		}
		p := inWords(words, l.setting)
		h.Answers.Place = &p
	case AskAccess:
		if !hasLetters(words) && !strings.ContainsFunc(words, unicode.IsDigit) || Courtesy(words) {
			return h, false
		}
		h.Answers.Access = cut(words, 160)
	case AskName:
		name, at, ok := l.bareName()
		if !ok || slices.ContainsFunc(h.Readings, func(r Reading) bool { return r.Start <= at.start && at.end <= r.End }) {
			return h, false // "es mia" is no name
		}
		h.Answers.Name = name
		h.Readings = append(h.Readings, Reading{Field: "name", Value: name, Start: at.start, End: at.end})
		return h, true
	case AskHeight:
		return h.bareHeight(l)
	default:
		return h, false
	}
	h.Readings = append(h.Readings, l.reading(string(q), words, 0, len(l.words)))
	return h, true
}

// cut shortens s to at most n bytes, whole letters only.
func cut(s string, n int) string {
	for len(s) > n {
		_, size := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-size]
	}
	return s
}

// couldBePlace refuses thanks, bare numbers, yes and no, and a text that only tells
// something else ("nobody got stung").
func (l *listener) couldBePlace(h Heard) bool {
	if !hasLetters(l.text) || len(l.words) == 0 || courteous(l.words) {
		return false
	}
	if _, known := yesOrNo(l.words); known && len(l.words) <= 2 {
		return false
	}
	told := len(h.Readings) > 0
	for _, r := range h.Readings {
		told = told && slices.Contains([]string{"stung", "stings", "allergic", "age_h", "height_m", "crowd", "name"}, r.Field)
	}
	told = told || correcting(l.words) // "actually its on the fence", "perdón, a nadie"
	if !told {
		return true
	}
	for i := range l.words {
		if l.proper(i) && !coveredBy(h.Readings, l.words[i]) {
			return true
		}
	}
	return false
}

func coveredBy(rs []Reading, t token) bool {
	return slices.ContainsFunc(rs, func(r Reading) bool { return r.Start <= t.start && t.end <= r.End })
}

// bareHeight reads a number without a unit: "about 10" is feet or metres by the setting.
func (h Heard) bareHeight(l *listener) (Heard, bool) {
	for i := range l.words {
		q, ok := l.quantity(i)
		if !ok || coveredBy(h.Readings, l.words[i]) { // "Robles 12" is no height
			continue
		}
		m := q.value * 0.3048
		if l.setting.Metric {
			m = q.value
		}
		f := said{field: "height_m", value: formatNumber(m), from: q.from, to: q.to}
		if v, _ := l.metres(f); v == nil || q.to-q.from > len(l.words) {
			return h, false
		}
		l.lay(&h, f)
		return h, true
	}
	return h, false
}
