package main

import (
	"fmt"
	"math/rand/v2"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"skepline/bot/standin"
)

// long reports whether the tests may take as long as they like and measure time.
func long(t *testing.T) bool { return rounds(t, 1) > 1 }

// TestBreakTake (B1) kills the program within 50 ms of two catchers' yes. One of them has the
// call, is told so in the same words only, and the other never is.
func TestBreakTake(t *testing.T) {
	w := openWreck(t)
	h, _ := w.opens()
	var waits []time.Duration // from the new program's readiness until its winner reads it
	before, acknowledged := 0, 0
	for round := range rounds(t, 2) {
		// Two who were not asked a moment ago: nobody gets two calls at once.
		catchers := someCatchers(round, 2)
		w.enrols(h, catchers...)
		from := len(w.twilio.Sent())
		number := w.caller()
		w.untilTaken(w.twilio.Text(number, ourNumber, report))
		w.untilTaken(w.twilio.Text(number, ourNumber, "14 Mill Lane"))
		w.until("two offers", func() bool { return w.count(from, catchers, "Reply TAKE") == 2 })
		takes := []url.Values{w.twilio.Text(catchers[0], ourNumber, "TAKE"), w.twilio.Text(catchers[1], ourNumber, "TAKE")}
		var posts sync.WaitGroup
		var taken atomic.Int64
		for _, form := range takes {
			posts.Go(func() {
				if w.post(form) {
					taken.Add(1)
				}
			})
		}
		time.Sleep(time.Duration(rand.IntN(50_000)) * time.Microsecond)
		end(w.program, syscall.SIGKILL)
		posts.Wait()
		acknowledged += int(taken.Load())
		if w.count(from, catchers, "Yours:") > 0 {
			before++
		}
		w.start()
		ready := time.Now()
		for _, form := range takes {
			w.untilTaken(form)
		}
		w.until("both to hear", func() bool { return w.count(from, catchers, "Yours:", " took ") == 2 })
		waits = append(waits, time.Since(ready))
		if won := w.count(from, catchers, "Yours:"); won != 1 {
			t.Errorf("round %d: told to %d that it is theirs", round, won)
		}
		w.untilTaken(w.twilio.Text(number, ourNumber, "GONE"))
		w.dismisses(h, catchers...)
	}
	time.Sleep(time.Second) // for a second copy, if there is one to come
	taken, twice := w.ledger()
	slices.Sort(waits)
	t.Logf("%d rounds: %d calls taken, %d winners told before the kill, %d takes acknowledged before it; %d told twice in the same words; both heard p50 %v, at most %v after the new program was ready",
		rounds(t, 2), taken, before, acknowledged, twice, waits[len(waits)/2].Round(time.Millisecond), waits[len(waits)-1].Round(time.Millisecond))
	if taken != rounds(t, 2) || waits[len(waits)-1] > 10*time.Second {
		t.Errorf("%d calls of %d were taken; the longest wait was %v", taken, rounds(t, 2), waits[len(waits)-1])
	}
}

// TestBreakWebhooks (B18) loses one webhook in ten. The provider's log has them all.
func TestBreakWebhooks(t *testing.T) {
	w := prepareWreck(t)
	if !long(t) {
		w.more = []string{"SKEPLINE_TEST_QUICK=1"}
	}
	w.startRedis()
	w.start()
	lost := map[string]time.Time{}
	for i := range rounds(t, 30) {
		number := w.caller()
		if i%10 == 3 {
			at := time.Now()
			if !long(t) {
				at = at.Add(-20 * time.Second) // the log is trusted for what is older than a late webhook
			}
			w.twilio.TextAt(at, number, ourNumber, report)
			lost[number] = time.Now()
			continue
		}
		w.untilTaken(w.twilio.Text(number, ourNumber, report))
	}
	for number, at := range lost {
		deadline := time.Now().Add(90 * time.Second)
		for w.heard(number, 0) == "" {
			if time.Now().After(deadline) {
				t.Fatalf("a lost text was not found in %v", time.Since(at))
			}
			time.Sleep(20 * time.Millisecond)
		}
		t.Logf("a text whose webhook was lost was answered after %v", time.Since(at).Round(100*time.Millisecond))
	}
	if twice := w.copies(); len(twice) > 0 {
		t.Errorf("sent more than once: %q", twice)
	}
}

