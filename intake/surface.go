package intake

import "slices"

// sift leaves out where the thing is on which they hang: in "on the bumper of a van in the
// driveway" it is the van; a cavity is never left out. An hour is no number of bees.
func (l *listener) sift(all []said) []said {
	return slices.DeleteFunc(all, func(b said) bool {
		return slices.ContainsFunc(all, func(a said) bool {
			switch b.field {
			case "surface":
				return b.value != "cavity" && a.field == b.field && a.value != b.value && a.to <= b.from && b.from-a.to <= 3 && l.within(a.to, b.from)
			case "crowd":
				return a.field == "age_h" && a.from <= b.from && b.to <= a.to
			}
			return false
		})
	})
}

// within reports whether nothing but a word for "in" or "of" and small words stands between
// two tokens.
func (l *listener) within(from, to int) bool {
	prepositions := 0
	if l.is(to, "lying_in") {
		prepositions = 1
	}
	for i := from; i < to; i++ {
		switch {
		case l.is(i, "lying_in"):
			prepositions++
		case !l.is(i, "articles"):
			return false
		}
	}
	return prepositions > 0
}

// reconcile mends what two statements make of each other: a hole in a wall is a cavity, and
// bees that hang nowhere are on no wall.
func (l *listener) reconcile(best map[string]said) {
	shape, surface := best["shape"].value, best["surface"]
	const weak = 2 // of a phrase with weight 1: the roof is only named
	if roof := best["hazards roof"]; roof.weight <= weak && (shape == "gap_traffic" || surface.value == "cavity") {
		delete(best, "hazards roof") // they live under it, and nobody said that one must go up
	}
	switch {
	case shape == "gap_traffic" && slices.Contains(hollows, surface.value):
		surface.value = "cavity"
		best["surface"] = surface
	case shape == "flying_cloud" && slices.Contains(perches, surface.value) && !l.names("settles"):
		delete(best, "surface") // what they fly round, mostly
	case shape == "hanging_cluster" && l.names("wasps") && !l.names("bees") && !l.names("clump"):
		delete(best, "shape") // a nest, or they themselves, hang there
	case shape == "hanging_cluster" && surface.value == "flowers" && (l.names("clump") || l.names("swarm")):
		surface.value = "shrub" // a swarm hangs in the plant, whatever is in bloom
		best["surface"] = surface
	case shape == "no_nest" && (surface.value == "wall" || surface.value == "eave"):
		delete(best, "surface")
	}
}

// hollows are what has a gap into which bees can go, when they go into one.
var hollows = []string{"wall", "other", "post", "branch"}

// suppose takes the shape that nobody named from where they are: what lives in a hollow goes
// in and out; "a swarm on the fence" hangs there, and so do bees there "like a football".
func (l *listener) suppose(best map[string]said, sized bool) {
	surface := best["surface"]
	shape := said{field: "shape", from: surface.from, to: surface.to}
	switch {
	case surface.field == "" || best["shape"].field != "":
		return
	case surface.value == "cavity" && (l.names("bees") || l.names("wasps")):
		shape.value = "gap_traffic"
	case best["hazards indoors"].field != "":
		return // on its way through the house, mostly
	case slices.Contains(perches, surface.value) && (l.names("swarm") || sized && (l.names("bees") || l.names("clump"))) && !l.names("wasps") && !formsNone(best["body"].value):
		shape.value, shape.supposed = "hanging_cluster", true
	default:
		return
	}
	best["shape"] = shape
}

// formsNone reports whether a body is of a kind that forms no cluster.
func formsNone(body string) bool {
	switch body {
	case "big_furry", "shiny_yellow", "black_white", "slender":
		return true
	}
	return false
}

// perches are what a swarm settles on. A swarm on the ground may as well be a nest in it.
var perches = []string{"branch", "shrub", "fence", "post", "vehicle", "wall", "eave", "other"}

// onTheHouse reports whether "in … the house" names a part of the building: "in the fascia of
// my house" is not indoors.
func (l *listener) onTheHouse(m match) bool {
	return l.anyIn(match{from: m.from, to: m.to + 1}, "outer_parts")
}

// aside is the weight of a surface that is only near the bees.
const aside = -100

// lengthEndsAt reports whether a length or "away" stands right before token i.
func (l *listener) lengthEndsAt(i int) bool {
	for _, set := range []string{"unit_ft", "unit_m", "unit_yd", "not_height"} {
		if l.is(i-1, set) {
			return true
		}
	}
	return l.mark(i-1, "'")
}

// attachment weighs the word before a surface: "on the fence" is where it hangs, "near
// the fence" is not.
func (l *listener) attachment(m match) int {
	if l.is(m.from, "going") {
		return 0 // "by wasps coming out of the ground"
	}
	if l.besideThem(m.to) && !l.anyIn(m, "gap") { // they are in "a hole in the wall behind it"
		return aside
	}
	for i := m.from - 1; i >= 0 && i >= m.from-4; i-- {
		t := &l.words[i]
		switch {
		case t.kind == anEnd || t.kind == aPause:
			return 0
		case l.is(i-1, "nearby") && (t.in("lying_in") || t.text == "to" || t.text == "a"): // "next to", "enfrente de"
			return aside
		case t.in("nearby"), t.text == "front" && i > 0 && l.words[i-1].text == "in":
			return aside
		case l.is(i, "from") && l.lengthEndsAt(i):
			return aside // "30 feet from the door"
		case t.in("attached"):
			return 1
		}
	}
	return 0
}

// anyIn reports whether a word of a set is in what was matched.
func (l *listener) anyIn(m match, set string) bool {
	for i := m.from; i < m.to; i++ {
		if l.is(i, set) {
			return true
		}
	}
	return false
}

// besideThem reports whether what ends before token i is only near the bees: "there's a
// power pole right next to it".
func (l *listener) besideThem(i int) bool {
	for ; i < len(l.words) && (l.is(i, "articles") || l.word(i) == "right" || l.word(i) == "is"); i++ {
	}
	if l.word(i) == "nearby" {
		return true
	}
	if !l.is(i, "nearby") {
		return false
	}
	i++
	if l.word(i) == "to" {
		i++
	}
	return l.word(i) == "it" || l.is(i, "swarms")
}
