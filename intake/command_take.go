package intake

import (
	"strconv"
	"strings"
)

// longestWait is how far ahead, in minutes, a TAKE may name its start: until the same time
// tomorrow.
const longestWait = 24 * 60

// leastWait tells minutes from a place in a list: "TAKE 2" is the second one, "TAKE 15" is in
// a quarter of an hour.
const leastWait = 5

// taking reads what follows TAKE when it says from when on: "60", "in an hour", "7KQ2 at 5
// pm", "15 7KQ2", "now". The minutes from now are in Minutes.
func (c Command) taking(rest string, s Setting) (Command, bool) {
	c.Reference, rest = cutReference(rest)
	rest = strings.Trim(rest, " ?!.")
	if c.Reference == "" {
		if i := strings.LastIndexByte(rest, ' '); i > 0 {
			if ref, after := cutReference(rest[i+1:]); ref != "" && after == "" {
				c.Reference, rest = ref, strings.TrimSpace(rest[:i])
			}
		}
	}
	switch strings.ToLower(rest) {
	case "now", "right now", "ahora", "ya":
		return c, true
	}
	minutes, ok := BareMinutes(rest)
	if n, err := strconv.Atoi(rest); err == nil && n < leastWait {
		return c, false
	}
	if !ok {
		at, read := ReadWhen(strings.TrimPrefix(strings.ToLower(rest), "a las "), s)
		if !read {
			return c, false
		}
		minutes = int(at.Sub(s.At).Minutes() + 0.5)
	}
	c.Minutes = minutes
	return c, minutes > 0 && minutes <= longestWait
}
