package intake

import "slices"

// Courtesy reports whether text is nothing but thanks, an "ok" or a thumb; a name may
// follow ("thanks Ada!").
func Courtesy(text string) bool { return courteous(seen(text)) }

func courteous(ts []token) bool {
	kind, strangers := false, 0
	for _, t := range ts {
		switch {
		case t.kind == anEmoji:
			kind = kind || t.in("courtesy")
		case t.kind == aNumber:
			return false
		case t.kind != aWord:
		case t.in("courtesy") || t.stretched && grammar.sets["courtesy"][squeeze(t.text)]:
			kind = true
		case t.in("polite"):
		case kind && t.capital && grammar.words[t.text] == nil && !ordinaryWord(t.text):
			strangers++
		default:
			return false
		}
	}
	return kind && strangers <= 1
}

// ReadYesNo reads a yes or a no: "1", "2", "yes please", "sí", "not yet", a thumb.
// known is false for anything else, "not sure" and "no one is allergic" among it.
func ReadYesNo(text string) (yes, known bool) {
	ts := seenKnown(text)
	if words := plainWords(ts); words == "1" || words == "2" {
		return words == "1", true
	}
	return yesOrNo(ts)
}

func yesOrNo(ts []token) (yes, known bool) {
	from := 0
	for from < len(ts) && (ts[from].in("hesitation") || ts[from].kind == aPause) {
		from++
	}
	if from == len(ts) {
		return false, false
	}
	if ts[from].kind == anEmoji {
		return ts[from].in("thumbs_up"), ts[from].in("thumbs_up") || ts[from].in("thumbs_down")
	}
	best := match{}
	for _, m := range grammar.find("yesno", ts[from:]) {
		if m.from == 0 && m.to > best.to {
			best = m
		}
	}
	if best.to == 0 || best.rule.value == "unknown" {
		return false, false
	}
	rest := ts[from+best.to:]
	if best.rule.weight < 2 && len(rest) > 0 && rest[0].kind == aWord && !courteous(rest) && !politely(rest) {
		return false, false // "ok so there is a swarm", "si alguien viene"
	}
	return best.rule.value == "yes", true
}

func politely(ts []token) bool {
	return !slices.ContainsFunc(ts, func(t token) bool {
		return t.kind <= aNumber && !t.in("polite") && !t.in("courtesy")
	})
}