// TestBreakBurst (B24) lets many people report at once, one of them with a reaction to a
// sting. Everybody is answered, and that one before those who came at the same moment.
func TestBreakBurst(t *testing.T) {
	w := openWreck(t)
	for i := range 20 {
		w.enrol(fmt.Sprintf("Catcher%c", 'A'+i), fmt.Sprintf("+1646555%04d", 100+i))
	}
	many, times := 60, []time.Duration(nil)
	if long(t) {
		many = 600
	}
	began := time.Now()
	numbers := make([]string, many)
	for i := range numbers {
		numbers[i] = w.caller()
		form := w.twilio.Text(numbers[i], ourNumber, report)
		if i == many/2 {
			form.Set("Body", "bees stung me and i cant breathe")
		}
		at := time.Now()
		w.untilTaken(form)
		times = append(times, time.Since(at))
	}
	took := time.Since(began)
	slices.Sort(times)
	w.until("everybody to be answered", func() bool {
		answered := map[string]bool{}
		for _, m := range w.twilio.Sent() {
			answered[m.To] = true
		}
		for _, n := range numbers {
			if !answered[n] {
				return false
			}
		}
		return true
	})
	place := func(number string) int {
		for i, m := range w.twilio.Sent() {
			if m.To == number {
				return i
			}
		}
		return -1
	}
	t.Logf("%d reports in %v; webhooks p50 %v, p99 %v; the safety text was number %d of %d", many, took.Round(time.Millisecond),
		times[many/2].Round(time.Millisecond), times[many*99/100].Round(time.Millisecond), place(numbers[many/2]), len(w.twilio.Sent()))
	late := 0
	for _, n := range numbers[many/2+1:] {
		if place(n) < place(numbers[many/2]) {
			late++
		}
	}
	if late > 16 { // what was in the providers' hands already
		t.Errorf("%d who wrote later were answered before the one who cannot breathe", late)
	}
}

// TestBreakPoller (B19) lets two programs poll one bot, and kills the one that does. No text is
// lost, and but for the one that was on its way none is answered twice.
func TestBreakPoller(t *testing.T) {
	w := prepareWreck(t)
	spec, err := standin.ReadTelegramSpec(root + "/testdata/published/telegram_methods.json")
	if err != nil {
		t.Fatal(err)
	}
	bot := standin.NewTelegram(spec, t)
	t.Cleanup(bot.Close)
	w.more = []string{"TELEGRAM_BOT_TOKEN=" + bot.Token, "TELEGRAM_API_URL=" + bot.URL}
	if !long(t) {
		w.more = append(w.more, "SKEPLINE_TEST_QUICK=1") // a lease of 3 s, not of 30
	}
	w.startRedis()
	w.start()
	first := w.program
	w.start()
	defer end(first, syscall.SIGKILL)
	said := 0
	says := func() standin.TelegramPerson {
		said++
		p := standin.TelegramPerson{ID: int64(5550300 + said), Name: "Lupe", Language: "en"}
		bot.Says(p, report)
		return p
	}
	answers := func(p standin.TelegramPerson) (n int) {
		for _, m := range bot.Sent() {
			if m.Chat == p.ID {
				n++
			}
		}
		return n
	}
	answered := func(p standin.TelegramPerson) bool { return answers(p) > 0 }
	for range 5 {
		p := says()
		// Both: one to each chat may be on its way when the program is killed.
		w.until("two answers on Telegram", func() bool { return answers(p) == 2 })
	}
	before := says()
	end(first, syscall.SIGKILL)
	ended, p := time.Now(), says()
	w.until("the other program to take over", func() bool { return answered(p) && answered(before) })
	t.Logf("taken over after %v", time.Since(ended).Round(100*time.Millisecond))
	if took := time.Since(ended); took > 45*time.Second {
		t.Errorf("taken over after %v", took)
	}
	time.Sleep(500 * time.Millisecond)
	seen := map[string]int{}
	for _, m := range bot.Sent() {
		seen[fmt.Sprint(m.Chat, m.Text)]++
	}
	twice := 0
	for words, n := range seen {
		if n > 1 {
			twice++
			t.Logf("sent %d times: %q", n, words)
		}
	}
	// Telegram cannot be asked whether it took what a killed program was sending.
	if twice > 1 {
		t.Errorf("%d texts were sent more than once", twice)
	}
}
