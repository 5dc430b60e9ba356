package telegram

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/bot/standin"
)

func (h *house) texts() []string {
	h.heard.mu.Lock()
	defer h.heard.mu.Unlock()
	var texts []string
	for _, e := range h.heard.events {
		texts = append(texts, e.(bot.Said).Text)
	}
	return texts
}

func want(t *testing.T, why string, got, want any) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("%s: (-want +got)\n%s", why, diff)
	}
}

// TestPollAcknowledgesAfterCommit holds the order that the library does not keep: Telegram
// forgets an update only when we ask for what comes after it, and we ask only when it was
// heard.
func TestPollAcknowledgesAfterCommit(t *testing.T) {
	h := open(t)
	if err := h.SetWebhook(t.Context()); err != nil { // left behind by another time
		t.Fatal(err)
	}
	one, two, three := h.telegram.Says(ada, "one"), h.telegram.Says(bram, "two"), h.telegram.Says(ada, "three")
	h.heard.fail = func(id bot.EventID) error {
		want(t, "nothing is confirmed while events are heard", h.telegram.Waiting(), []int64{one, two, three})
		if id == h.eventID(two) {
			return errStore
		}
		return nil
	}
	p := &poller{Door: h.Door}
	if err := p.step(t.Context()); !errors.Is(err, errStore) {
		t.Fatalf("step says %v", err)
	}
	want(t, "the first was heard, and no later one before the second", h.texts(), []string{"one"})

	// A crash here: another replica begins with no offset and is told all of them again.
	h.heard.fail = nil
	other := &poller{Door: h.Door}
	if err := other.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	want(t, "told again after a crash", h.texts(), []string{"one", "one", "two", "three"})
	want(t, "still not confirmed: nobody asked for more", h.telegram.Waiting(), []int64{one, two, three})

	four := h.telegram.Says(ada, "four")
	if err := other.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	want(t, "asking for more confirms what was heard", h.telegram.Waiting(), []int64{four})
	want(t, "offsets", h.telegram.Offsets(), []int64{0, 0, three + 1})
}

// TestPollQuietWeek holds that an offset is not kept over a quiet time: after a week
// Telegram goes on with any number, also a lower one.
func TestPollQuietWeek(t *testing.T) {
	h := open(t)
	p := &poller{Door: h.Door}
	h.telegram.Says(ada, "before")
	if err := p.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.telegram.Patience = time.Millisecond
	if err := p.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.telegram.JumpTo(17)
	h.telegram.Says(ada, "after")
	if err := p.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	want(t, "texts", h.texts(), []string{"before", "after"})
}

// TestPollPoison holds that one update that cannot be heard holds the others up for ten
// minutes and no longer, and only when the store is well.
func TestPollPoison(t *testing.T) {
	h := open(t)
	bad, good := h.telegram.Says(ada, "bad"), h.telegram.Says(bram, "good")
	p := &poller{Door: h.Door}
	poison := func(id bot.EventID) error {
		if id == h.eventID(bad) {
			return errStore
		}
		return nil
	}
	h.heard.fail = poison
	for range 3 {
		if err := p.step(t.Context()); err == nil {
			t.Fatal("no error")
		}
		h.clock.later(setAside / 2)
	}
	want(t, "waiting for it", h.texts(), []string(nil))

	h.heard.fail = always
	if err := p.step(t.Context()); err == nil || len(h.telegram.Waiting()) != 2 {
		t.Errorf("with the store away: %v, waiting %v", err, h.telegram.Waiting())
	}
	h.heard.fail = poison
	if err := p.step(t.Context()); err != nil {
		t.Errorf("after ten minutes: %v", err)
	}
	if !slices.Contains(h.texts(), "good") || p.offset != good+1 {
		t.Errorf("heard %v, offset %d", h.texts(), p.offset)
	}
	if !strings.Contains(h.logs.String(), string(h.eventID(bad))) {
		t.Error("the log does not name the update that was set aside")
	}
	h.secrets(t, nil)
}

