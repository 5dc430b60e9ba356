package store

import (
	"errors"
	"fmt"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

func person(id string, version int64, body string) bot.Document {
	return bot.Document{Key: bot.Key{Kind: bot.KindPerson, ID: id}, Version: version, Body: []byte(body)}
}

func call(id string, version int64, body string) bot.Document {
	return bot.Document{Key: bot.Key{Kind: bot.KindCall, ID: id}, Version: version, Body: []byte(body)}
}

func documentsRoundTrip(w *world) {
	gwen := person("gwen", 0, "{\"name\":\"Gwen\",\"note\":\"a\\nb c\"}")
	gwen.Pointer = &bot.Key{Kind: bot.KindCall, ID: "c1"}
	w.commit(bot.Change{Documents: []bot.Document{gwen, call("c1", 0, `{}`)}})
	gwen.Version = 1
	absent := bot.Key{Kind: bot.KindCatcher, ID: "ada"}
	got, err := w.b.Documents(w.Context(), []bot.Key{absent, gwen.Key})
	if err != nil {
		w.Fatal(err)
	}
	if diff := cmp.Diff([]bot.Document{{Key: absent}, gwen}, got); diff != "" {
		w.Error(diff)
	}
}

func documentsErased(w *world) {
	w.commit(bot.Change{Event: "tw:SM1", Documents: []bot.Document{person("gwen", 0, `{"n":1}`)}})
	stale := bot.Change{Event: "tw:SM2", Documents: []bot.Document{person("gwen", 7, "")}}
	if _, err := w.a.Commit(w.Context(), stale); !errors.Is(err, bot.ErrConflict) {
		w.Errorf("erased at a version it does not have: %v", err)
	}
	w.commit(bot.Change{Event: "tw:SM3", Documents: []bot.Document{person("gwen", 1, "")}})
	got, err := w.b.Documents(w.Context(), []bot.Key{{Kind: bot.KindPerson, ID: "gwen"}})
	if err != nil || got[0].Version != 0 || got[0].Body != nil {
		w.Errorf("left: %+v, %v", got, err)
	}
	// What a replica decided before the erasure brings nobody back.
	late := bot.Change{Event: "tw:SM5", Documents: []bot.Document{person("gwen", 1, `{"name":"Gwen"}`)}}
	if _, err := w.a.Commit(w.Context(), late); !errors.Is(err, bot.ErrConflict) {
		w.Errorf("written over an erased document: %v", err)
	}
	w.commit(bot.Change{Event: "tw:SM4", Documents: []bot.Document{person("gwen", 0, `{"n":2}`)}})
}

func loadFollowsPointer(w *world) {
	gwen := person("gwen", 0, `{"a":1}`)
	gwen.Pointer = &bot.Key{Kind: bot.KindCall, ID: "c1"}
	w.commit(bot.Change{
		Event: "tw:SM1", Outcome: "asked", Documents: []bot.Document{gwen, call("c1", 0, `{"b":2}`)},
		Finds: []bot.Find{{Name: "ref:7KQ2", Subject: "c1"}},
	})
	gwen.Version = 1
	tests := []struct {
		event        bot.EventID
		person, find string
		want         bot.Loaded
	}{
		{"tw:SM2", "gwen", "", bot.Loaded{Documents: []bot.Document{gwen, call("c1", 1, `{"b":2}`)}}},
		{"tw:SM2", "bram", "ref:7KQ2", bot.Loaded{Documents: []bot.Document{{Key: bot.Key{Kind: bot.KindPerson, ID: "bram"}}}, Found: "c1"}},
		{"tm:c1/round:1", "", "", bot.Loaded{}},
		{"tw:SM2", "", "ref:none", bot.Loaded{}},
		{"tw:SM1", "gwen", "", bot.Loaded{Seen: true, Outcome: "asked"}},
	}
	for _, tt := range tests {
		got, err := w.b.Load(w.Context(), tt.event, tt.person, tt.find)
		if err != nil {
			w.Fatal(err)
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			w.Errorf("load %s %q %q: %s", tt.event, tt.person, tt.find, diff)
		}
	}
}

// everything is a change that touches every kind of key; its documents are at version 0.
func everything(event bot.EventID) bot.Change {
	return bot.Change{
		Event: event, Payload: "p1", Outcome: "asked",
		Documents: []bot.Document{person("gwen", 0, `{}`)},
		Checks:    []bot.Check{{Key: bot.Key{Kind: bot.KindCall, ID: "c1"}}},
		Cards:     []bot.Card{{Field: "c:c1", Body: []byte(`{"ref":"7KQ2"}`)}},
		Roster:    []bot.RosterCard{{ID: "ada", Catcher: &notify.Catcher{ID: "ada"}}},
		Finds:     []bot.Find{{Name: "ref:7KQ2", Subject: "c1"}},
		Stops:     []bot.Stop{{Person: "bram"}},
		Timers:    []bot.TimerChange{{Timer: bot.Timer{ID: "c1/round", N: 1, At: start}}},
		Messages:  []notify.Message{text("m1", "gwen", notify.Question)},
		Closed:    []bot.Closed{{Call: "c0", At: start}},
	}
}

func conflictWritesNothing(w *world) {
	w.commit(bot.Change{Documents: []bot.Document{call("c1", 0, `{}`)}})
	before := w.dump()
	moved := everything("tw:late")
	stale := everything("tw:stale")
	stale.Checks, stale.Documents = nil, []bot.Document{call("c1", 0, `{}`)}
	ahead := everything("tw:ahead")
	ahead.Checks[0].Version = 2
	for _, change := range []bot.Change{moved, stale, ahead} {
		if _, err := w.b.Commit(w.Context(), change); !errors.Is(err, bot.ErrConflict) {
			w.Errorf("commit %s: %v, want a conflict", change.Event, err)
		}
	}
	if diff := cmp.Diff(before, w.dump()); diff != "" {
		w.Errorf("a refused commit left traces: %s", diff)
	}
}

func wrongTypeWritesNothing(w *world) {
	names := []string{"seen:0", "seen:1", "meta", "board", "roster", "find", "stop", "timer", "due:timers",
		"item", "line", "closed", "board:log", "due:sms", "d:person:gwen", "d:call:c1"}
	for i, name := range names {
		key := w.a.keys.of(name)
		err := w.client.RPush(w.Context(), key, "not this").Err()
		if name == "board:log" { // which is a list
			err = errors.Join(w.client.Del(w.Context(), key).Err(), w.client.HSet(w.Context(), key, "not", "this").Err())
		}
		if err != nil {
			w.Fatal(err)
		}
		before := w.dump()
		_, err = w.a.Commit(w.Context(), everything(bot.EventID(fmt.Sprintf("tw:%d", i))))
		if name == "seen:0" || name == "seen:1" {
			// Which two of the ring are read depends on the day; a list is refused by HGET.
			err = onlyWhenRead(w, name, err)
		} else if err == nil {
			w.Errorf("%s of a wrong type: the commit went through", name)
		}
		if err != nil && w.dump() != before {
			w.Errorf("%s of a wrong type: a refused commit left traces: %s", name, cmp.Diff(before, w.dump()))
		}
		if err := w.client.Del(w.Context(), append([]string{key}, leftKeys(w)...)...).Err(); err != nil {
			w.Fatal(err)
		}
	}
	w.commit(everything("tw:good"))
}

func onlyWhenRead(w *world, name string, err error) error {
	ring := start.UnixMilli() / 345600000
	read := name == fmt.Sprintf("seen:%d", ring%3) || name == fmt.Sprintf("seen:%d", (ring-1)%3)
	if read != (err != nil) {
		w.Errorf("%s of a wrong type, read %t: %v", name, read, err)
	}
	return err
}

func leftKeys(w *world) []string {
	keys, err := w.client.Keys(w.Context(), w.a.keys.prefix+"*").Result()
	if err != nil {
		w.Fatal(err)
	}
	return append(keys, "none")
}

func repeatedEvent(w *world) {
	first := everything("tw:SM1")
	if got := w.commit(first); got != (bot.Committed{Outcome: "asked"}) {
		w.Errorf("first commit: %+v", got)
	}
	before := w.dump()
	again := first
	again.Outcome = "late" // decided on what the first one left behind
	if got := w.commit(again); got != (bot.Committed{Outcome: "asked", Repeated: true}) {
		w.Errorf("second commit: %+v, want the first outcome", got)
	}
	again.Payload = "p2"
	if got := w.commit(again); got != (bot.Committed{Outcome: "asked", Repeated: true, Mismatch: true}) {
		w.Errorf("commit of another payload: %+v, want a mismatch", got)
	}
	if diff := cmp.Diff(before, w.dump()); diff != "" {
		w.Errorf("a repeated event left traces: %s", diff)
	}
}

func seenRing(w *world) {
	w.commit(bot.Change{Event: "tw:SM1", Outcome: "asked"})
	for day := range 30 {
		if err := w.a.Sweep(w.Context()); err != nil {
			w.Fatal(err)
		}
		loaded, err := w.a.Load(w.Context(), "tw:SM1", "", "")
		if err != nil {
			w.Fatal(err)
		}
		if day <= 4 && !loaded.Seen {
			w.Errorf("forgotten after %d days", day)
		}
		if day >= 8 && loaded.Seen {
			w.Errorf("still known after %d days", day)
		}
		w.commit(bot.Change{Event: bot.EventID(fmt.Sprintf("tw:day%d", day))})
		w.later(24 * time.Hour)
	}
}
