package store

import (
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
)

func (w *world) due(want ...string) time.Duration {
	w.Helper()
	due, wait, err := w.b.DueTimers(w.Context(), 2)
	if err != nil {
		w.Fatal(err)
	}
	var got []string
	for _, t := range due {
		got = append(got, string(t.Event()))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		w.Errorf("due timers: %s", diff)
	}
	return wait
}

func timer(id string, n int, at time.Time) bot.TimerChange {
	return bot.TimerChange{Timer: bot.Timer{ID: id, N: n, At: at}}
}

func timers(w *world) {
	w.commit(bot.Change{Timers: []bot.TimerChange{
		timer("c1/round", 1, start.Add(10*time.Second)), timer("c2/round", 1, start.Add(20*time.Second)),
		timer("p:gwen/nudge", 1, start.Add(30*time.Second+time.Microsecond)),
	}})
	if wait := w.due(); wait != 10*time.Second {
		w.Errorf("wait %v, want 10s", wait)
	}
	w.later(10 * time.Second)
	if wait := w.due("tm:c1/round:1"); wait != 10*time.Second {
		w.Errorf("wait %v, want 10s", wait)
	}
	w.later(20 * time.Second)
	if wait := w.due("tm:c1/round:1", "tm:c2/round:1"); wait != time.Millisecond {
		w.Errorf("wait %v, want 1ms: a timer never goes off before its time", wait)
	}
	if err := w.a.Postpone(w.Context(), bot.Timer{ID: "c1/round", N: 1}, time.Minute); err != nil {
		w.Fatal(err)
	}
	if err := w.a.Postpone(w.Context(), bot.Timer{ID: "c2/round", N: 0}, time.Hour); err != nil {
		w.Fatal(err) // it has been set anew since: not the timer that could not be handled
	}
	if err := w.a.Postpone(w.Context(), bot.Timer{ID: "gone/round", N: 1}, time.Minute); err != nil {
		w.Fatal(err)
	}
	w.due("tm:c2/round:1")
	w.commit(bot.Change{Timers: []bot.TimerChange{timer("c2/round", 2, w.now.Add(time.Hour)), {Timer: bot.Timer{ID: "p:gwen/nudge"}, Clear: true}}})
	if wait := w.due(); wait != time.Minute {
		w.Errorf("wait %v, want 1m", wait)
	}
	w.later(time.Hour)
	w.due("tm:c1/round:1", "tm:c2/round:2")
	w.wantTimer(true, "c9/round", "c2/round")
	w.wantTimer(false, "c9/round", "p:gwen/nudge")
	w.wantTimer(false)
}

func (w *world) wantTimer(want bool, ids ...string) {
	w.Helper()
	got, err := w.a.HasTimer(w.Context(), ids)
	if err != nil || got != want {
		w.Errorf("a timer of %v: %v, %v, want %v", ids, got, err, want)
	}
}

func timerClearsItself(w *world) {
	w.commit(bot.Change{Timers: []bot.TimerChange{timer("c1/round", 1, start), timer("c2/round", 1, start), timer("c3/round", 2, start)}})
	w.commit(bot.Change{Event: "tm:c1/round:1"})
	w.commit(bot.Change{Event: "tm:c2/round:1", Timers: []bot.TimerChange{timer("c2/round", 2, start)}})
	w.commit(bot.Change{Event: "tm:c3/round:1"}) // it has been moved since
	w.due("tm:c2/round:2", "tm:c3/round:2")
	_, err := w.a.Commit(w.Context(), bot.Change{Event: "tm:c2/round:2", Timers: []bot.TimerChange{timer("c2/round", 2, start.Add(time.Hour))}})
	if err == nil {
		w.Error("a timer may set itself again without counting up")
	}
}
