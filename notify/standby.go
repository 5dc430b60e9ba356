package notify

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Waiting is a catcher in line for a call: somebody who said yes when another had it.
type Waiting struct {
	Catcher string
	Arrives time.Time // when they would be there, setting out as soon as they can
	Said    time.Time // when they said yes
}

// InLine returns the catchers in line, first the one who is asked first should the call come
// free again: who would be there soonest, and of two as soon the one who said so first.
func InLine(line []Waiting) []string {
	line = slices.SortedFunc(slices.Values(line), func(a, b Waiting) int {
		return cmp.Or(a.Arrives.Compare(b.Arrives), a.Said.Compare(b.Said), strings.Compare(a.Catcher, b.Catcher))
	})
	ids := make([]string, len(line))
	for i, w := range line {
		ids[i] = w.Catcher
	}
	return ids
}
