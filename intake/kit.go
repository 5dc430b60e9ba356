package intake

import "strings"

// Kit is what a catcher owns for the work, as they told it.
type Kit struct {
	Items   []string // codes, in the order of kitItems: "box", "nuc", "ladder" …
	LadderM float64  // length of the ladder in metres, 0 = not told
}

// kitItems are the things that a brief may ask for. A stick as a bridge is found anywhere, and
// a helper is no thing.
var kitItems = []string{"box", "nuc", "sheet", "brush", "veil", "suit", "tape", "shears", "mist", "lure", "stool", "ladder", "pole"}

// ReadKit reads a list such as "ladder 12 ft, nuc, water mist, shears". False when it names
// nothing that we know.
func ReadKit(text string, s Setting) (Kit, bool) {
	l := listen(text, s)
	has := map[string]bool{}
	var k Kit
	for _, m := range grammar.find("kit", l.words) {
		has[m.rule.value] = true
		if m.rule.value == "ladder" {
			k.LadderM = l.ladderAt(m.from, m.to)
		}
	}
	for _, item := range kitItems {
		if has[item] {
			k.Items = append(k.Items, item)
		}
	}
	return k, len(k.Items) > 0
}

// ladderAt returns the length told behind or before the word for a ladder: "ladder 12 ft",
// "a 12-ft ladder". 0 = none.
func (l *listener) ladderAt(from, to int) float64 {
	const shortest, longest = 0.5, 15.0 // metres
	fits := func(metres float64) bool { return metres > shortest && metres < longest }
	for i := to; i <= to+1; i++ { // "escalera de 4 m"
		if metres, _, ok := l.length(i); ok && fits(metres) {
			return metres
		}
	}
	for i := max(0, from-4); i < from; i++ {
		if metres, end, ok := l.length(i); ok && end == from && fits(metres) {
			return metres
		}
	}
	return 0
}

// Swarm sizes as a catcher tells them.
const (
	SizeSmall  = "small"
	SizeMedium = "medium"
	SizeLarge  = "large"
)

// Between the sizes, in kilograms of bees: judgement, around the mean of 1.42 kg that Villa
// weighed (Ann. Entomol. Soc. Am. 97:111-116, 2004, abstract; 0.17 to 4.30 kg).
const (
	mediumFromKg = 0.7
	largeFromKg  = 2.0
)

// What people count in: a pound, and the bees that cover one deep frame on both sides
// (about 2 000 bees of 0.13 g; judgement).
const (
	kgPerPound = 0.45359237
	kgPerFrame = 0.27
)

// ReadSize reads how big a swarm was: "small", "3 lb", "1.5 kg", "5 frames". kg is 0 when
// only a word was said.
func ReadSize(text string, s Setting) (size string, kg float64, ok bool) {
	l := listen(text, s)
	for _, m := range grammar.find("weighing", l.words) {
		per := map[string]float64{"kg": 1, "lb": kgPerPound, "frames": kgPerFrame}[m.rule.value]
		if per == 0 {
			size = m.rule.value
			continue
		}
		for i := range m.from {
			if q, isNumber := l.quantity(i); isNumber && q.to == m.from && kg == 0 { // the first, so that "8 to 10" is one
				kg = q.value * per
			}
		}
	}
	const heaviest = 10.0 // more than twice what Villa ever weighed
	if kg > 0 && kg < heaviest {
		return sizeOf(kg), kg, true
	}
	return size, 0, size != "" && kg == 0
}

func sizeOf(kg float64) string {
	switch {
	case kg < mediumFromKg:
		return SizeSmall
	case kg < largeFromKg:
		return SizeMedium
	}
	return SizeLarge
}

// aboutKit reads the arguments of KIT and SIZE.
func (c Command) aboutKit(rest string, s Setting) (Command, bool) {
	c.Reference, rest = cutReference(strings.TrimSpace(rest))
	if c.Word == WordSize && c.Reference == "" {
		if i := strings.LastIndexByte(rest, ' '); i > 0 { // a button says it last
			if ref, after := cutReference(rest[i+1:]); ref != "" && after == "" {
				c.Reference, rest = ref, rest[:i]
			}
		}
	}
	c.Rest = strings.TrimSpace(rest)
	if c.Rest == "" {
		return c, true
	}
	if c.Word == WordKit {
		_, ok := ReadKit(c.Rest, s)
		return c, ok
	}
	_, _, ok := ReadSize(c.Rest, s)
	return c, ok
}
