package notify

import "slices"

// totals gathers what a Season is made of.
type totals struct {
	scene        *scene
	caught, late float64
	onTheWay     float64
	pings, spare float64
	yes, jobs    []float64
}

func newTotals(s *scene) *totals { return &totals{scene: s} }

func (t *totals) arrives(r report, when, setOut float64) {
	switch {
	case when < r.leaves:
		t.caught++
	case setOut < r.leaves:
		t.onTheWay++
		t.late++
	default:
		t.late++
	}
}

func (t *totals) season() Season {
	n := float64(len(t.scene.reports))
	slices.Sort(t.yes)
	hour, _ := slices.BinarySearch(t.yes, 60)
	return Season{
		Caught: t.caught / n, Wasted: t.late / n, OnTheWay: t.onTheWay / n, Pings: t.pings / n, SpareYes: t.spare / n,
		Median: quantile(t.yes, 0.5), P90: quantile(t.yes, 0.9), EverYes: float64(len(t.yes)) / n, Within60: float64(hour) / n,
		Gini: Gini(t.jobs), WeekPings: t.pings / float64(len(t.scene.people)) / (float64(t.scene.Days) / 7),
	}
}

// quantile of sorted values; 0 of none.
func quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 == len(sorted) {
		return sorted[i]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// Gini is the Gini coefficient: 0 when all have alike, towards 1 when one has all.
func Gini(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	var sum, weighted float64
	for i, v := range sorted {
		sum += v
		weighted += float64(2*i+1-len(sorted)) * v
	}
	if sum == 0 {
		return 0
	}
	return weighted / (float64(len(sorted)) * sum)
}
