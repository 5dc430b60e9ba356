package triage

import (
	"slices"
	"testing"
	"time"

	"skepline/intake"
)

// Where Africanized bees live a swarm is possible in any frost-free month (judgement: at
// least .15 of the reports), and elsewhere nothing changes.
func TestAfricanized(t *testing.T) {
	phoenix := Scene{At: time.Date(2026, 10, 15, 10, 0, 0, 0, time.UTC), Latitude: 30, Longitude: -112}
	plain := Assess(intake.Answers{}, phoenix)
	phoenix.Africanized = true
	if got := Assess(intake.Answers{}, phoenix).Likelihood; got < .15-1e-9 || plain.Likelihood > .1 {
		t.Errorf("in October %.3f, without %.3f", got, plain.Likelihood)
	}
	swarm := told("fuzzy_brown", "hanging_cluster", "branch", "no_hole", "thousands", 1)
	as := Assess(swarm, phoenix)
	if !slices.Contains(as.Advice, MoreDefensive) || !slices.ContainsFunc(as.Why, func(b Because) bool { return b.Because == "urgency:africanized" }) {
		t.Errorf("%v, %v", as.Advice, as.Why)
	}
	paper := Assess(told("black_white", "paper_ball", "branch", "one_hole", "tens", 400), phoenix)
	if slices.Contains(paper.Advice, MoreDefensive) {
		t.Error("a paper nest is not honey bees")
	}
	phoenix.At, phoenix.Latitude = time.Date(2026, 5, 15, 10, 0, 0, 0, time.UTC), 40
	mayPlain := phoenix
	mayPlain.Africanized = false
	if a, b := Assess(swarm, phoenix).Likelihood, Assess(swarm, mayPlain).Likelihood; a != b {
		t.Errorf("May has swarms enough, yet %.4f became %.4f", b, a)
	}
}

// "Several" is pressing in Great Britain, where a report of three is not elsewhere.
func TestManyStingsOfARegion(t *testing.T) {
	three := 3
	a := intake.Answers{Shape: "hanging_cluster", Stung: "someone", Stings: &three}
	here, gb := at40(5), at40(5)
	gb.ManyStings = 3
	if u, v := Assess(a, here).Urgency, Assess(a, gb).Urgency; v <= u {
		t.Errorf("urgency %d, with the lower bar %d", u, v)
	}
}
