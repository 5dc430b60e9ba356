package store

import (
	"errors"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// poison breaks one stored value of each kind and holds that it stands in nobody else's way.
func poison(w *world) {
	w.commit(bot.Change{
		Documents: []bot.Document{person("gwen", 0, `{"id":"gwen"}`), person("bram", 0, `{"id":"bram"}`)},
		Messages:  []notify.Message{text("m1", "gwen", notify.Claim), text("m2", "gwen", notify.News), text("m3", "bram", notify.News), text("m4", "cleo", notify.Safety)},
		Timers:    []bot.TimerChange{timer("c1/round", 1, start), timer("c2/round", 1, start)},
		Errands:   []bot.Errand{{ID: "e1", Until: start.Add(time.Hour)}, {ID: "e2", Until: start.Add(time.Hour)}},
		Cards: []bot.Card{{Field: "c:c1", Body: []byte(`{"ref":"7KQ2","next":"2026-05-12T19:00:00Z"}`)}, {Field: "c:c2", Body: []byte(`{"ref":"4DM8"}`)},
			{Field: "k:ada", Body: []byte(`{"open_ask":"c1"}`)}},
		Roster: []bot.RosterCard{{ID: "ada", Catcher: &notify.Catcher{ID: "ada"}}, {ID: "bo", Catcher: &notify.Catcher{ID: "bo"}}},
	})
	// breakIn spoils the last byte, which belongs to a tag, or the whole of what has none.
	breakIn := func(hash, field string) {
		key := w.a.keys.of(hash)
		value := []byte(w.client.HGet(w.Context(), key, field).Val())
		value[len(value)-1] ^= 1
		if hash == "timer" {
			value = []byte("1 {")
		}
		if err := w.client.HSet(w.Context(), key, field, value).Err(); err != nil {
			w.Fatal(err)
		}
	}
	for _, at := range [][2]string{{"item", "m1"}, {"item", "m4"}, {"timer", "c1/round"}, {"errand", "e1"}, {"board", "c:c1"}, {"board", "k:ada"}, {"roster", "ada"}} {
		breakIn(at[0], at[1])
	}
	key := w.a.keys.document(bot.Key{Kind: bot.KindPerson, ID: "gwen"})
	w.client.Append(w.Context(), key, "!")

	if _, err := w.a.Load(w.Context(), "tw:1", "gwen", ""); !errors.Is(err, bot.ErrBroken) {
		w.Errorf("a broken document: %v", err)
	}
	if got, err := w.a.Load(w.Context(), "tw:1", "bram", ""); err != nil || len(got.Documents) != 1 {
		w.Errorf("another document: %v", err)
	}

	leased := w.wantLeased(w.a, notify.SMS, "m4 unreadable", "m3 fresh", "m1 unreadable")
	if m := leased.Items[2]; m.Recipient != "gwen" || m.Class != notify.Claim || m.Line() != "gwen" || m.To.Channel() != notify.SMS {
		w.Errorf("what is left of a broken message: %+v", m.Message)
	}
	if m := leased.Items[0]; m.Recipient != "cleo" || m.Class != notify.Safety {
		w.Errorf("what is left of a broken safety message: %+v", m.Message)
	}
	for _, item := range []notify.Lease{leased.Items[0], leased.Items[2]} {
		w.finish(w.a, item, notify.Result{}, "unreadable")
	}
	w.wantLeased(w.a, notify.SMS, "m2 fresh") // the line goes on

	if due, _, err := w.a.DueTimers(w.Context(), 10); err != nil || len(due) != 1 || due[0].ID != "c2/round" {
		w.Errorf("due beside a broken timer: %v, %v", due, err)
	}
	w.commit(bot.Change{Timers: []bot.TimerChange{{Timer: bot.Timer{ID: "c2/round"}, Clear: true}}})
	if _, _, err := w.a.DueTimers(w.Context(), 10); err == nil {
		w.Error("a broken timer is told to nobody")
	}

	if _, _, err := w.a.LeaseErrand(w.Context(), errandHold, errandGap); err == nil {
		w.Error("a broken errand is told to nobody")
	}
	w.later(errandHold)
	w.errand(w.a, "e2", 0)

	board, err := w.a.Board(w.Context())
	if err != nil || len(board.Calls) != 2 || board.Calls["c2"].Reference != "4DM8" || !board.Calls["c1"].Next.IsZero() {
		w.Errorf("the board beside broken cards: %+v, %v", board, err)
	}
	roster, err := w.a.Roster(w.Context())
	if err != nil || len(roster) != 1 || roster[0].ID != "bo" {
		w.Errorf("the roster beside a broken entry: %v, %v", roster, err)
	}

	// A change that cannot be stored is refused as one that will never do.
	if _, err := w.a.Commit(w.Context(), bot.Change{Event: "tw:2", Outcome: bot.Outcome(strings.Repeat("x", 300))}); !errors.Is(err, bot.ErrBroken) {
		w.Errorf("a change too large: %v", err)
	}
}
