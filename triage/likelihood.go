package triage

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"skepline/intake"
)

// The likelihood of each kind is a tempered naive Bayes: the prior of the season times each
// answer's row to the power alpha. What was not answered changes nothing.

// fact is one answer that bears on the kind.
type fact struct {
	table string // "shape"
	name  string // "shape=hanging_cluster"
	row   *row
}

// facts returns what the answers tell about the kind, in the order of the tables.
func (w *weights) facts(a intake.Answers) []fact {
	var told []fact
	add := func(field string, r *row) {
		if r != nil {
			told = append(told, fact{field, field + "=" + r.Says, r})
		}
	}
	add("body", w.Body.row(a.Body))
	add("shape", w.Shape.row(a.Shape))
	if r := w.surfaceRow(a); r != nil {
		told = append(told, fact{"surface", "surface=" + a.Surface, r})
	}
	add("entry", w.Entry.row(a.Entry))
	add("crowd", w.Crowd.row(a.Crowd))
	add("age", w.ageRow(a.AgeH))
	return told
}

// surfaceRow returns the row for what the insects are on. "On the wall" is an open place
// for a cluster, but a gap in a wall or under an eave leads into a hollow.
func (w *weights) surfaceRow(a intake.Answers) *row {
	for i := range w.Surface {
		r := &w.Surface[i]
		if a.Shape == "gap_traffic" && slices.Contains(r.WithGap, a.Surface) {
			return r
		}
	}
	for i := range w.Surface {
		r := &w.Surface[i]
		if slices.Contains(r.StandsFor, a.Surface) {
			return r
		}
	}
	return nil
}

func (w *weights) ageRow(hours *float64) *row {
	if hours == nil {
		return nil
	}
	for i := range w.Age {
		if *hours < w.Age[i].BelowH {
			return &w.Age[i]
		}
	}
	return nil
}

// posterior returns the probability of each kind.
func posterior(a intake.Answers, s Scene) chances {
	return weigh(prior(a, s), s.weights().facts(a)).normal()
}

// weigh multiplies the facts into a prior; the result is in proportion, not yet summing to 1.
func weigh(p chances, told []fact) chances {
	for _, f := range told {
		p = p.times(f.row.tempered)
	}
	return p
}

// ranked lists every kind with its probability, most likely first, equal ones in the order
// of Kinds.
func ranked(p chances) []KindP {
	all := make([]KindP, len(Kinds))
	for i, k := range Kinds {
		all[i] = KindP{k, p[i]}
	}
	slices.SortStableFunc(all, func(x, y KindP) int { return cmp.Compare(y.P, x.P) })
	return all
}

// swarmReasons says how much each fact moved the likelihood of a swarm: the logarithm of
// the odds with it less that of the odds without it, strongest first. The month is
// measured against the mean report of a year.
func swarmReasons(a intake.Answers, s Scene) []Because {
	told := s.weights().facts(a)
	before := prior(a, s)
	odds := swarmOdds(weigh(before, told))
	var why []Because
	for i, f := range told {
		without := slices.Concat(told[:i], told[i+1:])
		why = append(why, Because{f.name, odds - swarmOdds(weigh(before, without))})
	}
	if month := monthTold(a, s); month != 0 {
		why = append(why, Because{"month=" + strconv.Itoa(month), odds - swarmOdds(weigh(meanPrior, told))})
	}
	return strongestFirst(why)
}

func monthTold(a intake.Answers, s Scene) int {
	if a.Month != 0 || s.At.IsZero() {
		return a.Month
	}
	return int(s.At.Month())
}

// swarmOdds returns the logarithm of the odds of a swarm. It adds the other kinds up itself:
// 1-p would lose every digit when p is nearly 1.
func swarmOdds(p chances) float64 {
	var others float64
	for i, k := range Kinds {
		if k != HoneyBeeSwarm {
			others += p[i]
		}
	}
	return math.Log(p.of(HoneyBeeSwarm) / others)
}

// strongestFirst sorts by how much each moved, whichever way; equal ones by name.
func strongestFirst(why []Because) []Because {
	slices.SortStableFunc(why, func(x, y Because) int {
		return cmp.Or(cmp.Compare(math.Abs(y.Weight), math.Abs(x.Weight)), cmp.Compare(x.Because, y.Because))
	})
	return why
}
