package intake

import "strings"

// mine reads whose it is from "my" before what the bees hang on: whoever says "my lilac" owns
// it, whatever a lilac is called. "My mother's lilac" is hers.
func (l *listener) mine() []said {
	var out []said
	for _, m := range l.matches {
		if m.rule.topic != "surface" || m.rule.shadow || l.hidden(m) || l.attachment(m) < 0 {
			continue
		}
		for i := max(0, m.to-4); i < m.to; i++ {
			if l.is(i, "mine") && !l.is(i-1, "seen_from") && l.ownsUntil(i+1, m.to) {
				out = append(out, said{field: "owner", value: "yes", weight: 1, from: i, to: m.to})
				break
			}
		}
		if of := m.to + 1; (l.word(m.to) == "de" || l.word(m.to) == "del") && l.is(of, "mine") && l.ownsUntil(of+1, min(of+2, len(l.words))) {
			out = append(out, said{field: "owner", value: "yes", weight: 1, from: m.from, to: of + 2}) // "el arbusto de mi entrada"
		}
	}
	return out
}

// ownsUntil reports whether tokens[from:to] are one thing that somebody has: nothing in them
// ends the thing or names another owner.
func (l *listener) ownsUntil(from, to int) bool {
	for i := from; i < to; i++ {
		if t := &l.words[i]; t.kind != aWord || t.in("attached") || t.in("person") || t.in("patient") || grammar.sets["patient"][strings.TrimSuffix(t.text, "s")] || t.in("others") {
			return false
		}
	}
	return from < to
}

// publicPlace reports whether a place is named after its kind: "Oak Hill School" is nobody's home.
func (l *listener) publicPlace(p span) bool {
	for i := l.tokenAt(p.start); i < l.tokenAt(p.end); i++ {
		if l.is(i, "place_kind") && !l.is(i+1, "street") { // nor is "77 Orchard Ln" an orchard
			return true
		}
	}
	return false
}

// placeHazards are those that a place is named after: children at a school, cars at a highway's
// mile mark.
func (l *listener) placeHazards(p span) []said {
	var out []said
	from, to := l.tokenAt(p.start), l.tokenAt(p.end)
	for i := from; i < to; i++ {
		switch {
		case l.is(i, "schools") && !l.is(i+1, "street"):
			out = append(out, said{field: "hazards", value: "children", weight: 2, from: i, to: i + 1})
		case l.is(i, "highways") && l.names("mile_marks"):
			out = append(out, said{field: "hazards", value: "road", weight: 2, from: i, to: i + 1})
		}
	}
	return out
}
