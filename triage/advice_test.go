package triage

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/intake"
)

func TestAdvice(t *testing.T) {
	stings := 3
	for _, row := range []struct {
		why  string
		a    intake.Answers
		want []Advice
	}{
		{"a plain swarm", swarmAnd(nil), []Advice{KeepBack, NoSpray}},
		{"somebody cannot breathe", intake.Answers{Stung: "trouble_breathing", Stings: &stings}, []Advice{EmergencyNumber, KeepBack, NoSpray}},
		{"somebody was stung, and another is allergic", swarmAnd(func(a *intake.Answers) { a.Stung, a.Allergic = "someone", "yes" }),
			[]Advice{StingFirstAid, Allergy, KeepBack, NoSpray}},
		{"nobody allergic clears nothing", swarmAnd(func(a *intake.Answers) { a.Stung, a.Allergic = "someone", "no" }), []Advice{StingFirstAid, KeepBack, NoSpray}},
		{"stings counted, nobody said stung", swarmAnd(func(a *intake.Answers) { a.Stings = &stings }), []Advice{StingFirstAid, KeepBack, NoSpray}},
		{"children near a swarm above a head", swarmAnd(func(a *intake.Answers) { a.HeightM = metres(2.7); a.Hazards = []string{"children"} }),
			[]Advice{KeepBack, ChildrenPets, NoSpray, NoLadder}},
		{"they hang at a door", swarmAnd(func(a *intake.Answers) { a.Hazards = []string{"blocked_door"} }), []Advice{KeepBack, BlockedDoor, NoSpray}},
		{"too high", swarmAnd(func(a *intake.Answers) { a.HeightM = metres(8) }), []Advice{TooHigh, KeepBack, NoSpray, NoLadder}},
		{"far too high", swarmAnd(func(a *intake.Answers) { a.HeightM = metres(13) }), []Advice{TooHigh, KeepBack, NoSpray, NoLadder, LeaveAlone}},
		{"near a wire", swarmAnd(func(a *intake.Answers) { a.Hazards = []string{"power_line"} }), []Advice{PowerLine, KeepBack, NoSpray, NoWaterHose, NoLadder}},
		{"a colony in a wall", intake.Answers{Shape: "gap_traffic", Surface: "wall"}, []Advice{KeepBack, NoSpray, DontSealHole}},
		{"bees in a room", intake.Answers{Shape: "gap_traffic", Surface: "wall", Hazards: []string{"indoors"}}, []Advice{Indoors, KeepBack, NoSpray, DontSealHole}},
		{"bumble bees", intake.Answers{Shape: "gap_traffic", Body: "big_furry"}, []Advice{KeepBack, NoSpray, DontSealHole, LeaveAlone}},
		{"ground bees", intake.Answers{Shape: "soil_holes", Entry: "many_holes"}, []Advice{KeepBack, NoSpray, LeaveAlone}},
		{"a paper nest", intake.Answers{Shape: "paper_ball"}, []Advice{KeepBack, NoSpray, LicensedControl}},
		{"a paper nest of large dark ones may be reportable", intake.Answers{Shape: "paper_ball", Body: "black_white"}, []Advice{KeepBack, NoSpray, LicensedControl, ReportNotifiable}},
		{"a swarm in the air", intake.Answers{Shape: "flying_cloud"}, []Advice{KeepBack, NoSpray, WatchWhere}},
	} {
		if diff := cmp.Diff(row.want, Assess(row.a, at40(5)).Advice); diff != "" {
			t.Errorf("%s (-want +got):\n%s", row.why, diff)
		}
	}
	hornets := told("black_white", "gap_traffic", "cavity", "one_hole", "tens", 400)
	want := []Advice{KeepBack, NoSpray, DontSealHole, LicensedControl, ReportNotifiable, KeepPhoto}
	if diff := cmp.Diff(want, Assess(hornets, at40(9)).Advice); diff != "" {
		t.Errorf("European hornets (-want +got):\n%s", diff)
	}
	if got := Assess(intake.Answers{Shape: "hanging_cluster"}, at40(8)).Advice; !slices.Contains(got, KeepPhoto) {
		t.Errorf("a cluster in August: %v", got)
	}
}

// Every piece of advice, every kind and every redirect has words in every language.
func TestEveryKeyHasWords(t *testing.T) {
	keys := []string{"emergency", "redirect_specialist", "redirect_unsure"}
	for _, advice := range []Advice{
		EmergencyNumber, StingFirstAid, Allergy, KeepBack, ChildrenPets, NoSpray, NoWaterHose, NoLadder, TooHigh,
		PowerLine, Indoors, LeaveAlone, LicensedControl, ReportNotifiable, BoxStays, KeepPhoto, DontSealHole, WatchWhere,
		BlockedDoor, MoreDefensive,
	} {
		keys = append(keys, "advice_"+string(advice))
	}
	for _, k := range Kinds {
		keys = append(keys, "kind_"+string(k), "redirect_"+string(k))
	}
	data := map[string]any{"Emergency": "911", "Poison": "", "Help": "", "Report": "", "Many": 10}
	english := intake.Words{Language: "en"}
	for _, language := range intake.Languages() {
		words := intake.Words{Language: language}
		for _, key := range keys {
			said := words.Say(key, data)
			if strings.HasPrefix(said, "[") || (language != "en" && said == english.Say(key, data)) {
				t.Errorf("%s has no words for %s", language, key)
			}
		}
	}
}

func TestAdviceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		as := Assess(anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene"))
		seen := map[Advice]bool{}
		for _, advice := range as.Advice {
			if seen[advice] {
				t.Fatalf("%s is there twice", advice)
			}
			seen[advice] = true
		}
		if as.Route == RouteEmergency && as.Advice[0] != EmergencyNumber {
			t.Fatalf("an emergency begins with %s", as.Advice[0])
		}
		if !seen[KeepBack] || !seen[NoSpray] {
			t.Fatalf("keep_back or no_spray is missing: %v", as.Advice)
		}
	})
}
