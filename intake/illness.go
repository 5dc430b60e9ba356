package intake

// A sign of illness is told in endless words, so it is composed: a word or phrase for an
// abnormal state (reading/*.emergency.toml says of which kind), of whom it is told, and
// whether somebody was stung. What makes it an alarm is in alarming.

var (
	humans  = grammar.anyOf("human", "patient", "face", "cara", "core")
	limbs   = grammar.anyOf("limb")
	animals = grammar.anyOf("animal")
	things  = grammar.anyOf("thing", "bees", "wasps", "swarms", "animal", "tree", "shrub", "fence", "post", "vehicle", "structure", "nestword", "flower")
)

// subject is of whom or what a sign is told.
type subject uint8

const (
	nobodyNamed subject = iota
	human
	limb
	thing
)

// story is a text in which signs of illness are weighed.
type story struct {
	ts      []token
	all     []match // of the tree "emergency"
	stung   int     // the token that tells of a sting which did happen, -1 if none does
	stungAt int     // the same, -1 when only a "yes" says so
	well    bool    // somebody is said to be well
	joke    bool    // somebody laughs
}

// hearStory looks for what the signs of a text are weighed by.
func hearStory(ts []token, all []match) story {
	s := story{ts: ts, all: all, stung: -1, stungAt: -1}
	for _, m := range all {
		switch m.rule.topic {
		case "sting":
			if s.stung < 0 && s.happened(m) {
				s.stung = m.from
			}
			if s.stungAt < 0 && s.event(m) && s.happened(m) {
				s.stungAt = m.to - 1
			}
		case "well":
			s.well = true
		case "joke":
			s.joke = true
		}
	}
	if s.stung < 0 {
		s.answered()
	}
	return s
}

// answered finds a sentence that begins as an answer to our first question: "yes, my son and
// his face looks weird", "just once but he's allergic".
func (s *story) answered() {
	for i := 0; i+1 < len(s.ts); i++ {
		if i > 0 && s.ts[i-1].kind != anEnd {
			continue
		}
		switch {
		case s.ts[i].in("yes_words"):
			s.stung = i
			if s.ts[i+1].sets.meets(humans) || i+2 < len(s.ts) && s.ts[i+2].sets.meets(humans) {
				s.stungAt = i // "yes my son, he's allergic"
			}
			return
		case s.ts[i].in("only_words") && s.ts[i+1].in("once_words"):
			s.stung, s.stungAt = i, i+1
			return
		}
	}
}

// composedSign finds a sign that is an alarm by what it is told of and with.
func (s *story) composedSign() (match, bool) {
	ts, all := s.ts, s.all
	signs := false
	for _, m := range all {
		switch m.rule.topic {
		case "grave", "mild", "local", "frail", "turn", "seems", "state":
			signs = true
		}
	}
	if m, ok := s.body(); ok {
		return m, true
	}
	if !signs {
		return match{}, false
	}
	for _, m := range all {
		if s.alarming(m) && !takenBack(m, all, ts, 0) && !elsewhen(m, all, ts) {
			return m, true
		}
	}
	return match{}, false
}

// event reports whether a sting is told of as something that took place: "bee stings" alone
// may be what one is allergic to.
func (s *story) event(m match) bool {
	for i := m.from; i < m.to; i++ {
		if s.ts[i].in("stung_event") || i == m.to-1 && s.ts[i].sets.meets(humans) {
			return true
		}
	}
	return false
}

// happened reports whether a sting took place, and not to an animal.
func (s *story) happened(m match) bool {
	if takenBack(m, nil, s.ts, 0) || elsewhen(m, s.all, s.ts) {
		return false
	}
	for i := m.from - 1; i >= 0 && i >= m.from-5; i-- {
		t := &s.ts[i]
		switch {
		case t.kind == anEnd || t.kind == aPause:
			return true
		case t.in("if_stung"), t.in("negators"), t.sets.meets(animals):
			return false
		case t.sets.meets(humans):
			return true
		}
	}
	for i := m.from; i < len(s.ts) && i < m.to+3; i++ {
		if s.ts[i].sets.meets(animals) {
			return false
		}
	}
	return true
}

func (s *story) alarming(m match) bool {
	switch m.rule.topic {
	case "grave":
		switch s.subject(m) {
		case human:
			return true
		case nobodyNamed:
			return s.stung >= 0 || s.opens(m.from)
		}
	case "mild":
		return s.stung >= 0 && !s.well && s.subject(m) != thing
	case "local":
		who := s.subject(m)
		return s.stung >= 0 && !s.well && who != thing && who != limb && !s.limbBehind(m)
	case "frail":
		return s.stung >= 0 && !s.well && s.ofTheStung(m)
	case "seems":
		return m.to < len(s.ts) && s.ts[m.to].kind == aWord && !s.ts[m.to].in("seem_ok") && !s.well && subjectOf(&s.ts[m.from]) == human
	case "state":
		last := &s.ts[m.to-1]
		return s.stungAt >= 0 && m.from > s.stungAt && !s.well && last.kind == aWord && !last.in("benign") && !last.in("seem_ok") && !last.in("allergy")
	case "turn":
		return s.stung >= 0 && !s.well && s.consequence(m)
	}
	return false
}

