package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/bot"
	"skepline/notify"
)

// TestCommitRefuses holds that a change which cannot be stored as meant is refused whole.
func TestCommitRefuses(t *testing.T) {
	w := newWorld(t, embeddedServer(t), quick)
	message := func(change func(*notify.Message)) bot.Change {
		m := text("m1", "gwen", notify.News)
		change(&m)
		return bot.Change{Messages: []notify.Message{m}}
	}
	many := make([]notify.Message, maxMessages+1)
	tests := []struct {
		why    string
		change bot.Change
		large  bool
	}{
		{"an outcome is a code, not a text", bot.Change{Outcome: bot.Outcome(strings.Repeat("x", 201))}, true},
		{"a script must not run long", bot.Change{Messages: many}, true},
		{"a script must not run long", bot.Change{Documents: []bot.Document{person("gwen", 0, strings.Repeat("x", maxBytes))}}, true},
		{"a script must not run long", bot.Change{Cards: make([]bot.Card, maxParts+1)}, true},
		{"a script must not run long", bot.Change{Checks: make([]bot.Check, maxDocuments+1)}, true},
		{"the payload ends at a space", bot.Change{Payload: "a b"}, false},
		{"which of two bodies would count?", bot.Change{Documents: []bot.Document{person("gwen", 0, "1"), person("gwen", 0, "2")}}, false},
		{"no id", bot.Change{Documents: []bot.Document{person("", 0, "1")}}, false},
		{"no id", bot.Change{Checks: []bot.Check{{}}}, false},
		{"no id", bot.Change{Timers: []bot.TimerChange{timer("", 1, start)}}, false},
		{"a pointer ends at a space", bot.Change{Documents: []bot.Document{{
			Key: bot.Key{Kind: bot.KindPerson, ID: "gwen"}, Pointer: &bot.Key{Kind: bot.KindCall, ID: "c 1"}}}}, false},
		{"no id", message(func(m *notify.Message) { m.ID = "" }), false},
		{"an id ends at a space", message(func(m *notify.Message) { m.Edits = "m 0" }), false},
		{"no recipient, no line", message(func(m *notify.Message) { m.Recipient = "" }), false},
		{"a line's name ends at a bar", message(func(m *notify.Message) { m.Recipient = "gwen|bram" }), false},
		{"gwen! is Gwen's safety line", message(func(m *notify.Message) { m.Recipient = "gwen!" }), false},
		{"no such channel", message(func(m *notify.Message) { m.To = "fax:5550101" }), false},
		{"no class", message(func(m *notify.Message) { m.Class = "" }), false},
		{"two under one id", bot.Change{Messages: []notify.Message{text("m1", "a", notify.News), text("m1", "b", notify.News)}}, false},
	}
	before := w.dump()
	for _, tt := range tests {
		tt.change.Event = "tw:SM1"
		_, err := w.a.Commit(t.Context(), tt.change)
		if err == nil || errors.Is(err, ErrTooLarge) != tt.large {
			t.Errorf("%s: %v, want a refusal, too large %v", tt.why, err, tt.large)
		}
	}
	if _, err := w.a.Commit(t.Context(), bot.Change{}); err == nil {
		t.Error("a change without an event was committed")
	}
	if diff := cmp.Diff(before, w.dump()); diff != "" {
		t.Errorf("refused changes left traces: %s", diff)
	}
}

// TestScriptWritesAllOrNothing throws arguments at commit.lua that the Go side would never
// make: whatever it answers but "ok", it has written nothing.
func TestScriptWritesAllOrNothing(t *testing.T) {
	servers := map[string]func(testing.TB) *server{
		"embedded": embeddedServer,
		"real":     realServer,
	}
	for _, name := range []string{"embedded", "real"} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t, servers[name](t), quick)
			keys := append(w.a.keys.commit(), w.a.keys.document(person("gwen", 0, "").Key))
			word := rapid.SampledFrom([]string{"doc", "check", "card", "roster", "find", "stop", "timer", "fired", "errand", "returned", "msg", "closed",
				"", "0", "1", "23", "23", "4", "22", "24", "-1", "1.5", "nan", "0x10", "1e3", "sms", "sms!", "fax", "gwen", "1 - {}", "\x00", "c:c1"})
			rapid.Check(t, func(rt *rapid.T) {
				args := []any{"tw:SM1", "p", "asked"}
				for _, a := range rapid.SliceOfN(word, 0, 12).Draw(rt, "arguments") {
					args = append(args, a)
				}
				before := w.dump()
				reply, err := w.a.call(t.Context(), w.a.scripts.commit, keys, args...)
				if err == nil && reply[0] == "ok" {
					if err := w.client.Del(t.Context(), leftKeys(w)...).Err(); err != nil {
						rt.Fatal(err)
					}
				} else if after := w.dump(); after != before {
					rt.Fatalf("%v %v left traces: %s", reply, err, cmp.Diff(before, after))
				} else if err != nil {
					rt.Fatalf("an error, not an answer: %v", err)
				}
			})
		})
	}
}

// TestUnreadableMessage holds that an item whose secret is missing waits for it, and costs
// nobody else a message.
func TestUnreadableMessage(t *testing.T) {
	w := newWorld(t, embeddedServer(t), quick)
	w.send(text("m1", "gwen", notify.News))
	if err := w.client.HSet(t.Context(), w.a.keys.of("item"), "m1", "sms news 1 - ~00000000and more").Err(); err != nil {
		t.Fatal(err)
	}
	if _, err := w.a.Lease(t.Context(), notify.SMS, 10, time.Minute); err == nil || !strings.Contains(err.Error(), "m1") {
		t.Errorf("an unreadable message: %v, want an error that names it", err)
	}
	w.send(text("m2", "bram", notify.News))
	w.later(time.Minute)
	w.wantLeased(w.a, notify.SMS, "m2 fresh")
}
