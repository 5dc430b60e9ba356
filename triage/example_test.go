package triage_test

import (
	"fmt"
	"time"

	"skepline/intake"
	"skepline/triage"
)

func ExampleAssess() {
	height := 2.4
	answers := intake.Answers{Shape: "hanging_cluster", Surface: "branch", Crowd: "thousands", HeightM: &height, Stung: "none"}
	scene := triage.Scene{At: time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC), Latitude: 42.444, Longitude: -76.502}

	as := triage.Assess(answers, scene)
	fmt.Println(as.Kinds[0].Kind, triage.Shown(as.Likelihood))
	fmt.Println(as.Route, as.Pace, as.Advice)
	fmt.Println(as.Why[0].Because)

	answers.Shape = "paper_ball"
	as = triage.Assess(answers, scene)
	fmt.Println(as.Route, as.RedirectKey())
	// Output:
	// honey_bee_swarm 95
	// offer today [keep_back no_spray no_ladder]
	// shape=hanging_cluster
	// steward redirect_unsure
}

func ExampleNextQuestion() {
	scene := triage.Scene{At: time.Date(2026, 8, 12, 14, 5, 0, 0, time.UTC), Latitude: 42.444, Longitude: -76.502}
	q, more := triage.NextQuestion(intake.Answers{Stung: "none"}, nil, scene)
	fmt.Println(q, more)
	_, more = triage.NextQuestion(intake.Answers{Stung: "none", Shape: "paper_ball"}, nil, scene)
	fmt.Println(more)
	// Output:
	// shape true
	// false
}