// consequence reports whether something is told of somebody behind "and now", which a text
// about a sting tells of what came of it, in words that nobody can list.
func (s *story) consequence(m match) bool {
	told := false
	for i := m.to; i < len(s.ts) && i < m.to+8; i++ {
		t := &s.ts[i]
		switch {
		case t.kind == anEnd:
			return told
		case t.in("benign"), i < m.to+3 && t.in("stung_event"): // "y ya nos picaron tres veces"
			return false
		case i < m.to+3 && !told:
			if who := subjectOf(t); who == thing {
				return false
			} else if who == human {
				told = true
			}
		}
	}
	return told
}

// body finds a part of the body that is not where somebody was stung: "his neck disappeared".
// Without a sting it must be somebody's and no bee may be near it.
func (s *story) body() (match, bool) {
	if s.well {
		return match{}, false
	}
	for i := range s.ts {
		if !s.ts[i].in("inner") {
			continue
		}
		theirs := i > 0 && s.ts[i-1].in("their")
		if s.stung < 0 && !theirs || s.placed(i) {
			continue
		}
		m := match{from: i, to: i + 1}
		if s.subjectBut(i) == thing || takenBack(m, s.all, s.ts, 0) || elsewhen(m, s.all, s.ts) {
			continue
		}
		return m, true
	}
	return match{}, false
}

// placed reports whether the part of the body at i says where: "on the neck", "over my head",
// "head high".
func (s *story) placed(i int) bool {
	for j := i - 1; j >= 0 && j >= i-4; j-- {
		if s.ts[j].in("where") {
			return true
		}
		if !s.ts[j].in("articles") && !s.ts[j].in("their") {
			break
		}
	}
	return i+1 < len(s.ts) && (s.ts[i+1].in("upward") || s.ts[i+1].text == "level" || s.ts[i+1].text == "height")
}

// subjectBut is the nearest subject before i that is not the body itself.
func (s *story) subjectBut(i int) subject {
	for j := i - 1; j >= 0 && j >= i-5 && s.ts[j].kind != anEnd; j-- {
		if who := subjectOf(&s.ts[j]); who != nobodyNamed {
			return who
		}
	}
	return nobodyNamed
}

// subject is the nearest before a sign in its sentence, or in it or just behind it.
func (s *story) subject(m match) subject {
	const reach = 7
	for i := m.from; i >= 0 && i >= m.from-reach; i-- {
		if s.ts[i].kind == anEnd {
			break
		}
		if who := subjectOf(&s.ts[i]); who != nobodyNamed && !s.beside(m, who, i) {
			return who // "he's on the porch all gray" is told of him
		}
	}
	for i := m.from + 1; i < len(s.ts) && i < m.to+3 && s.ts[i].kind != anEnd; i++ {
		if who := subjectOf(&s.ts[i]); who != nobodyNamed {
			return who
		}
	}
	return nobodyNamed
}

// beside reports whether a thing or a limb is only where it happened: "he's on the porch all
// gray", "it began on her arm and now there are hives on her belly".
func (s *story) beside(m match, who subject, i int) bool {
	return (who == thing || who == limb && m.rule.topic == "grave") && s.placed(i)
}

func subjectOf(t *token) subject {
	switch {
	case t.sets == nil:
		return nobodyNamed
	case t.in("they"):
		return thing // "they don't look right" is told of bees
	case t.sets.meets(humans):
		return human
	case t.sets.meets(limbs):
		return limb
	case t.sets.meets(things):
		return thing
	}
	return nobodyNamed
}

// limbBehind reports whether a limb is named right after a sign: "swelling on my hand".
func (s *story) limbBehind(m match) bool {
	for i := m.to; i < len(s.ts) && i < m.to+4 && s.ts[i].kind != anEnd; i++ {
		if s.ts[i].sets.meets(limbs) {
			return true
		}
	}
	return false
}

// opens reports whether a sentence begins at token i, small words aside.
func (s *story) opens(i int) bool {
	for i--; i >= 0 && (s.ts[i].in("hesitation") || s.ts[i].in("pleading") || s.ts[i].in("articles")); i-- {
	}
	return i < 0 || s.ts[i].kind == anEnd
}

// ofTheStung reports whether somebody frail may be the one who was stung: "I got stung, my
// baby is asleep" tells of two.
func (s *story) ofTheStung(m match) bool {
	who := whoBefore(s.ts, max(s.stung, s.stungAt))
	if w := s.ts[m.from].text; who == "i" && s.ts[m.from].sets.meets(humans) {
		return w == who
	}
	frail := whoBefore(s.ts, m.from)
	return who == "" || frail == "" || who == frail || s.ts[m.from].sets.meets(humans)
}

// elsewhen reports whether a sign stands in a sentence that tells of the past or of what is
// only feared, in a text that says nothing of now or says that nobody was stung.
func elsewhen(m match, all []match, ts []token) bool {
	then, now, unhurt := false, false, false
	for _, o := range all {
		switch o.rule.topic {
		case "now":
			now = true
		case "unhurt":
			unhurt = true
		case "elsewhen":
			then = then || sameSentence(ts, o.from, m.from)
		}
	}
	return then && (unhurt || !now)
}

func sameSentence(ts []token, a, b int) bool {
	for i := min(a, b); i < max(a, b); i++ {
		if ts[i].kind == anEnd {
			return false
		}
	}
	return true
}
