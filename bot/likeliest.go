package bot

import (
	"slices"

	"skepline/intake"
)

// meantStages are the stages that a word most likely means when it fits several calls: "boxed"
// is news of the swarm one stands at, not of the box that waits for dusk.
var meantStages = map[intake.Word][]Stage{
	intake.WordBoxed:    {Taken, There},
	intake.WordLifted:   {Boxed},
	intake.WordHived:    {Lifted},
	intake.WordFrames:   {Lifted},
	intake.WordNoFrames: {Lifted},
}

// likeliest returns the calls in the stages that word most likely means, all when none is.
func likeliest(calls []*Call, word intake.Word) []*Call {
	meant := slices.DeleteFunc(slices.Clone(calls), func(c *Call) bool { return !slices.Contains(meantStages[word], c.Stage) })
	if len(meant) == 0 {
		return calls
	}
	return meant
}
