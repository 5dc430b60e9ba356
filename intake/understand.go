package intake

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Setting is what a reader must know besides the text.
type Setting struct {
	Language string    // the talk's language, "en", "es"; all are tried, this one decides what is ambiguous
	At       time.Time // the hotline's local clock
	Center   Place     // the hotline's centre
	RadiusKm float64   // the area served, kilometres around Center; 0 = anywhere
	Metric   bool      // a height without a unit is in metres, not feet
	Waiting  Question  // the question we wait on, "" if none
}

// Reading is one thing that was read: which field of Answers, which value, from which bytes.
type Reading struct {
	Field, Value string
	Start, End   int // text[Start:End] said it

	// Supposed is what mostly holds when that is said: "a swarm on the fence" hangs there, who
	// says "honey bees" sees brown ones. It fills a gap, and displaces nothing that was told.
	Supposed bool
}

// Heard is what a text told.
type Heard struct {
	Answers  Answers   // everything that was read; always valid
	Readings []Reading // in the order of the text
	NotSure  bool      // "not sure", "no idea", "no sé"
	Outside  bool      // a place was read that lies outside the area served
}

// Understand reads free text: several answers at once, in any language of the grammar, with
// the misspellings that people make. It never fails; a text that tells nothing gives empty
// Answers. In the light of s.Waiting short words count too ("mine", "higher").
func Understand(text string, s Setting) Heard {
	r := recall(text)
	if last := r.heard.Load(); last != nil && last.setting == s {
		return last.heard.clone()
	}
	h := read(listen(text, s))
	r.heard.Store(&heardIn{s, h.clone()})
	return h
}

// clone returns h with nothing in common that could be changed.
func (h Heard) clone() Heard {
	h.Answers, h.Readings = h.Answers.clone(), slices.Clone(h.Readings)
	return h
}

// Over returns a with what was heard laid over it; see Answers.Merge.
func (h Heard) Over(a Answers) Answers {
	newer := h.Answers
	for _, r := range h.Readings {
		switch {
		case r.Supposed && r.Field == "shape" && a.Shape != "":
			newer.Shape = ""
		case r.Supposed && r.Field == "body" && a.Body != "":
			newer.Body = ""
		}
	}
	return a.Merge(newer)
}

// listener is a text being read.
type listener struct {
	text    string
	setting Setting
	words   []token
	numbers map[string]float64 // number words of the text's language
	matches []match
	placed  span // where the place stands; empty = none was read
}

func listen(text string, s Setting) *listener {
	l := &listener{text: text, setting: s, words: knownTokens(text)}
	lang := s.Language
	if guess := mostly(l.words); guess != "" {
		lang = guess
	}
	if l.numbers = grammar.numbers[lang]; l.numbers == nil {
		l.numbers = grammar.numbers["en"]
	}
	return l
}

// said is one value for one field, with the tokens that said it.
type said struct {
	field, value string
	weight       int
	from, to     int
	supposed     bool // see Reading
}

