package store

import (
	"time"

	"skepline/bot"
	"skepline/intake"
)

const (
	errandHold = 15 * time.Second
	errandGap  = time.Second
)

// errand leases one through s and wants its id, "" for none, and the wait that comes with that.
func (w *world) errand(s *Store, want string, wantWait time.Duration) {
	w.Helper()
	e, wait, err := s.LeaseErrand(w.Context(), errandHold, errandGap)
	if err != nil {
		w.Fatal(err)
	}
	got := ""
	if e != nil {
		got = e.ID
	}
	if got != want || wait != wantWait {
		w.Errorf("leased %q, wait %v; want %q, %v", got, wait, want, wantWait)
	}
}

func errands(w *world) {
	w.errand(w.a, "", time.Minute)
	one := bot.Errand{ID: "e1", Call: "c1", Words: "by the old mill", Until: start.Add(time.Minute)}
	w.commit(bot.Change{Errands: []bot.Errand{one, {ID: "e2", Call: "c2", Words: "behind the inn"}}})
	w.errand(w.a, "e1", 0)
	w.errand(w.b, "", errandGap) // one a second, whoever asks
	w.later(errandGap)
	w.errand(w.b, "e2", 0)
	w.later(errandGap)
	w.errand(w.a, "", errandHold-2*errandGap)
	w.later(errandHold - 2*errandGap)
	w.errand(w.b, "e1", 0) // its first worker never came back
	if done := w.commit(bot.Change{Event: "er:e1", Outcome: "noted"}); done.Repeated {
		w.Error("the first answer counts as a repeated one")
	}
	if done := w.commit(bot.Change{Event: "er:e1", Outcome: "stale"}); !done.Repeated || done.Outcome != "noted" {
		w.Errorf("the second answer is %+v, want the first one's outcome", done)
	}
	w.commit(bot.Change{Event: "er:e2"})
	w.later(time.Hour)
	w.errand(w.a, "", time.Minute)
	if _, err := w.a.Commit(w.Context(), bot.Change{Event: "er:e1x", Errands: []bot.Errand{{ID: "e1x"}}}); err == nil {
		w.Error("an errand may call for itself again")
	}
}

func places(w *world) {
	want := func(s *Store, n int) {
		w.Helper()
		g, err := s.Gazetteer(w.Context())
		if err != nil || g.Len() != n {
			w.Errorf("%d places, %v; want %d", g.Len(), err, n)
		}
	}
	want(w.a, 0)
	if g, err := w.a.Gazetteer(w.Context()); g != nil || err != nil {
		w.Errorf("before an import: %v, %v; want nil, so that the built-in ones are used", g, err)
	}
	const row = "1\tMill Lane\tMill Lane\t\t42.4462\t-76.4903\tR\tST\tUS\t\tQB\t\t\t\t0\t\t\tAmerica/New_York\t2026-01-01\n"
	if err := w.a.SetGazetteer(w.Context(), []byte(row)); err != nil {
		w.Fatal(err)
	}
	want(w.b, 1)
	want(w.a, 1)
	if err := w.b.SetGazetteer(w.Context(), []byte(row+row)); err != nil {
		w.Fatal(err)
	}
	want(w.a, 2)
	g, err := w.a.Gazetteer(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	s := intake.Setting{Center: intake.Place{Lat: 42.444, Lon: -76.502}, RadiusKm: 40}
	if found := g.Find("14 mill ln", s); len(found) != 1 || found[0].Place.Lat != 42.4462 {
		w.Errorf("found %v", found)
	}
}
