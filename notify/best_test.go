package notify

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

// spotNorth is a place so many kilometres north of the middle of the hotline.
func spotNorth(km float64) intake.Place {
	return intake.Place{Lat: 42.444 + km/111.2, Lon: -76.502, PrecisionM: 15}
}

func TestWhoComesFreeIsAskedForTheWorthierCall(t *testing.T) {
	now := time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC)
	roster := []Catcher{north("ada", 0), north("bram", 0), north("chidi", 0)}
	for i := range roster {
		roster[i].ReachKm = 60
	}
	board := Board{Catchers: map[string]CatcherCard{}}
	silent := func(minutes int) []Ask {
		at := now.Add(-time.Duration(minutes) * time.Minute)
		return []Ask{{Catcher: "bram", At: at, State: AskOpen, P: 0.4}, {Catcher: "chidi", At: at, State: AskOpen, P: 0.4}}
	}
	passed := []Ask{{Catcher: "bram", At: now.Add(-time.Hour), State: AskPassed}, {Catcher: "chidi", At: now.Add(-time.Hour), State: AskPassed}}
	far, near := spotNorth(30), spotNorth(2)
	for _, row := range []struct {
		why   string
		calls []OpenCall
		want  string
	}{
		{"nobody looks", nil, ""},
		{"the near one, though the far one was first", []OpenCall{{ID: "far", Needs: Needs{Place: far}, Asked: passed}, {ID: "near", Needs: Needs{Place: near}, Asked: passed}}, "near"},
		{"of two as near, the one for which nobody else is asked", []OpenCall{{ID: "asked", Needs: Needs{Place: near}, Asked: silent(6)}, {ID: "alone", Needs: Needs{Place: near}, Asked: passed}}, "alone"},
		{"of two as near, the one that leaves sooner", []OpenCall{{ID: "calm", Needs: Needs{Place: near}, Asked: passed}, {ID: "restless", Needs: Needs{Place: near, Restless: 3}, Asked: passed}}, "restless"},
		{"those asked a moment ago have their moment", []OpenCall{{ID: "near", Needs: Needs{Place: near}, Asked: silent(1)}}, ""},
	} {
		if got := BestFor("ada", row.calls, roster, board, now, DefaultDispatch()); got != row.want {
			t.Errorf("%s: got %q, want %q", row.why, got, row.want)
		}
	}
}

// TestNobodyIsAskedWhoIsWorthMoreElsewhere holds that whom a call asks, no call that looks
// soon would have asked to more effect; and that a call alone is served as ever.
func TestNobodyIsAskedWhoIsWorthMoreElsewhere(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		now := time.Date(2026, 5, 12, rapid.IntRange(8, 19).Draw(rt, "hour"), 5, 0, 0, time.UTC)
		d := DefaultDispatch()
		roster, board := drawnRoster(rt, now)
		calls := make([]OpenCall, rapid.IntRange(1, 4).Draw(rt, "calls"))
		for i := range calls {
			calls[i] = OpenCall{
				ID: string(rune('a' + i)), Needs: Needs{Place: spotNorth(rapid.Float64Range(0, 40).Draw(rt, "km"))},
				Next: now.Add(time.Duration(rapid.IntRange(0, 5).Draw(rt, "next")) * time.Minute),
			}
		}
		own, rivals := calls[0], calls[1:]
		plan := NextRoundAmong(own, rivals, roster, board, now, d)
		if alone := NextRound(own.Needs, roster, board, own.Asked, now, d); len(rivals) == 0 && len(plan.Ask) != len(alone.Ask) || len(alone.Ask) > 0 && plan.Again.IsZero() {
			rt.Fatalf("alone %+v, among %d rivals %+v", alone, len(rivals), plan)
		}
		for _, k := range plan.Ask {
			for _, r := range rivals {
				at := now
				if r.Next.After(now) {
					at = r.Next
				}
				for _, wanted := range NextRound(r.Needs, roster, board, r.Asked, at, d).Ask {
					if wanted.Catcher == k.Catcher && r.worth(wanted, at) > own.worth(k, now) {
						rt.Fatalf("%s is asked for %s and worth more to %s", k.Catcher, own.ID, r.ID)
					}
				}
			}
		}
	})
}

func TestOnlyThoseOnAJobAreAskedForAfterIt(t *testing.T) {
	now := time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC)
	roster := []Catcher{north("busy", 2), north("busier", 9), north("out", 1), north("full", 1), north("asked", 1)}
	full := make([]time.Time, DefaultJobsADay)
	for i := range full {
		full[i] = now.Add(-time.Hour)
	}
	board := Board{Catchers: map[string]CatcherCard{
		"busy": {Busy: true}, "busier": {Busy: true}, "out": {Busy: true, AwayUntil: now.Add(time.Hour)},
		"full": {Busy: true, Today: full}, "asked": {Busy: true}, "fresh": {OpenAsk: "another", LastAsk: now.Add(-time.Minute)},
	}}
	asked := []Ask{{Catcher: "asked", At: now.Add(-time.Hour), State: AskPassed}}
	look := func(roster []Catcher) []Pick {
		return AfterTheirJob(Needs{Place: spotNorth(0)}, roster, board, asked, now, DefaultDispatch())
	}
	if got := look(roster); len(got) != 2 || got[0].Catcher != "busy" || got[1].Catcher != "busier" {
		t.Errorf("asked for after their job: %+v", got)
	}
	if got := look(append(roster, north("fresh", 1))); len(got) != 0 {
		t.Errorf("asked for after their job, while somebody is free in nine minutes: %+v", got)
	}
}

// BenchmarkLookAmong is one look at a call while five others look soon, for a roster of four
// hundred, with what is kept for the steward.
func BenchmarkLookAmong(b *testing.B) {
	now := time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC)
	var roster []Catcher
	board := Board{Catchers: map[string]CatcherCard{}}
	for i := range 400 {
		c := north(fmt.Sprintf("c%03d", i), float64(i%37))
		roster = append(roster, c)
		board.Catchers[c.ID] = CatcherCard{Asks: []time.Time{now.Add(-time.Duration(i) * time.Hour)}}
	}
	var calls []OpenCall
	for i := range 6 {
		calls = append(calls, OpenCall{ID: fmt.Sprint(i), Needs: Needs{Place: spotNorth(float64(5 * i))}, Next: now.Add(time.Minute)})
	}
	for b.Loop() {
		plan := NextRoundAmong(calls[0], calls[1:], roster, board, now, DefaultDispatch())
		Explain(plan, calls[0].Needs, roster, board, nil, now, DefaultDispatch())
	}
}
