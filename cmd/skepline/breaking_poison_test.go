package main

import (
	"bytes"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestBreakPoison (B22) sends what nobody can read, spoils a document, and plants a fault into
// the decision over one word. Each of that is answered or refused at once and stands in nobody
// else's way: the others are answered once, in the same time as without.
func TestBreakPoison(t *testing.T) {
	w := prepareWreck(t)
	w.steward(stewardAt)
	w.more = []string{"SKEPLINE_TEST_PANIC=xyzzy", "SKEPLINE_TEST_QUICK=1"}
	w.startRedis()
	w.start()
	w.warm()
	calm := w.others(nil)

	poisoned := w.caller()
	w.untilTaken(w.twilio.Text(poisoned, ourNumber, report))
	w.hears(poisoned, "?")
	client := redisAt(t, w.redisPort)
	spoilt := ""
	for _, key := range client.Keys(t.Context(), "*:d:person:*").Val() {
		// That of everybody who wrote so far; one of them writes again below.
		if spoilt = key; client.Set(t.Context(), key, "7 - {\"schema\":1,\"id\":17", 0).Err() != nil {
			t.Fatal("the document was not spoilt")
		}
	}
	if spoilt == "" {
		t.Fatal("no document to spoil")
	}

	answers := map[string]string{}
	for _, body := range []string{"\xff\xfe bees \xc3", strings.Repeat("bees ", 2000), "\x00\x01\x02", "\u202ebees", strings.Repeat("🐝", 400), "xyzzy, bees on my fence"} {
		number := w.caller()
		answers[number] = body
		if !w.post(w.twilio.Text(number, ourNumber, body)) {
			t.Errorf("%.10q… was not taken", body)
		}
	}
	// What nobody can store either comes out of the provider's log, as it would with a webhook lost.
	lost := w.caller()
	answers[lost] = "xyzzy"
	w.twilio.TextAt(time.Now().Add(-20*time.Second), lost, ourNumber, "xyzzy: nobody brought this one")
	if !w.post(w.twilio.Text(poisoned, ourNumber, "hello, is anybody there?")) {
		t.Error("a text of somebody whose document cannot be read was not taken")
	}
	if answer, err := http.Post(w.url+"/twilio/message", "application/x-www-form-urlencoded", bytes.NewReader(make([]byte, 1<<20))); err == nil {
		_ = answer.Body.Close() // its status is all that counts
		if answer.StatusCode < 400 || answer.StatusCode >= 500 {
			t.Errorf("a body of a megabyte is answered with %d", answer.StatusCode)
		}
	}
	for number, body := range answers {
		w.until("an answer to "+body[:min(10, len(body))], func() bool { return w.heard(number, 0) != "" })
		if strings.Contains(body, "xyzzy") && !strings.Contains(w.heard(number, 0), "911") {
			t.Errorf("whose text broke the decision reads %q", w.heard(number, 0))
		}
	}
	w.hears(poisoned, "a fault of ours")
	for _, words := range []string{"xyzzy, bees on my fence", "nobody brought this one", "is anybody there?"} {
		w.hears(stewardAt, words)
	}

	w.until("what broke to be parked", func() bool { return w.reading(`skepline_parked_events_total{kind="said"}`) == 3 })
	logs := w.logs.String()
	if strings.Contains(logs, "bees on my fence") || strings.Contains(logs, "is anybody there") {
		t.Error("the log repeats what people said")
	}
	time.Sleep(2 * time.Second) // the sweep reads the log again and again
	if parked, refused := w.reading(`skepline_parked_events_total{kind="said"}`), w.reading(`skepline_events_total{kind="said",outcome="error"}`); parked != 3 || refused != 0 {
		t.Errorf("%v events were parked, want 3; %v refused", parked, refused)
	}

	poison := w.others(func() { w.post(w.twilio.Text(w.caller(), ourNumber, "xyzzy again")) })
	t.Logf("others' webhooks: p50 %v p99 %v; beside poison p50 %v p99 %v", calm[len(calm)/2], calm[len(calm)*99/100], poison[len(poison)/2], poison[len(poison)*99/100])
	if long(t) && poison[len(poison)*99/100] > calm[len(calm)*99/100]+100*time.Millisecond {
		t.Error("poison slows the others down")
	}
	w.once(10, func() {})
	if parked := w.reading(`skepline_parked_events_total{kind="said"}`); parked <= 3 || parked > 20 {
		t.Errorf("%v events were parked, want at most 20 in ten minutes", parked)
	}
}

// warm lets a program that has just started make its connections.
func (w *wreck) warm() {
	for range 20 {
		w.untilTaken(w.twilio.Text(w.caller(), ourNumber, report))
	}
}

// others lets people report one after the other, with something happening all the time, and
// returns how long their webhooks took, sorted.
func (w *wreck) others(meanwhile func()) (took []time.Duration) {
	w.Helper()
	stop := make(chan struct{})
	var running sync.WaitGroup
	if meanwhile != nil {
		running.Go(func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(5 * time.Millisecond):
					meanwhile()
				}
			}
		})
	}
	for range rounds(w.T, 60) {
		form := w.twilio.Text(w.caller(), ourNumber, report)
		began := time.Now()
		w.untilTaken(form)
		took = append(took, time.Since(began).Round(10*time.Microsecond))
	}
	close(stop)
	running.Wait()
	slices.Sort(took)
	return took
}
