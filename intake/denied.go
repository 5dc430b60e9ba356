package intake

// denial is the token of a "not" that stands before token at, in its clause and near
// enough; -1 if there is none. In "not sure" and "no idea" it belongs to the doubt, a "No"
// that answers a question ("No they are on a branch") denies nothing that follows, and in
// "not on the tree its on the fence" the fence stands.
func (l *listener) denial(at int) int {
	reach := 4
	for i := at - 1; i >= 0 && reach > 0; i-- {
		t := &l.words[i]
		if t.kind == anEnd || t.kind == aPause || t.in("but") || l.is(i, "restart") && !l.is(i-1, "negators") {
			return -1
		}
		if t.text == "or" || t.text == "nor" || t.text == "ni" || t.text == "o" {
			reach += 4
		}
		if t.in("negators") {
			if l.negatesElsewhere(i) {
				return -1
			}
			return i
		}
		if !t.in("articles") {
			reach--
		}
	}
	return -1
}

func (l *listener) negatesElsewhere(i int) bool {
	for _, m := range l.matches {
		if m.rule.topic == "notsure" && m.from <= i && i < m.to {
			return true
		}
	}
	if l.words[i].text != "no" || i+1 >= len(l.words) {
		return false
	}
	return (i == 0 || l.words[i-1].kind == anEnd) && l.words[i+1].in("answers_no")
}

// turn makes the opposite of a denied statement where there is one.
func (l *listener) turn(f *said) bool {
	switch f.field + "=" + f.value {
	case "stung=someone":
		f.value = "none"
	case "stung=none", "allergic=no", "notsure=yes", "owner=no", "allergic=unknown":
		// The phrase holds its own "no".
	case "allergic=yes":
		f.value = "no"
	case "owner=yes":
		f.value = "no"
		return f.weight > 4
	case "height_m=1.7":
		f.value = "2.7"
	case "height_m=2.7", "shape=no_nest", "entry=no_hole":
	default:
		return false
	}
	return true
}

// doubtful reports whether a mere name stands in an "or" or an "if": "bees or wasps?".
func (l *listener) doubtful(m match) bool {
	for _, i := range []int{m.from - 1, m.from - 2, m.to} {
		if i < 0 || i >= len(l.words) {
			continue
		}
		if _, _, counted := l.number(i); counted {
			break // "five or six wasps"
		}
		switch l.words[i].text {
		case "or", "if", "o", "si", "versus", "vs":
			return true
		}
	}
	return false
}
