package triage

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

func swarmAnd(more func(*intake.Answers)) intake.Answers {
	a := told("fuzzy_brown", "hanging_cluster", "branch", "no_hole", "thousands", 1)
	if more != nil {
		more(&a)
	}
	return a
}

// Each of these makes the same swarm more pressing, and says so.
func TestWhatMakesItPressing(t *testing.T) {
	plain := Assess(swarmAnd(nil), at40(5))
	stings := 12
	for _, row := range []struct {
		fact string
		more func(*intake.Answers)
	}{
		{"stung", func(a *intake.Answers) { a.Stung = "someone" }},
		{"many_stings", func(a *intake.Answers) { a.Stings = &stings }},
		{"allergic", func(a *intake.Answers) { a.Allergic = "yes" }},
		{"children", func(a *intake.Answers) { a.Hazards = []string{"children"} }},
		{"crowd", func(a *intake.Answers) { a.Hazards = []string{"crowd"} }},
		{"indoors", func(a *intake.Answers) { a.Hazards = []string{"indoors"} }},
		{"blocked_door", func(a *intake.Answers) { a.Hazards = []string{"blocked_door"} }},
		{"road", func(a *intake.Answers) { a.Hazards = []string{"road"} }},
		{"within_reach", func(a *intake.Answers) { a.HeightM = metres(1.7) }},
	} {
		as := Assess(swarmAnd(row.more), at40(5))
		named := slices.ContainsFunc(as.Why, func(b Because) bool { return b.Because == "urgency:"+row.fact })
		if as.Urgency <= plain.Urgency || !named {
			t.Errorf("%s: urgency %d, without it %d, named: %t", row.fact, as.Urgency, plain.Urgency, named)
		}
	}
}

func TestUrgencyLevels(t *testing.T) {
	for _, row := range []struct {
		why  string
		a    intake.Answers
		s    Scene
		want Pace
	}{
		{"somebody cannot breathe", intake.Answers{Stung: "trouble_breathing"}, at40(5), Now},
		{"a swarm at ten in the morning among children", swarmAnd(func(a *intake.Answers) { a.Hazards = []string{"children"}; a.HeightM = metres(1) }), at40(5), Now},
		{"a swarm at ten in the morning", swarmAnd(nil), at40(5), Today},
		{"a paper nest nobody minds", intake.Answers{Shape: "paper_ball"}, at40(8), Unhurried},
		{"a paper nest by a school, and somebody stung", intake.Answers{Shape: "paper_ball", Stung: "someone", Hazards: []string{"children"}}, at40(8), Today},
		{"bees in a wall", intake.Answers{Shape: "gap_traffic", Surface: "wall"}, at40(5), Unhurried},
	} {
		if as := Assess(row.a, row.s); as.Pace != row.want {
			t.Errorf("%s: %s (%d), want %s", row.why, as.Pace, as.Urgency, row.want)
		}
	}
}

// In the morning a swarm may be gone by afternoon; in the evening it stays the night.
func TestMorningIsMorePressingThanEvening(t *testing.T) {
	at := func(hour int) Assessment {
		return Assess(swarmAnd(nil), Scene{At: time.Date(2026, 5, 15, hour, 0, 0, 0, time.UTC), Latitude: 40, Longitude: 0})
	}
	morning, evening, night := at(9), at(17), at(22)
	if !(morning.Urgency > evening.Urgency && evening.Urgency > night.Urgency) {
		t.Errorf("9 h %d, 17 h %d, 22 h %d", morning.Urgency, evening.Urgency, night.Urgency)
	}
}

// The urgency is its parts, and that nobody is allergic changes nothing.
func TestUrgencyProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		as := Assess(a, s)
		var sum float64
		for _, b := range as.Why {
			if strings.HasPrefix(b.Because, "urgency:") {
				sum += b.Weight
			}
		}
		if want := int(min(max(math.Round(sum), 0), 100)); as.Urgency != want {
			t.Fatalf("urgency %d, its parts sum to %g", as.Urgency, sum)
		}
		no, unknown := a, a
		no.Allergic, unknown.Allergic = "no", ""
		if x, y := Assess(no, s), Assess(unknown, s); x.Urgency != y.Urgency || !slices.Equal(x.Advice, y.Advice) {
			t.Fatalf(`"nobody is allergic" changed %d %v to %d %v`, y.Urgency, y.Advice, x.Urgency, x.Advice)
		}
	})
}

func TestEveryUrgencyRowIsUsed(t *testing.T) {
	stings := 60
	used := map[string]bool{}
	for _, a := range []intake.Answers{
		{Stung: "trouble_breathing", Stings: &stings, Allergic: "yes", Hazards: intake.HazardValues, Owner: "no", HeightM: metres(9)},
		swarmAnd(func(a *intake.Answers) { a.HeightM = metres(1) }),
		{Shape: "flying_cloud"}, {Shape: "wax_comb"}, {},
	} {
		s := at40(5)
		s.Africanized = true
		for _, b := range Assess(a, s).Why {
			used[strings.TrimPrefix(b.Because, "urgency:")] = true
		}
	}
	for _, r := range tables.Urgency.Points {
		if !used[r.Fact] {
			t.Errorf("weights.toml has points for %q, and no case here gives them", r.Fact)
		}
	}
}