func read(l *listener) Heard {
	var h Heard
	place, span, placed := l.place()
	if placed {
		l.mask(span)
		l.placed = span
	}
	l.matches = grammar.find("", l.words)
	all := l.phrases()
	all = append(all, l.heights()...)
	all = append(all, l.ages()...)
	all = append(all, l.counts()...)
	if l.names("clump") || l.names("swarm") {
		all = append(all, l.sizes()...)
	}
	all = append(all, l.mine()...)
	if placed {
		all = append(all, l.placeHazards(span)...)
	}
	if placed && l.publicPlace(span) {
		all = append(all, said{field: "owner", value: "no", weight: 3, from: l.tokenAt(span.end) - 1, to: l.tokenAt(span.end)})
	}
	best := choose(l.sift(all))
	size, sized := best["size"]
	if sized && best["crowd"].field == "" && !paper(best["shape"].value) {
		// The size of a paper nest says nothing about how many live in it.
		best["crowd"] = said{field: "crowd", value: size.value, from: size.from, to: size.to}
	}
	delete(best, "size")
	if shape, ok := best["shape"]; ok && shape.value == "wax_comb" && l.names("wasps") {
		shape.value = "open_umbrella" // wasps have no wax: the comb that is seen is their paper cells
		best["shape"] = shape
	}
	l.reconcile(best)
	l.suppose(best, sized)
	for _, f := range sortedSaid(best) {
		l.lay(&h, f)
	}
	if placed {
		h.Answers.Place = &place
		h.Outside = outside(place, l.setting)
		h.Readings = append(h.Readings, Reading{Field: "place", Value: place.Text, Start: span.start, End: span.end})
	}
	l.readName(&h)
	if a := alarmTo(l.setting.Waiting, l.text); a.heard {
		h.Answers.Stung = "trouble_breathing"
		h.Readings = slices.DeleteFunc(h.Readings, func(r Reading) bool { return r.Field == "stung" })
		h.Readings = append(h.Readings, l.reading("stung", "trouble_breathing", a.sign.from, a.sign.to))
	}
	slices.SortStableFunc(h.Readings, func(a, b Reading) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Field, b.Field), cmp.Compare(a.Value, b.Value))
	})
	return h
}

// tokenAt is the first token that begins at byte end or later.
func (l *listener) tokenAt(end int) int {
	i := 0
	for i < len(l.words) && l.words[i].start < end {
		i++
	}
	return i
}

// names reports whether the text has a word of a set without an "or" or a "not".
func (l *listener) names(set string) bool {
	for i := range l.words {
		if l.is(i, set) && l.denial(i) < 0 && !l.doubtful(match{from: i, to: i + 1}) {
			return true
		}
	}
	return false
}

func paper(shape string) bool { return shape == "paper_ball" || shape == "open_umbrella" }

// mask hides the tokens of a place, so that "14 Mill Road" is no hazard.
func (l *listener) mask(p span) {
	for i := range l.words {
		if t := &l.words[i]; t.start >= p.start && t.end <= p.end {
			t.classes = nil
		}
	}
}

// phrases turns matches into what was said: hidden ones go, denied ones go or turn round,
// places on which something hangs gain over those it is near to.
func (l *listener) phrases() []said {
	var out []said
	for _, m := range l.matches {
		r := m.rule
		if r.shadow || r.asked != "" && r.asked != l.setting.Waiting || l.hidden(m) {
			continue
		}
		f := said{field: r.topic, value: r.value, weight: 2 * r.weight, from: m.from, to: m.to}
		// Not so a wasp's name: who calls them wasps after all is to be believed.
		f.supposed = r.topic == "body" && r.value == "fuzzy_brown" && r.weight == 0
		if r.topic == "age_h" {
			l.atHour(&f)
		}
		if r.topic == "age_h" && (l.whenStung(m.from) || r.value == "since:evening" && l.setting.At.Hour() < 17) {
			continue // "tonight" lies ahead until it is evening
		}
		if r.topic == "hazards" && r.value == "indoors" && l.onTheHouse(m) {
			continue
		}
		if r.topic == "surface" {
			if f.weight += l.attachment(m); f.weight < 0 {
				continue
			}
		}
		if r.topic == "owner" && r.value == "no" && (l.attachment(m) < 0 || l.anyIn(m, "nearby")) {
			f.weight = 0 // "in my yard next to the golf course": whatever is called theirs is theirs
		}
		if no := l.denial(m.from); no >= 0 && !((r.topic == "owner" || r.topic == "hazards") && l.is(no, "unable_to")) && !l.turn(&f) {
			continue // "can't get into my house" says nothing against "my house"
		}
		if r.weight == 0 && l.doubtful(m) {
			continue
		}
		out = append(out, f)
	}
	return out
}

// hidden reports whether a longer phrase covers m: a shadow, or one for the same field.
func (l *listener) hidden(m match) bool {
	for _, o := range l.matches {
		covers := o.from <= m.from && o.to >= m.to
		if !covers || o.rule.asked != "" && o.rule.asked != l.setting.Waiting {
			continue
		}
		longer := o.to-o.from > m.to-m.from
		if o.rule.hides(m.rule) && (longer || o.to-o.from == m.to-m.from && o.rule.weight >= m.rule.weight) {
			return true
		}
		if longer && o.rule.topic == m.rule.topic && o.rule.weight >= m.rule.weight && m.rule.topic != "hazards" {
			return true
		}
	}
	return false
}

