package notify

import (
	"math"
	"slices"
	"strings"
)

// On a ladder: its foot out a quarter of its length (29 CFR 1926.1053(b)(5)(i)), so that its
// top is at 0.968 of the length; the feet stay a pace below the top, the hands work between
// chest and head. The last two are judgement.
const (
	belowTopM  = 0.9
	handsAtM   = 1.4
	footOutFor = 0.25
)

// ladderReachesM is up to what height one works on a ladder of that length, in metres.
func ladderReachesM(length float64) float64 {
	return length*math.Sqrt(1-footOutFor*footOutFor) - belowTopM + handsAtM
}

// hasLadderFor reports whether the catcher's ladder is long enough for bees h metres up. Who
// never told of one is trusted to know.
func (b briefing) hasLadderFor(h *float64) bool {
	switch {
	case len(b.c.Kit) > 0 && !slices.Contains(b.c.Kit, "ladder"):
		return false
	case b.c.LadderM == 0 || h == nil:
		return true
	}
	return ladderReachesM(b.c.LadderM) >= *h
}

// kit is what to bring for this surface, this height and these skills, and what of it the
// catcher has told us they do not own.
func (b briefing) kit() string {
	dress := "veil"
	if slices.Contains(b.c.Skills, Suit) || slices.Contains(b.c.Kit, "suit") {
		dress = "suit"
	}
	switch {
	case b.reach() == "high":
		return ""
	case b.way() == "structure":
		return b.list([]string{dress, "look"})
	}
	items := []string{b.container(), "sheet", "brush", dress, "tape"}
	switch b.way() {
	case "branch":
		items = append(items, "shears")
	case "flat", "eave":
		items = append(items, "mist")
	case "ground":
		items = append(items, "bridge", "lure")
	case "any":
		items = append(items, "shears", "mist", "bridge", "lure")
	}
	switch reach := b.reach(); {
	case b.j.Answers.Has("power_line"): // and no water near a wire
		items = append(slices.DeleteFunc(items, func(item string) bool { return item == "mist" }), "no_pole")
	case reach == "stool" || reach == "ladder" || reach == "pole":
		items = append(items, reach)
	}
	return b.list(items)
}

// container is the box for these bees: a nuc where it is big enough and they own one.
func (b briefing) container() string {
	small := b.j.Answers.Crowd != "thousands" && b.j.Answers.Crowd != ""
	owns := func(item string) bool { return slices.Contains(b.c.Kit, item) }
	if owns("nuc") && (small || !owns("box")) {
		return "nuc"
	}
	return "box"
}

// owns reports whether a catcher need not borrow an item: who told nothing has everything, a
// stick lies anywhere.
func (b briefing) owns(item string) bool {
	switch {
	case len(b.c.Kit) == 0 || slices.Contains([]string{"bridge", "no_pole", "look"}, item):
		return true
	case item == "suit" || item == "ladder": // a skill says that they have one
		return true
	}
	return slices.Contains(b.c.Kit, item)
}

func (b briefing) list(items []string) string {
	var bring, borrow []string
	for _, item := range items {
		line := b.w.Say("kit_"+item, b.ladderWords())
		if b.owns(item) {
			bring = append(bring, line)
		} else {
			borrow = append(borrow, line)
		}
	}
	between := ", "
	if b.w.Chat {
		between = "\n"
	}
	var text []string
	for _, part := range []struct {
		key   string
		lines []string
	}{{"brief_kit", bring}, {"brief_kit_borrow", borrow}} {
		if len(part.lines) > 0 {
			text = append(text, b.w.Say(part.key, map[string]any{"Items": strings.Join(part.lines, between)}))
		}
	}
	if b.w.Chat {
		return strings.Join(text, "\n")
	}
	return strings.Join(text, " ")
}

// ladderWords adds the ladder's length, "12 ft" or "", to what texts may name.
func (b briefing) ladderWords() map[string]any {
	data := b.data()
	data["Ladder"] = ""
	if b.c.LadderM > 0 {
		data["Ladder"] = " " + HeightWords(b.w, b.c.LadderM, b.metric)
	}
	return data
}
