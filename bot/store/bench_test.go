package store

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// benchStore is a store on a real Redis that syncs its file once a second.
func benchStore(b *testing.B) *Store {
	server := ownServer(b)
	s, err := Open(Options{URL: "redis://" + server.addr, Hotline: "quillbrook", Secrets: testSecrets, Pace: quick.Pace})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = s.Close() })
	return s
}

// BenchmarkCommit is what an answer to a question costs: load, then a commit of two
// documents, a card, a timer and a message.
func BenchmarkCommit(b *testing.B) {
	s := benchStore(b)
	body := make([]byte, 1500)
	for i := range body {
		body[i] = 'x'
	}
	n := int64(0)
	for b.Loop() {
		event := bot.EventID(fmt.Sprint("tw:SM", n))
		if _, err := s.Load(b.Context(), event, "gwen", ""); err != nil {
			b.Fatal(err)
		}
		gwen, c1 := person("gwen", n, ""), call("c1", n, "")
		gwen.Pointer, gwen.Body, c1.Body = &c1.Key, body[:500], body
		_, err := s.Commit(b.Context(), bot.Change{
			Event: event, Payload: "0123456789ab", Outcome: "asked",
			Documents: []bot.Document{gwen, c1},
			Cards:     []bot.Card{{Field: "c:c1", Body: body[:150]}},
			Timers:    []bot.TimerChange{timer("c1/nudge", int(n), start)},
			Messages:  []notify.Message{text(fmt.Sprint("m", n), fmt.Sprint("p", n%1000), notify.Question)},
		})
		if err != nil {
			b.Fatal(err)
		}
		n++
	}
	reportRedis(b, s, n)
}

// reportRedis adds what Redis spent on scripts, by its own count.
func reportRedis(b *testing.B, s *Store, n int64) {
	b.Helper()
	stats, err := s.client.Info(b.Context(), "commandstats").Result()
	if err != nil {
		b.Fatal(err)
	}
	for line := range strings.Lines(stats) {
		if rest, ok := strings.CutPrefix(line, "cmdstat_evalsha:"); ok {
			var calls, usec int64
			if _, err := fmt.Sscanf(rest, "calls=%d,usec=%d", &calls, &usec); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(usec)/float64(n), "redis-µs")
		}
	}
}

// BenchmarkLease is what a message in flight costs: a lease and a finish.
func BenchmarkLease(b *testing.B) {
	s := benchStore(b)
	for i := range 200 {
		_, err := s.Commit(b.Context(), bot.Change{Event: bot.EventID(fmt.Sprint("tw:", i)),
			Messages: []notify.Message{chat(fmt.Sprint("m", i), fmt.Sprint("p", i), notify.Offer)}})
		if err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		leased, err := s.Lease(b.Context(), notify.Telegram, 1, time.Minute)
		if err != nil || len(leased.Items) != 1 {
			b.Fatal(err, len(leased.Items))
		}
		// Put back for now, so that the same messages serve again.
		err = s.Finish(b.Context(), notify.Done{Lease: leased.Items[0], Result: notify.Result{End: notify.RetryLater}})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkTrip is one bare round trip, to compare the others with.
func BenchmarkTrip(b *testing.B) {
	s := benchStore(b)
	for b.Loop() {
		if _, err := s.Now(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}
