package notify

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

// TestWhyTellsTheRule holds that what is shown to a steward is what the rule did: everybody
// on the roster is asked, could be asked or is left out with a reason; the next one was not
// worth the ask, or as many as may be asked at one look had been.
func TestWhyTellsTheRule(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		now := time.Date(2026, 5, 12, rapid.IntRange(6, 22).Draw(rt, "hour"), 5, 0, 0, time.UTC)
		d := DefaultDispatch()
		needs := Needs{Place: intake.Place{Lat: 42.444, Lon: -76.502, PrecisionM: 15}}
		roster, board := drawnRoster(rt, now)
		var asked []Ask
		for _, c := range roster {
			if rapid.IntRange(0, 4).Draw(rt, "asked") == 0 {
				asked = append(asked, Ask{Catcher: c.ID, At: now.Add(-7 * time.Minute), State: AskOpen, P: 0.3})
			}
		}
		plan := NextRound(needs, roster, board, asked, now, d)
		w := Explain(plan, needs, roster, board, asked, now, d)
		if w.Reason != plan.Reason || w.Able != plan.Able || len(w.Asked) != len(plan.Ask) {
			rt.Fatalf("%+v does not tell of %+v", w, plan)
		}
		if w.Reason == ReasonQuietHours {
			return
		}
		if n := len(w.Asked) + len(w.Next) + len(w.Not) + w.More; n != len(roster) && len(w.Next) < keptNext {
			rt.Fatalf("%d of %d are accounted for: %+v", n, len(roster), w)
		}
		if len(plan.Ask) < d.most(asked, now) && len(w.Next) > 0 && w.Next[0].Gain >= w.Next[0].Cost {
			rt.Fatalf("%s was worth asking and was not asked: %+v", w.Next[0].Catcher, w)
		}
		for _, k := range plan.Ask {
			if k.Gain < k.Cost || slices.ContainsFunc(w.Not, func(l LeftOut) bool { return l.Catcher == k.Catcher }) {
				rt.Fatalf("%+v was asked: %+v", k, w)
			}
		}
	})
}

func drawnRoster(rt *rapid.T, now time.Time) ([]Catcher, Board) {
	board := Board{Catchers: map[string]CatcherCard{}}
	var roster []Catcher
	for i := range rapid.IntRange(0, 12).Draw(rt, "catchers") {
		c := north(string(rune('a'+i)), rapid.Float64Range(0, 40).Draw(rt, "km"))
		card := CatcherCard{Busy: rapid.IntRange(0, 6).Draw(rt, "busy") == 0}
		if rapid.IntRange(0, 5).Draw(rt, "away") == 0 {
			card.AwayUntil = now.Add(time.Hour)
		}
		for range rapid.IntRange(0, 8).Draw(rt, "asks") {
			card.Asks = append(card.Asks, now.Add(-30*time.Hour))
		}
		board.Catchers[c.ID] = card
		roster = append(roster, c)
	}
	return roster, board
}

func TestFourDigitsAreKept(t *testing.T) {
	for x, want := range map[float64]float64{0: 0, 0.0012345678: 0.001235, 0.5432199: 0.5432, 12.3456: 12.35} {
		if got := digits(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v becomes %v, want %v", x, got, want)
		}
	}
}
