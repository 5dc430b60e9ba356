package store

import (
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

func roster(w *world) {
	read := func() []notify.Catcher {
		w.Helper()
		got, err := w.b.Roster(w.Context())
		if err != nil {
			w.Fatal(err)
		}
		return got
	}
	if got := read(); len(got) != 0 {
		w.Errorf("an empty roster has %v", got)
	}
	ada := notify.Catcher{ID: "ada", Name: "Ada", Address: "telegram:5550101", Lat: 42.451, Lon: -76.482, ReachKm: 15, Skills: []notify.Skill{notify.Ladder}}
	bram := notify.Catcher{ID: "bram", Name: "Bram"}
	w.commit(bot.Change{Roster: []bot.RosterCard{{ID: "bram", Catcher: &bram}, {ID: "ada", Catcher: &ada}}})
	first := read()
	if diff := cmp.Diff([]notify.Catcher{ada, bram}, first); diff != "" {
		w.Error(diff)
	}
	w.commit(bot.Change{Documents: []bot.Document{person("gwen", 0, "{}")}})
	if again := read(); &again[0] != &first[0] {
		w.Error("the roster was parsed again though it had not moved")
	}
	w.commit(bot.Change{Roster: []bot.RosterCard{{ID: "ada"}}})
	if diff := cmp.Diff([]notify.Catcher{bram}, read()); diff != "" {
		w.Error(diff)
	}
}

func board(w *world) {
	w.commit(bot.Change{Cards: []bot.Card{
		{Field: "c:c2", Body: []byte(`{"ref":"7KQ2","stage":"looking","asks":2}`)}, {Field: "c:c1", Body: []byte(`{"stage":"asking"}`)},
		{Field: "k:ada", Body: []byte(`{"busy":true}`)}, {Field: "k:bram", Body: []byte(`{}`)},
	}})
	w.commit(bot.Change{Cards: []bot.Card{{Field: "k:bram"}}})
	got, err := w.b.Board(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	want := notify.Board{
		Calls:    map[string]notify.CallCard{"c2": {Reference: "7KQ2", Stage: "looking", AsksOut: 2}, "c1": {Stage: "asking"}},
		Catchers: map[string]notify.CatcherCard{"ada": {Busy: true}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		w.Error(diff)
	}
	calls, err := w.b.OpenCalls(w.Context())
	if diff := cmp.Diff([]string{"c1", "c2"}, calls); diff != "" || err != nil {
		w.Error(diff, err)
	}
}

func lookUps(w *world) {
	w.commit(bot.Change{
		Finds:  []bot.Find{{Name: "ref:7KQ2", Subject: "c1"}, {Name: "tok:ab", Subject: "ada"}},
		Closed: []bot.Closed{{Call: "c2", At: start.Add(time.Hour)}, {Call: "c1", At: start}},
	})
	w.commit(bot.Change{Finds: []bot.Find{{Name: "tok:ab"}}})
	for name, want := range map[string]string{"ref:7KQ2": "c1", "tok:ab": "", "ref:none": ""} {
		if got, err := w.b.Find(w.Context(), name); err != nil || got != want {
			w.Errorf("find %s: %q, %v, want %q", name, got, err, want)
		}
	}
	if got, err := w.a.Mark(w.Context(), "poll"); err != nil || got != "" {
		w.Errorf("a mark never set is %q, %v", got, err)
	}
	if err := w.a.SetMark(w.Context(), "poll", "881"); err != nil {
		w.Fatal(err)
	}
	if got, err := w.b.Mark(w.Context(), "poll"); err != nil || got != "881" {
		w.Errorf("the mark is %q, %v", got, err)
	}
	for until, want := range map[time.Duration]int{0: 1, time.Hour: 2, -time.Second: 0} {
		calls, err := w.a.ClosedCalls(w.Context(), start.Add(-time.Hour), start.Add(until))
		if err != nil || len(calls) != want {
			w.Errorf("calls that ended until %v: %v, %v, want %d", until, calls, err, want)
		}
	}
}

func holds(w *world) {
	hold := func(owner string, want bool) {
		w.Helper()
		got, err := w.a.Hold(w.Context(), "poll", owner, 30*time.Second)
		if err != nil || got != want {
			w.Errorf("%s holds: %v, %v, want %v", owner, got, err, want)
		}
	}
	release := func(owner string) {
		w.Helper()
		if err := w.b.Release(w.Context(), "poll", owner); err != nil {
			w.Error(err)
		}
	}
	hold("replica one", true)
	hold("replica two", false)
	w.later(20 * time.Second)
	hold("replica one", true) // renewed
	w.later(29 * time.Second)
	hold("replica two", false)
	w.later(time.Second)
	hold("replica two", true)
	release("replica one") // not its own any more
	hold("replica one", false)
	release("replica two")
	hold("replica one", true)
}
