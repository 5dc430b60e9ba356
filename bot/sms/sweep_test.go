package sms

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/bot/standin"
)

func (h *house) heardTexts() []string {
	var texts []string
	for _, e := range h.heard.events {
		texts = append(texts, e.(bot.Said).Text)
	}
	return texts
}

// TestSweepIsTheWebhook holds that a message read from the log is the event that its
// webhook would have been, picture and all.
func TestSweepIsTheWebhook(t *testing.T) {
	h := open(t)
	for _, p := range []struct {
		from, to string
		files    []standin.Media
	}{
		{gwen, ours, nil},
		{gwen, ours, []standin.Media{{Type: "image/jpeg"}, {Type: "audio/amr"}}},
		{"whatsapp:" + gwen, "whatsapp:" + ours, nil},
	} {
		h.heard.events = nil
		params := h.twilio.TextAt(h.clock.now, p.from, p.to, "bees", p.files...)
		h.serve(h.webhook("/twilio/message", params))
		if _, err := h.Sweep(t.Context(), h.clock.now.Add(-time.Second), h.clock.now); err != nil {
			t.Fatal(err)
		}
		n := len(h.heard.events)
		if n < 2 {
			t.Fatalf("heard %d events", n)
		}
		found := false
		for _, e := range h.heard.events[1:] {
			found = found || cmp.Equal(h.heard.events[0], e)
		}
		if !found {
			t.Errorf("the webhook told\n%+v\nand the log\n%+v", h.heard.events[0], h.heard.events[1:])
		}
	}
}

func TestSweepPages(t *testing.T) {
	h := open(t)
	const n = 2*sweepPage + 3
	var want []string
	for i := range n {
		text := fmt.Sprint("text ", i)
		h.twilio.TextAt(h.clock.now.Add(time.Duration(i)*time.Second), gwen, ours, text)
		want = append(want, text)
	}
	h.twilio.TextAt(h.clock.now.Add(-time.Hour), gwen, ours, "before")
	h.twilio.TextAt(h.clock.now, gwen, "+16075550199", "to another number of the account")
	heard, err := h.Sweep(t.Context(), h.clock.now, h.clock.now.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, h.heardTexts()); diff != "" {
		t.Errorf("not all, or not oldest first (-want +got)\n%s", diff)
	}
	if last := h.clock.now.Add((n - 1) * time.Second); !heard.Equal(last) {
		t.Errorf("heard up to %v, want %v", heard, last)
	}
}

// TestSweepService holds that with a messaging service only its messages are ours.
func TestSweepService(t *testing.T) {
	for service, want := range map[string]int{"MG" + strings.Repeat("b1", 16): 1, "MG" + strings.Repeat("c2", 16): 0, "": 0} {
		h := open(t)
		h.From = "MG" + strings.Repeat("b1", 16)
		h.twilio.Service = service
		h.twilio.TextAt(h.clock.now, gwen, ours, "bees")
		if _, err := h.Sweep(t.Context(), h.clock.now.Add(-time.Hour), h.clock.now); err != nil || len(h.heard.events) != want {
			t.Errorf("service %q: heard %d events, want %d; error %v", service, len(h.heard.events), want, err)
		}
	}
}

