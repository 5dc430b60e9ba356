package notify

import (
	"cmp"
	"slices"
	"strings"
)

// The rules of who holds a call. That only one does is the store's promise, kept by the
// version of the call's document; these say what an answer is worth.

// Answer says what the answer of one catcher to an offer comes to.
type Answer string

// What an answer comes to.
const (
	AnswerHolds    Answer = "holds"      // the call is theirs (or was already: a second tap)
	AnswerStandby  Answer = "standby"    // somebody was faster; next in line now
	AnswerNotAsked Answer = "not_asked"  // no offer was made to them: nothing happens
	AnswerLetGo    Answer = "let_go"     // they passed, or gave back what they held
	AnswerNoChange Answer = "no_change"  // they had said so before
	AnswerOver     Answer = "call_ended" // there is nothing to take any more
)

// Take says what "TAKE" from catcher comes to. over is set once the call has ended. First
// yes wins; somebody who passed or fell silent may still change their mind.
func Take(asked []Ask, catcher string, over bool) Answer {
	i := slices.IndexFunc(asked, func(a Ask) bool { return a.Catcher == catcher })
	switch holder := Holder(asked); {
	case i < 0:
		return AnswerNotAsked
	case over:
		return AnswerOver
	case holder == "" || holder == catcher:
		return AnswerHolds
	}
	return AnswerStandby
}

// Pass says what "PASS" or "DROP" from catcher comes to.
func Pass(asked []Ask, catcher string) Answer {
	i := slices.IndexFunc(asked, func(a Ask) bool { return a.Catcher == catcher })
	if i < 0 {
		return AnswerNotAsked
	}
	switch asked[i].State {
	case AskPassed, AskDropped:
		return AnswerNoChange
	}
	return AnswerLetGo
}

// Holder returns the catcher who holds the call, "" when nobody does.
func Holder(asked []Ask) string {
	for _, a := range asked {
		if a.State == AskTaken {
			return a.Catcher
		}
	}
	return ""
}

// StillOpen returns the catchers whose offer is open, in the order they were asked: those
// who must hear when the call is taken.
func StillOpen(asked []Ask) []string { return catchers(asked, AskOpen, byTime) }

func catchers(asked []Ask, state AskState, order func(a, b Ask) int) []string {
	var chosen []Ask
	for _, a := range asked {
		if a.State == state {
			chosen = append(chosen, a)
		}
	}
	slices.SortFunc(chosen, func(a, b Ask) int {
		return cmp.Or(order(a, b), strings.Compare(a.Catcher, b.Catcher))
	})
	ids := make([]string, 0, len(chosen))
	for _, a := range chosen {
		ids = append(ids, a.Catcher)
	}
	return ids
}
