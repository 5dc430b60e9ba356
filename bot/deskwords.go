package bot

import (
	"slices"
	"strings"

	"skepline/intake"
)

// The story and the assessment are kept in codes. Here they become words for the desk. A code
// without words of its own is shown as it is, with spaces.

// storyWords says what a line of a call's story means: "passed k2f…" is "Bram passed".
func (d *decision) storyWords(p Party, code string) string {
	head, rest, _ := strings.Cut(code, " ")
	w := words(p)
	if head == "desk" {
		act, by, _ := strings.Cut(rest, " ")
		return strings.TrimSpace(d.say(p, "desk_story_desk", values{"What": d.wordsOr(w, "page_do_"+act, act)}) + " " + by)
	}
	if strings.HasPrefix(code, "relayed nothing ") {
		head = "relayed_nothing"
	}
	key := "desk_story_" + head
	if !w.Knows(key) {
		return spaced(code)
	}
	return d.say(p, key, values{"What": d.storyDetail(p, head, rest)})
}

// storyDetail says what follows the first word of a line.
func (d *decision) storyDetail(p Party, head, rest string) string {
	w := words(p)
	switch head {
	case "held":
		return d.reasonWords(p, rest)
	case "round":
		return d.wordsOr(w, "desk_round_"+rest, rest)
	case "undelivered":
		return d.wordsOr(w, "desk_class_"+rest, rest)
	case "found", "redirected":
		return d.wordsOr(w, "kind_"+rest, rest)
	case "reported_by":
		return d.wordsOr(w, "page_who_"+rest, rest)
	case "stayed":
		return d.wordsOr(w, "desk_"+rest, rest)
	case "pass_reason":
		who, why, _ := strings.Cut(rest, " ")
		return d.catcherName(who) + ": " + d.wordsOr(w, "page_reason_"+why, why)
	}
	if by, desk := strings.CutPrefix(rest, "desk "); desk {
		return d.say(p, "desk_itself", values{"What": by})
	}
	return d.catcherName(rest)
}

// catcherName is the first name of a catcher of the roster; what is no catcher's id comes
// back as it is.
func (d *decision) catcherName(id string) string {
	for _, k := range d.Roster {
		if k.ID == id {
			return k.Name
		}
	}
	return spaced(id)
}

// wordsOr says key, or otherwise with spaces where there is no such key.
func (d *decision) wordsOr(w intake.Words, key, otherwise string) string {
	if !w.Knows(key) {
		return spaced(otherwise)
	}
	return w.Say(key, nil)
}

func spaced(code string) string { return strings.ReplaceAll(code, "_", " ") }

// passReason is why a catcher passed, in words, "" when they did not say.
func (d *decision) passReason(p Party, c *Call, catcher string) string {
	for _, l := range slices.Backward(c.Story) {
		if why, ok := strings.CutPrefix(l.What, "pass_reason "+catcher+" "); ok {
			return d.wordsOr(words(p), "page_reason_"+why, why)
		}
	}
	return ""
}
