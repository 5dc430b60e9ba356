package notify

import (
	"slices"
	"testing"
	"time"
)

func TestTakeAndPass(t *testing.T) {
	free := []Ask{{Catcher: "ada", State: AskOpen}, {Catcher: "bram", State: AskPassed}, {Catcher: "chidi", State: AskLapsed}}
	held := []Ask{{Catcher: "ada", State: AskTaken}, {Catcher: "bram", State: AskOpen}, {Catcher: "chidi", State: AskStandby}}
	dropped := []Ask{{Catcher: "ada", State: AskDropped}}
	for _, test := range []struct {
		got, want Answer
		why       string
	}{
		{Take(free, "ada", false), AnswerHolds, "the first yes wins"},
		{Take(free, "bram", false), AnswerHolds, "a no may become a yes"},
		{Take(free, "chidi", false), AnswerHolds, "and so may silence"},
		{Take(free, "dora", false), AnswerNotAsked, "a reference proves nothing"},
		{Take(held, "bram", false), AnswerStandby, "somebody was faster"},
		{Take(held, "ada", false), AnswerHolds, "a second tap"},
		{Take(held, "bram", true), AnswerOver, "the call has ended"},
		{Take(held, "dora", true), AnswerNotAsked, "nor after its end"},
		{Take(dropped, "ada", false), AnswerHolds, "changed their mind back"},
		{Pass(free, "ada"), AnswerLetGo, "no"},
		{Pass(free, "bram"), AnswerNoChange, "said so before"},
		{Pass(held, "ada"), AnswerLetGo, "gives it back"},
		{Pass(dropped, "ada"), AnswerNoChange, "gave it back before"},
		{Pass(free, "dora"), AnswerNotAsked, "nobody asked"},
	} {
		if test.got != test.want {
			t.Errorf("got %s, want %s: %s", test.got, test.want, test.why)
		}
	}
}

func TestThoseInLineStandInTheOrderOfTheirArrival(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2026, 5, 12, 14, minute, 0, 0, time.UTC) }
	line := []Waiting{
		{"dora", at(30), at(9)}, {"chidi", at(20), at(7)}, {"bram", at(20), at(7)}, {"ada", at(20), at(5)}, {"late-yes", at(59), at(1)},
	}
	if got, want := InLine(line), []string{"ada", "bram", "chidi", "dora", "late-yes"}; !slices.Equal(got, want) {
		t.Errorf("in line %v, want %v", got, want)
	}
	asked := []Ask{{Catcher: "ada", At: at(0), State: AskTaken, Answered: at(2)}, {Catcher: "fern", At: at(5), State: AskOpen}, {Catcher: "emil", At: at(0), State: AskOpen}}
	if got, want := StillOpen(asked), []string{"emil", "fern"}; !slices.Equal(got, want) {
		t.Errorf("still open %v, want %v", got, want)
	}
	if got := Holder(asked); got != "ada" {
		t.Errorf("holder %q, want ada", got)
	}
}
