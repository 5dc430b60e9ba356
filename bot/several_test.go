package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// reportAt is a report of a swarm at a point.
func reportAt(lat, lon float64) string {
	return fmt.Sprintf("hanging cluster of bees on the fence, nobody stung, 3 Oak St https://maps.google.com/?q=%.3f,%.3f I can reach it", lat, lon)
}

// TestBackOnTheListMeansTheBestCall holds that who comes free while several swarms wait is
// asked at once, and for the one that gains most: here the near one, though the far one was
// first.
func TestBackOnTheListMeansTheBestCall(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.threeCatchers(t, 3)
	for _, who := range walkers[4:7] {
		m.hear(t, Said{Event: EventID("tw:out" + string(who)), From: who, Text: "OUT"})
	}
	m.hear(t, Said{Event: "tw:far", From: walkers[0], Text: reportAt(42.65, -76.5)})
	m.wait(t, time.Minute)
	m.hear(t, Said{Event: "tw:near", From: walkers[1], Text: reportAt(42.452, -76.482)})
	m.wait(t, time.Minute)
	before := len(m.sent)
	m.hear(t, Said{Event: "tw:in", From: walkers[4], Text: "IN"})
	var offers []string
	for _, msg := range m.sent[before:] {
		if msg.Still.Offer != "" {
			offers = append(offers, msg.Still.Call)
		}
	}
	for _, c := range m.calls(t) {
		want := strings.Contains(c.Answers.Place.Text, "Oak") && c.Answers.Place.Lat < 42.5
		if got := len(offers) == 1 && offers[0] == c.ID; got != want {
			t.Errorf("the swarm at %.3f was offered: %v, want %v (of %d offers)", c.Answers.Place.Lat, got, want, len(offers))
		}
	}
}

// TestAfterThisOne holds when a catcher who is on a job is taken to be free.
func TestAfterThisOne(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: reportAt(42.446, -76.49)})
	m.wait(t, 11*time.Minute)
	m.hear(t, Said{Event: "tw:2", From: walkers[1], Text: reportAt(42.476, -76.52)})
	calls := map[string]Call{}
	for _, c := range m.calls(t) {
		calls[string(c.Caller.Address)] = c
	}
	first, second := calls[string(walkers[0])].Reference, calls[string(walkers[1])].Reference
	m.hear(t, Said{Event: "tw:3", From: walkers[4], Text: "TAKE " + first})
	m.hear(t, Said{Event: "tw:4", From: walkers[4], Text: "ETA 30 " + first})
	if got := m.hear(t, Said{Event: "tw:5", From: walkers[4], Text: "NEXT " + second}); got != OutcomeKept {
		t.Fatalf("after this one, with others asked, is %q", got)
	}
	byRef := func(ref string) (found Call) {
		for _, c := range m.calls(t) {
			if c.Reference == ref {
				found = c
			}
		}
		return found
	}
	if c := byRef(second); c.kept() == nil || !c.kept().Starts.Equal(m.now.Add(30*time.Minute+jobTakes)) {
		t.Errorf("the fallback is %+v, to start half an hour and %v from now", c.kept(), jobTakes)
	}
	m.hear(t, Said{Event: "tw:6", From: walkers[4], Text: "BOXED " + first})
	if c := byRef(second); !c.heldBy("ada") || !c.Holder.ETA.IsZero() {
		t.Errorf("with the box standing, the next one is held by %+v", c.Holder)
	}
}