func TestPollPause(t *testing.T) {
	for _, c := range []struct {
		why   string
		meet  standin.Trouble
		fails int
		want  time.Duration
	}{
		{"they say how long", standin.TooMany(17), 1, 17 * time.Second},
		{"somebody else polls", standin.Refusal(409, 0, "Conflict: terminated by other getUpdates request"), 1, 10 * time.Second},
		{"a wrong token", standin.Refusal(401, 0, "Unauthorized"), 1, time.Minute},
		{"a proxy's page", standin.Broken(502), 1, 2 * time.Second},
		{"… again and again", standin.Broken(502), 9, 30 * time.Second},
		{"hung up", standin.Trouble{Cut: true}, 1, 2 * time.Second},
	} {
		h := open(t)
		p := &poller{Door: h.Door}
		var err error
		for range c.fails {
			h.telegram.Next("getUpdates", 1, c.meet)
			if err = p.step(t.Context()); err == nil {
				t.Fatalf("%s: no error", c.why)
			}
		}
		if got := p.pause(err); got != c.want {
			t.Errorf("%s: waits %v, want %v (%v)", c.why, got, c.want, err)
		}
		h.secrets(t, err)
	}
}

// TestPollLease follows two replicas: one polls, loses the lease, and the request it has
// under way is cut.
func TestPollLease(t *testing.T) {
	h := open(t)
	ctx, stop := context.WithCancel(t.Context())
	var ended sync.WaitGroup
	ended.Go(func() {
		if err := h.Poll(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("ended with %v", err)
		}
	})
	next := func(c <-chan struct{}, what string) {
		t.Helper()
		select {
		case <-c:
		case <-time.After(10 * time.Second):
			t.Fatalf("waited in vain for %s; log:\n%s", what, h.logs)
		}
	}
	next(h.leases.held, "the first lease")
	next(h.clock.news, "the renewal to wait")
	h.clock.later(leaseRenew)
	next(h.leases.held, "the renewal")
	next(h.clock.news, "the renewal to wait again")
	h.leases.give("replica-2")
	h.clock.later(leaseRenew)
	next(h.leases.held, "the renewal that is refused")
	// The request would hold for 20 s of real time; that the next wait comes shows the cut.
	next(h.clock.news, "the wait for another turn")
	if !strings.Contains(h.logs.String(), "lease lost") {
		t.Error("the log does not say that the lease was lost")
	}

	h.telegram.Says(ada, "for the other replica")
	h.clock.later(leaseRenew)
	next(h.leases.held, "the next try")
	next(h.clock.news, "the wait after it")
	want(t, "without the lease nothing is read", h.texts(), []string(nil))

	h.leases.give("")
	h.clock.later(leaseRenew)
	next(h.leases.held, "the lease again")
	next(h.heard.news, "the text that was waiting")
	stop()
	ended.Wait()
	if h.leases.released != 1 {
		t.Errorf("released %d times, want 1", h.leases.released)
	}
	h.secrets(t, nil)
}

// TestPollClearsWebhook holds that a webhook set meanwhile is taken away again.
func TestPollClearsWebhook(t *testing.T) {
	h := open(t)
	h.telegram.Says(ada, "one")
	p := &poller{Door: h.Door}
	if err := p.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := h.SetWebhook(t.Context()); err != nil {
		t.Fatal(err)
	}
	err := p.step(t.Context())
	if err == nil {
		t.Fatal("no error while a webhook is set")
	}
	p.pause(err)
	h.telegram.Says(ada, "two")
	if err := p.step(t.Context()); err != nil {
		t.Fatal(err)
	}
	want(t, "texts", h.texts(), []string{"one", "two"})
}

// TestPollMany holds that more updates than one answer holds come in order.
func TestPollMany(t *testing.T) {
	h := open(t)
	var all []string
	for i := range 2*pollLimit + 1 {
		all = append(all, fmt.Sprint("text ", i))
		h.telegram.Says(ada, all[i])
	}
	p := &poller{Door: h.Door}
	for range 3 {
		if err := p.step(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	want(t, "texts", h.texts(), all)
}
