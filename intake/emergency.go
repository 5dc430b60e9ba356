package intake

// Emergency reports whether text tells of a severe reaction: trouble breathing, a swollen
// face, throat or tongue, fainting or collapse, and the other signs listed in
// reading/*.toml. A missed one is far worse than a false alarm: only what is plainly denied
// ("nobody has trouble breathing") or plainly harmless ("breathing fine") is left out, and
// each sign is judged by itself, so that "not allergic but can't breathe" counts.
func Emergency(text string) bool {
	ts := tokens(text)
	grammar.know(ts)
	_, ok := emergencySign(ts)
	return ok
}

// emergencySign is the first sign that nobody takes back.
func emergencySign(ts []token) (match, bool) {
	all := grammar.find("emergency", ts)
	for _, m := range all {
		if m.rule.topic == "emergency" && !takenBack(m, all, ts, 0) {
			return m, true
		}
	}
	return match{}, false
}

func takenBack(m match, all []match, ts []token, depth int) bool {
	for _, calm := range all {
		if calm.rule.topic == "calm" && calm.from <= m.from && calm.to >= m.to && !answersNo(ts, calm.from) {
			return true
		}
	}
	i := m.from - 1
	for ; i >= 0 && i >= m.from-4 && ts[i].kind == aWord && grammar.sets["denying"][ts[i].text]; i-- {
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
	return grammar.sets["deniers"][ts[i].text] && !answersNo(ts, i)
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
	return ts[i].text == "no" && i+1 < len(ts) && (grammar.sets["answers_no"][ts[i+1].text] || grammar.sets["patient"][ts[i+1].text])
}
