package main

import (
	"context"
	"io"
	"net/http"
	"net/url"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// TestFloodOfForgedWebhooks measures how long honest webhooks take while forged ones arrive as
// fast as this machine can send them. It holds only that they are all answered and nothing of
// the flood is acted on: how fast depends on the machine. SKEPLINE_FLOOD=10 makes each part
// last that many seconds.
func TestFloodOfForgedWebhooks(t *testing.T) {
	seconds, _ := strconv.ParseFloat(os.Getenv("SKEPLINE_FLOOD"), 64)
	if seconds <= 0 {
		seconds = 0.3
	}
	lasts := time.Duration(seconds * float64(time.Second))
	redisURL, _ := ownRedis(t)
	w := openTownWith(t, redisURL, 1, "hook-secret", "[limits]\nnew_in_block_a_day = 10000\n")
	w.until("readiness", func() bool { return w.status("/readyz") == http.StatusOK })

	calm := w.honest(0, lasts)
	ctx, stop := context.WithCancel(t.Context())
	flood := w.flood(ctx, 32)
	hit := w.honest(10_000, lasts)
	stop()
	forged, passed := flood()
	t.Logf("calm: %s", calm)
	t.Logf("with %d forged webhooks a second: %s", int(float64(forged)/seconds), hit)
	if forged == 0 || passed > 0 {
		t.Errorf("of %d forged webhooks %d were not refused", forged, passed)
	}
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	t.Logf("%d MB taken from the system, the test's own share in it", memory.Sys>>20)
	if lines := strings.Count(w.logs.String(), "refused"); lines > 20+int(seconds) {
		t.Errorf("the flood wrote %d lines of log", lines)
	}
}

// honest sends signed texts of new callers, one after the other, and returns how long they took.
func (w *town) honest(first int, lasts time.Duration) string {
	w.Helper()
	var took []time.Duration
	for end := time.Now().Add(lasts); time.Now().Before(end); {
		from := "+1607555" + strconv.Itoa(first + len(took) + 10_000)[1:]
		form := w.twilio.Text(from, ourNumber, "HELP")
		began := time.Now()
		w.posted(w.twilio.SignedPost(publicURL+"/twilio/message", form))
		took = append(took, time.Since(began))
		time.Sleep(10 * time.Millisecond) // a busy evening: up to a hundred texts a second
	}
	slices.Sort(took)
	at := func(part float64) string {
		return took[min(len(took)-1, int(part*float64(len(took))))].Round(10 * time.Microsecond).String()
	}
	return strconv.Itoa(len(took)) + " honest webhooks, p50 " + at(0.5) + ", p99 " + at(0.99) + ", longest " + at(1)
}

// flood posts forged webhooks over so many connections until ctx ends. What it returns waits
// for that and counts them, and those that were not refused.
func (w *town) flood(ctx context.Context, connections int) func() (sent, passed int64) {
	var sent, passed atomic.Int64
	var all sync.WaitGroup
	body := url.Values{"AccountSid": {w.twilio.AccountSID}, "From": {gwen}, "To": {ourNumber}, "Body": {"forged"}, "MessageSid": {"SM" + strings.Repeat("0", 32)}}.Encode()
	client := &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: connections}}
	for range connections {
		all.Go(func() {
			for ctx.Err() == nil {
				r, err := http.NewRequestWithContext(ctx, http.MethodPost, w.urls[0]+"/twilio/message", strings.NewReader(body))
				if err != nil {
					return
				}
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				r.Header.Set("X-Twilio-Signature", strings.Repeat("A", 27)+"=")
				answer, err := client.Do(r)
				if err != nil {
					continue
				}
				_, _ = io.Copy(io.Discard, answer.Body) // so that the connection is used again
				_ = answer.Body.Close()
				sent.Add(1)
				if answer.StatusCode != http.StatusForbidden && answer.StatusCode != http.StatusServiceUnavailable {
					passed.Add(1)
				}
			}
		})
	}
	return func() (int64, int64) {
		all.Wait()
		return sent.Load(), passed.Load()
	}
}