func TestSweepStep(t *testing.T) {
	h := open(t)
	start := h.clock.now
	text := func(after time.Duration, words string) bot.EventID {
		p := h.twilio.TextAt(start.Add(after), gwen, ours, words)
		return bot.EventID("tw:" + p.Get("MessageSid"))
	}
	step := func(after time.Duration) error {
		t.Helper()
		h.heard.events = nil
		return h.SweepStep(t.Context(), start.Add(after))
	}
	mark := func() time.Duration {
		at, err := time.Parse(time.RFC3339, h.notes.marks[sweepMark])
		if err != nil {
			t.Fatal(err)
		}
		return at.Sub(start)
	}
	want := func(texts ...string) {
		t.Helper()
		if diff := cmp.Diff(texts, h.heardTexts()); diff != "" {
			t.Errorf("(-want +got)\n%s", diff)
		}
	}

	text(-20*time.Minute, "before the hotline was")
	text(-5*time.Minute, "while it started")
	if err := step(0); err != nil {
		t.Fatal(err)
	}
	want("while it started")
	if mark() != 0 {
		t.Errorf("first mark at %v", mark())
	}

	// One that cannot be heard keeps the mark, not those behind it.
	text(time.Minute, "one")
	bad := text(2*time.Minute, "two")
	text(3*time.Minute, "three")
	h.heard.fail = func(id bot.EventID) error {
		if id == bad {
			return errStore
		}
		return nil
	}
	if err := step(4 * time.Minute); err == nil {
		t.Error("no error for the one that was not heard")
	}
	want("while it started", "one", "three")
	if mark() != time.Minute {
		t.Errorf("mark at %v, want before the one not heard", mark())
	}
	h.heard.fail = nil
	if err := step(30 * time.Minute); err != nil {
		t.Fatal(err)
	}
	want("while it started", "one", "two", "three")
	if mark() != 3*time.Minute {
		t.Errorf("mark at %v, want 3m", mark())
	}

	// The newest is left to its webhook for a moment, and does not move the mark.
	text(31*time.Minute, "just now")
	if err := step(31*time.Minute + 10*time.Second); err != nil {
		t.Fatal(err)
	}
	want("while it started", "one", "two", "three")
	if mark() != 3*time.Minute {
		t.Errorf("mark at %v, want 3m", mark())
	}

	// After two days away the log is read a day back, not from the mark.
	text(25*time.Hour, "yesterday")
	if err := step(48 * time.Hour); err != nil {
		t.Fatal(err)
	}
	want("yesterday")

	// Trouble with the list changes nothing.
	before := mark()
	h.twilio.Next(standin.TwilioList, 1, standin.Broken(500))
	if err := step(49 * time.Hour); err == nil || mark() != before {
		t.Errorf("error %v, mark moved from %v to %v", err, before, mark())
	}

	// Another replica has the lease.
	h.notes.taken = true
	if err := step(49 * time.Hour); err != nil || len(h.heard.events) > 0 {
		t.Errorf("without the lease: error %v, heard %d", err, len(h.heard.events))
	}
	h.secrets(t, "while it started")
}

// TestSweepMediaTrouble holds that a message whose pictures cannot be listed is not heard
// without them: it comes again.
func TestSweepMediaTrouble(t *testing.T) {
	h := open(t)
	h.twilio.TextAt(h.clock.now, gwen, ours, "look", standin.Media{Type: "image/jpeg"})
	h.twilio.Next(standin.TwilioMedia, 1, standin.Broken(500))
	if _, err := h.Sweep(t.Context(), h.clock.now.Add(-time.Minute), h.clock.now); err == nil || len(h.heard.events) > 0 {
		t.Errorf("error %v, heard %d", err, len(h.heard.events))
	}
}

func TestPoll(t *testing.T) {
	for _, c := range []struct {
		why, public string
		every       time.Duration
	}{
		{"webhooks: a minute, for what they lost", public, time.Minute},
		{"behind a home router: the log is how texts arrive", "", 10 * time.Second},
	} {
		h := open(t)
		h.PublicURL = c.public
		ctx, stop := context.WithCancel(t.Context())
		sleeps := 0
		h.clock.slept = func(d time.Duration) {
			if d != c.every {
				t.Errorf("%s: waits %v, want %v", c.why, d, c.every)
			}
			h.twilio.TextAt(h.clock.now.Add(-sweepGrace), gwen, ours, fmt.Sprint("text ", sleeps))
			if sleeps++; sleeps == 3 {
				stop()
			}
		}
		if err := h.Poll(ctx); err != context.Canceled {
			t.Errorf("%s: ended with %v", c.why, err)
		}
		// Each step reads the overlap again: the events repeat, their ids do not differ.
		seen := map[bot.EventID]bool{}
		for _, e := range h.heard.events {
			seen[e.ID()] = true
		}
		if len(seen) != 2 || h.notes.released != 1 {
			t.Errorf("%s: heard %d messages, want 2; released %d times", c.why, len(seen), h.notes.released)
		}
	}
}