// hides reports whether a shadow is cast on r: "nothing" on all, "nothing=shape" on a
// field, "nothing=shape:hanging_cluster" on one of its values.
func (shadow *rule) hides(r *rule) bool {
	if !shadow.shadow {
		return false
	}
	topic, value, one := strings.Cut(shadow.value, ":")
	return topic == "" || topic == r.topic && (!one || value == r.value)
}

// choose takes for each field the heaviest statement, then the longest, then the first.
// Hazards and ways of access add up: each counts as a field of its own here.
func choose(all []said) map[string]said {
	best := map[string]said{}
	for _, f := range all {
		key := f.field
		switch f.field {
		case "hazards":
			key += " " + f.value
		case "access":
			key += " " + strconv.Itoa(f.from)
		}
		old, there := best[key]
		if !there || heavier(f, old) {
			best[key] = f
		}
	}
	return best
}

func heavier(f, old said) bool {
	c := cmp.Or(cmp.Compare(f.weight, old.weight), cmp.Compare(f.to-f.from, old.to-old.from), cmp.Compare(old.from, f.from), cmp.Compare(old.value, f.value))
	return c > 0
}

func sortedSaid(best map[string]said) []said {
	out := make([]said, 0, len(best))
	for _, f := range best {
		out = append(out, f)
	}
	slices.SortFunc(out, func(a, b said) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.field, b.field), cmp.Compare(a.value, b.value))
	})
	return out
}

// lay writes a statement into the answers.
func (l *listener) lay(h *Heard, f said) {
	a := &h.Answers
	value := f.value
	switch f.field {
	case "body":
		a.Body = value
	case "shape":
		a.Shape = value
	case "surface":
		a.Surface = value
	case "crowd":
		a.Crowd = value
	case "stung":
		a.Stung = value
	case "allergic":
		a.Allergic = value
	case "owner":
		a.Owner = value
	case "entry":
		a.Entry = value
	case "hazards":
		*a = a.WithHazards(value)
	case "height_m":
		a.HeightM, value = l.metres(f)
	case "age_h":
		a.AgeH, value = l.hours(f)
	case "stings":
		if n, err := strconv.Atoi(value); err == nil && n <= 100000 {
			a.Stings = &n
		}
	case "access":
		value = l.clause(f)
		if !strings.Contains(a.Access, value) {
			a.Access = strings.TrimPrefix(a.Access+", "+value, ", ")
		}
	case "notsure":
		h.NotSure = true
		return
	default:
		return
	}
	r := l.reading(f.field, value, f.from, f.to)
	r.Supposed = f.supposed
	h.Readings = append(h.Readings, r)
	if f.field == "stings" && a.Stung == "" && value != "0" {
		a.Stung = "someone"
	}
}

func (l *listener) reading(field, value string, from, to int) Reading {
	return Reading{Field: field, Value: value, Start: l.words[from].start, End: l.words[to-1].end}
}

// clause is what the caller wrote around a statement, from stop to stop: "side gate, dog".
func (l *listener) clause(f said) string {
	const longest = 120
	from, to := f.from, f.to
	for from > 0 && l.words[from-1].kind != anEnd && l.words[from-1].kind != aPause {
		from--
	}
	for to < len(l.words) && l.words[to].kind != anEnd && l.words[to].kind != aPause {
		to++
	}
	start, end := l.words[from].start, l.words[to-1].end
	if end-start > longest {
		start, end = l.words[f.from].start, l.words[f.to-1].end
	}
	return clean(l.text[start:end])
}

// clean is a piece of a caller's text in one line of valid UTF-8.
func clean(s string) string {
	return strings.Join(strings.Fields(strings.ToValidUTF8(s, "")), " ")
}
