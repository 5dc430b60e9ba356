package intake

import "slices"

// setBits says which sets a word is in, a bit for each: a text's words are asked about a
// thousand times over.
type setBits [8]uint64

// has reports whether the bit of a set is set. Bit 0 is nobody's: a set that there is not.
func (b *setBits) has(id int) bool { return b != nil && b[id/64]&(1<<(id%64)) != 0 }

// meets reports whether two have a set in common.
func (b *setBits) meets(other *setBits) bool {
	if b == nil {
		return false
	}
	for i := range b {
		if b[i]&other[i] != 0 {
			return true
		}
	}
	return false
}

// anyOf is the bits of several sets.
func (g *phrases) anyOf(names ...string) *setBits {
	var b setBits
	for _, name := range names {
		id := g.setIDs[name]
		b[id/64] |= 1 << (id % 64)
	}
	return &b
}

// tokens cuts text into tokens that know their sets.
func (g *phrases) tokens(text string) []token {
	ts := cutTokens(text)
	for i := range ts {
		ts[i].sets = g.wordSets[ts[i].text]
	}
	return ts
}

// match is a phrase found: tokens[from:to] are what rule says.
type match struct {
	rule     *rule
	from, to int
}

// find returns every phrase of a tree in ts, whichever way it fits.
func (g *phrases) find(tree string, ts []token) []match {
	root := g.roots[tree]
	if root == 0 {
		return nil
	}
	var out []match
	for i := range ts {
		g.begin(root, ts, i, &out)
	}
	return out
}

// opens returns the phrases of a tree with which ts begins.
func (g *phrases) opens(tree string, ts []token) []match {
	root := g.roots[tree]
	if root == 0 || len(ts) == 0 {
		return nil
	}
	var out []match
	g.begin(root, ts, 0, &out)
	return out
}

// mayOpen reports whether a phrase of a tree may begin with a word.
func (g *phrases) mayOpen(tree, word string) bool {
	root := g.roots[tree]
	return root != 0 && (g.any[root] != 0 || len(g.first[root][word]) > 0)
}

// begin finds the phrases that begin with token i.
func (g *phrases) begin(root int32, ts []token, i int, out *[]match) {
	if ts[i].classes == nil {
		return
	}
	for _, to := range g.first[root][ts[i].text] {
		g.walk(to, ts, i, i+1, out)
	}
	if any := g.any[root]; any != 0 && g.anything(&ts[i]) {
		g.walk(any, ts, i, i+1, out)
	}
}

func (g *phrases) walk(node int32, ts []token, from, at int, out *[]match) {
	for _, r := range g.rules[node] {
		*out = append(*out, match{&g.rule[r], from, at})
	}
	if n := g.gap[node]; n != 0 {
		g.jump(n, ts, from, at, out)
	}
	if len(g.steps[node]) == 0 && g.any[node] == 0 {
		return
	}
	for ; at < len(ts); at++ {
		t := &ts[at]
		g.take(node, ts, from, at, out)
		if n := g.any[node]; n != 0 && g.anything(t) {
			g.walk(n, ts, from, at+1, out)
		}
		if !g.skippable(t) {
			return
		}
	}
}

// anything reports whether t may stand where a phrase takes any one word.
func (g *phrases) anything(t *token) bool {
	return (t.kind == aWord || t.kind == aNumber) && !t.sets.has(g.attached) && !t.sets.has(g.nearby)
}

// take walks on from node by every class that the token at has. A common word has hundreds of
// them, a node mostly few steps: those are looked up then.
func (g *phrases) take(node int32, ts []token, from, at int, out *[]match) {
	const lookUp = 8 // what finding one among hundreds costs
	steps, classes := g.steps[node], ts[at].classes
	if lookUp*len(steps) < len(classes) {
		for _, s := range steps {
			if _, found := slices.BinarySearch(classes, s.by); found {
				g.walk(s.to, ts, from, at+1, out)
			}
		}
		return
	}
	for len(steps) > 0 && len(classes) > 0 {
		switch {
		case steps[0].by < classes[0]:
			steps = steps[1:]
		case steps[0].by > classes[0]:
			classes = classes[1:]
		default:
			g.walk(steps[0].to, ts, from, at+1, out)
			steps, classes = steps[1:], classes[1:]
		}
	}
}

// jump goes on behind a gap of at most three words, articles aside, which holds no "not": "throat is
// starting to swell" but not "throat is not swollen".
func (g *phrases) jump(node int32, ts []token, from, at int, out *[]match) {
	for words := 0; words <= 3 && at < len(ts); at++ {
		g.take(node, ts, from, at, out)
		t := &ts[at]
		if t.kind == anEnd || t.sets.has(g.negators) {
			return
		}
		if (t.kind == aWord || t.kind == aNumber) && !t.sets.has(g.articles) {
			words++
		}
	}
}

// skippable are the small words and signs that may stand inside any phrase.
func (g *phrases) skippable(t *token) bool {
	switch t.kind {
	case aPause, anEmoji:
		return true
	case aMark:
		return t.text == "-" || t.text == ":"
	}
	return t.kind == aWord && t.sets.has(g.articles)
}
