package intake

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// readName finds "I'm Gwen", "my name is Gwen", "soy Rosa", "Gwen here".
func (l *listener) readName(h *Heard) {
	for i := range l.words {
		at := l.afterNamePhrase(i)
		if i == 0 && l.is(0, "first_titles") {
			at = 1 // "Doña Carmen les habla"
		}
		switch {
		case l.is(at, "first_titles"): // goes with a first name: "Don Beto"
			at++
		case l.is(at, "titles") && l.is(at+1, "first_names"): // "Pastor Dave"
			at++
		case l.is(at, "titles"):
			at = 0
		}
		if at == 0 && (i == 0 || l.words[i-1].kind == anEnd) && i+1 < len(l.words) && l.properName(i) && (l.is(i+1, "here_again") || l.is(i, "first_names") && l.words[i].capital && l.is(i+1, "from_where")) {
			l.setName(h, i) // "Mason here", "Jolene from the feed store"
			return
		}
		if at > 0 && at < len(l.words) && l.properName(at) {
			l.setName(h, at)
			return
		}
	}
	if last := len(l.words) - 1; last > 0 && l.signsOff(last) {
		l.setName(h, last)
		return
	}
	for i := 1; i < len(l.words); i++ {
		if l.standsAlone(i) {
			l.setName(h, i)
			return
		}
	}
}

// standsAlone reports whether token i is a name by itself between two stops: "… 3 feet up. Ed,
// 16 Tanager Way", "I'm the janitor, Odell.", "Hi there, Priscilla."
func (l *listener) standsAlone(i int) bool {
	if !l.clauseEnds(i+1) || !l.is(i, "first_names") || !l.words[i].capital || !l.properName(i) || l.shouting() {
		return false
	}
	switch before := l.words[i-1]; before.kind {
	case anEnd:
		return true
	case aPause:
		return i+1 >= len(l.words) || l.words[i+1].kind == anEnd || l.words[i+1].text == ")"
	}
	return false
}

// signsOff reports whether token i ends a text as a signature does: "Thanks, Terrence".
func (l *listener) signsOff(i int) bool {
	if l.words[i-1].kind != aPause && !l.mark(i-1, "-") && !l.is(i-1, "courtesy") && !l.is(i-1, "closing") || !l.properName(i) || !l.words[i].capital {
		return false
	}
	for j := i - 1; j >= 0 && j >= i-5; j-- {
		if l.is(j, "courtesy") || l.is(j, "closing") || j == i-1 && l.mark(j, "-") || j == i-2 && l.words[j].kind == aNumber {
			return true
		}
	}
	return false
}

func (l *listener) setName(h *Heard, at int) {
	h.Answers.Name = titled(l.text[l.words[at].start:l.words[at].end])
	h.Readings = append(h.Readings, l.reading("name", h.Answers.Name, at, at+1))
}

// afterNamePhrase is the token behind a phrase that gives a name and begins at i, 0 if none.
func (l *listener) afterNamePhrase(i int) int {
	for _, phrase := range namePhrases {
		n := 0
		for n < len(phrase) && i+n < len(l.words) && l.words[i+n].text == phrase[n] {
			n++
		}
		if n == len(phrase) && i+n < len(l.words) {
			return i + n
		}
	}
	return 0
}

var namePhrases = [][]string{
	{"my", "name", "is"}, {"my", "names"}, {"name", "is"}, {"names"}, {"name", "s"}, {"i", "am"}, {"im"}, {"this", "is"}, {"its"}, {"call", "me"}, {"ask", "for"}, {"pregunten", "por"}, {"pregunte", "por"}, {"preguntar", "por"}, {"first", "name"}, {"me", "dicen"}, {"signed"},
	{"me", "llamo"}, {"mi", "nombre", "es"}, {"soy"}, {"aqui", "otra", "vez"}, {"habla"}, {"le", "habla"}, {"aqui"}, {"le", "escribe"}, {"les", "escribe"}, {"escribe"}, {"reporta"}, {"reporta", "la"}, {"reporta", "el"}, {"name", ":"}, {"nombre", ":"},
}

// properName reports whether token i is a first name: a well-known one, or a word with a
// capital that is no word of another sort. "I'm Scared" and "This is Main Street" are none.
func (l *listener) properName(i int) bool {
	t := &l.words[i]
	if t.kind != aWord || l.is(i, "not_names") || l.is(i+1, "street") || l.namesPlace(i+1) {
		return false
	}
	if t.in("first_names") {
		return true
	}
	return t.capital && !l.shouting() && (t.mended || t.classes == nil && !ordinaryWord(t.text)) && len(t.text) > 1
}

// namesPlace reports whether token i tells what sort of place the name before it is of: "Oak
// Hill School", "Parkview Elementary's".
func (l *listener) namesPlace(i int) bool {
	return l.is(i, "place_kind") || i < len(l.words) && grammar.sets["place_kind"][strings.TrimSuffix(l.words[i].text, "s")]
}

// bareName reads the name out of an answer to "what is your name?": one to three words,
// none of which is another sort of word.
func (l *listener) bareName() (string, span, bool) {
	from, count := -1, 0
	for i := range l.words {
		t := &l.words[i]
		switch {
		case t.kind != aWord && t.kind != aNumber || l.is(i, "courtesy") || l.is(i, "polite"):
			continue
		case t.kind == aNumber || l.is(i, "not_names") || ordinaryWord(t.text) && !t.in("first_names"):
			return "", span{}, false
		}
		if from < 0 {
			from = i
		}
		count++
	}
	if count == 0 || count > 3 {
		return "", span{}, false
	}
	t := l.words[from]
	return titled(l.text[t.start:t.end]), span{t.start, t.end}, true
}

// titled writes a name as a name: GWEN and gwen become Gwen; O'Brien stays.
func titled(name string) string {
	name = cut(clean(name), 40)
	if name != strings.ToUpper(name) && name != strings.ToLower(name) {
		return name
	}
	first, size := utf8.DecodeRuneInString(name)
	return string(unicode.ToUpper(first)) + strings.ToLower(name[size:])
}
