package intake

import (
	"slices"
	"strings"
)

// shortestFix is the length from which a word is taken for a misspelt one: shorter words
// have too many neighbours.
const shortestFix = 5

// addFixes indexes every long word of the grammar by itself with one letter missing, which
// finds one letter too many, too few, wrong or swapped (Damerau's four errors).
func (g *phrases) addFixes() {
	var all []string
	for w := range g.words {
		if len(w) >= shortestFix && !g.sets["plain"][w] {
			all = append(all, w)
		}
	}
	slices.Sort(all)
	for _, w := range all {
		for i := 0; i <= len(w); i++ {
			key := w
			if i < len(w) {
				key = w[:i] + w[i+1:]
			}
			if _, taken := g.fixes[key]; !taken {
				g.fixes[key] = w
			}
		}
	}
}

// know tells each token what the grammar knows it as, mending a misspelling.
func (g *phrases) know(ts []token) {
	for i := range ts {
		t := &ts[i]
		if t.kind != aWord && t.kind != aNumber {
			continue
		}
		if word, ok := g.aliases[t.text]; ok && t.kind == aWord && (i == 0 || ts[i-1].kind != aNumber) {
			t.text, t.sets = word, g.wordSets[word] // "3x" stays three times
		}
		t.classes = g.words[t.text]
		if t.classes == nil && t.kind == aWord && !g.correct[t.text] {
			if meant, ok := g.undiminish(t.text); ok {
				t.text, t.sets, t.classes = meant, g.wordSets[meant], g.words[meant]
			} else if meant, ok := g.fix(*t); ok {
				t.text, t.sets, t.classes, t.mended = meant, g.wordSets[meant], g.words[meant], true
			}
		}
	}
}

// smallEndings are the endings of Spanish diminutives and augmentatives and what stands in
// the plain word instead: abejita, arbolito, poquito, panalote.
var smallEndings = []struct {
	ending string
	plain  []string
}{

	{"quito", []string{"co"}}, {"quita", []string{"ca"}}, {"quitos", []string{"cos"}}, {"quitas", []string{"cas"}},
	{"cito", []string{"", "e"}}, {"cita", []string{"", "e"}}, {"ito", []string{"o", "", "e"}}, {"ita", []string{"a", "", "e"}},
	{"itos", []string{"os", "es"}}, {"itas", []string{"as", "es"}}, {"ote", []string{"o", ""}}, {"ota", []string{"a", ""}}, {"otes", []string{"os"}}, {"otas", []string{"as"}},
}

// undiminish finds the plain word behind a Spanish diminutive that nobody wrote down.
func (g *phrases) undiminish(w string) (string, bool) {
	for _, e := range smallEndings {
		stem, ok := strings.CutSuffix(w, e.ending)
		if !ok || len(stem) < 3 {
			continue
		}
		for _, plain := range e.plain {
			if g.words[stem+plain] != nil {
				return stem + plain, true
			}
		}
	}
	return "", false
}

// fix finds the word that was meant. The first letter must be right: people rarely miss it,
// and "house" is no "mouse".
func (g *phrases) fix(t token) (string, bool) {
	if t.stretched {
		if w := squeeze(t.text); g.words[w] != nil {
			return w, true
		}
	}
	w := t.text
	if len(w) < shortestFix || len(w) > 24 {
		return "", false
	}
	var buf [24]byte
	for i := len(w); i >= 1; i-- {
		key := w
		if i < len(w) {
			key = string(append(append(buf[:0], w[:i]...), w[i+1:]...))
		}
		if meant, ok := g.fixes[key]; ok && meant[0] == w[0] && near(w, meant) {
			return meant, true
		}
	}
	return "", false
}

// squeeze writes every doubled letter once.
func squeeze(w string) string {
	var b []byte
	for i := 0; i < len(w); i++ {
		if i == 0 || w[i] != w[i-1] {
			b = append(b, w[i])
		}
	}
	return string(b)
}

// near reports whether one letter too many, too few, wrong or swapped turns a into b.
func near(a, b string) bool {
	for len(a) > 0 && len(b) > 0 && a[0] == b[0] {
		a, b = a[1:], b[1:]
	}
	for len(a) > 0 && len(b) > 0 && a[len(a)-1] == b[len(b)-1] {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	return len(a) <= 1 && len(b) <= 1 || len(a) == 2 && len(b) == 2 && a[0] == b[1] && a[1] == b[0]
}
