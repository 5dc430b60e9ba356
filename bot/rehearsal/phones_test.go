package rehearsal

import (
	"slices"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// telegramPhone returns a phone in a story of its own, and the network it is in.
func somePhones(t *testing.T, channel notify.Channel) (*phones, *handset) {
	t.Helper()
	ps := newPhones(&story{title: "Hill Bees", clock: &clock{now: time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC)}})
	h, err := ps.hand(person{name: "ada", channel: channel})
	if err != nil {
		t.Fatal(err)
	}
	return ps, h
}

func send(t *testing.T, ps *phones, out notify.Outgoing) notify.Result {
	t.Helper()
	r := ps.Send(t.Context(), out)
	if r.End != notify.Accepted {
		t.Fatalf("%q was not accepted: %+v", out.Text, r)
	}
	return r
}

func TestExpectations(t *testing.T) {
	waiting := []string{"Hello Gwen", "Ada comes", "She is there at 2:50"}
	for _, row := range []struct {
		why  string
		kind expectation
		text string
		held bool
		left int // messages that still wait
	}{
		{"the next one whole", next, "Hello Gwen", true, 2},
		{"a part is not the whole", next, "Hello", false, 2},
		{"the second is not the next", next, "Ada comes", false, 2},
		{"a part, case aside", some, "hello gWEN", true, 2},
		{"skips to the first that matches", some, "2:50", true, 0},
		{"nothing consumed when nothing matches", some, "Bram", false, 3},
		{"nobody said so", none, "Bram", true, 3},
		{"somebody did", none, "ada COMES", false, 3},
	} {
		h := &handset{person: person{name: "gwen"}, waiting: slices.Clone(waiting)}
		want, got := h.look(expects{1, "gwen", row.kind, row.text})
		if (want == "") != row.held || len(h.waiting) != row.left {
			t.Errorf("%s: wanted %q, got %q, %d left; want held %v, %d left", row.why, want, got, len(h.waiting), row.held, row.left)
		}
		if want != "" && !strings.Contains(got, `"Hello Gwen", then "Ada comes", then "She is there at 2:50"`) {
			t.Errorf("%s: the failure does not list what came: %s", row.why, got)
		}
	}
}

func TestAnEditIsNotAMessage(t *testing.T) {
	ps, ada := somePhones(t, notify.Telegram)
	first := send(t, ps, notify.Outgoing{Message: notify.Message{ID: "m1", To: ada.address, Text: "Swarm 7KQ2",
		Buttons: [][]notify.Button{{{Label: "Take it", Says: "TAKE 7KQ2"}}}}})
	edit := notify.Outgoing{Message: notify.Message{ID: "m2", To: ada.address, Edits: "m1", Text: "Bram has it"}, EditsProvider: first.ProviderID}
	if again := send(t, ps, edit); again.ProviderID != first.ProviderID {
		t.Errorf("the edit made message %s of %s", again.ProviderID, first.ProviderID)
	}
	send(t, ps, edit) // changes nothing, so nobody sees it
	if !slices.Equal(ada.waiting, []string{"Swarm 7KQ2"}) || ada.messages != 1 {
		t.Errorf("%d messages wait: %q; want the one that was sent", ada.messages, ada.waiting)
	}
	if !slices.Equal(ada.edits, []string{"Bram has it"}) {
		t.Errorf("edits are %q, want one", ada.edits)
	}
	if _, there := ada.button("Take it"); there {
		t.Error("the button is still there after the edit took it away")
	}
}

func TestTapsTheLatestMessageWithTheLabel(t *testing.T) {
	ps, ada := somePhones(t, notify.Telegram)
	for _, ref := range []string{"7KQ2", "4DM8"} {
		send(t, ps, notify.Outgoing{Message: notify.Message{To: ada.address, Text: ref,
			Buttons: [][]notify.Button{{{Label: "Take it", Says: "TAKE " + ref}}}}})
	}
	send(t, ps, notify.Outgoing{Message: notify.Message{To: ada.address, Text: "no buttons"}})
	if b, there := ada.button("take it"); !there || b.Says != "TAKE 4DM8" {
		t.Errorf("got %+v, %v; want the button of 4DM8", b, there)
	}
}

func TestSMSHasNoButtonsAndCountsSegments(t *testing.T) {
	ps, ada := somePhones(t, notify.SMS)
	send(t, ps, notify.Outgoing{Message: notify.Message{To: ada.address, Text: strings.Repeat("x", 161),
		Buttons: [][]notify.Button{{{Label: "Take it", Says: "TAKE"}}}}})
	if _, there := ada.button("Take it"); there {
		t.Error("an SMS came with a button")
	}
	if ada.segments != 2 {
		t.Errorf("161 letters counted as %d segments, want 2", ada.segments)
	}
}

func TestNobodysNumberIsRefused(t *testing.T) {
	ps, _ := somePhones(t, notify.SMS)
	if r := ps.Send(t.Context(), notify.Outgoing{Message: notify.Message{To: "sms:+16075550188"}}); r.End != notify.Refused {
		t.Errorf("got %+v, want it refused", r)
	}
}
