package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/notify"
)

// opens opens the hotline's store beside the program.
func (w *wreck) opens() (*bot.Hotline, *store.Store) {
	w.Helper()
	environment := w.environment("127.0.0.1:0", "127.0.0.1:0")
	term := &terminal{in: strings.NewReader(""), out: io.Discard, errs: &bytes.Buffer{}, getenv: func(n string) string { return environment[n] }}
	c, err := term.config(w.file)
	if err != nil {
		w.Fatal(err)
	}
	st, err := store.Open(store.Options{URL: c.env.RedisURL.Reveal(), Hotline: c.settings.Tag, Secrets: c.secrets()})
	if err != nil {
		w.Fatal(err)
	}
	w.Cleanup(func() { _ = st.Close() })
	h, err := c.hotline(st, &clock{})
	if err != nil {
		w.Fatal(err)
	}
	return h, st
}

// enrols adds catchers at the middle of the hotline, each under a number of their own.
func (w *wreck) enrols(h *bot.Hotline, numbers ...string) {
	w.Helper()
	for _, number := range numbers {
		catcher := notify.Catcher{ID: "k" + number[1:], Name: nameOf(number), Address: notify.Address("sms:" + number),
			Lat: h.Settings.Latitude, Lon: h.Settings.Longitude, ReachKm: 20, MaxHeightM: 4, JobsADay: 20}
		if _, err := h.Hear(w.Context(), bot.Enrolled{Event: nonce(), Catcher: catcher}); err != nil {
			w.Fatal(err)
		}
	}
}

// dismisses takes catchers off the roster again.
func (w *wreck) dismisses(h *bot.Hotline, numbers ...string) {
	w.Helper()
	for _, number := range numbers {
		if _, err := h.Hear(w.Context(), bot.Dismissed{Event: nonce(), Catcher: "k" + number[1:]}); err != nil {
			w.Fatal(err)
		}
	}
}

// nameOf makes a first name out of a number's last digits.
func nameOf(number string) string {
	name := []rune("Kit")
	for _, digit := range number[len(number)-7:] {
		name = append(name, 'a'+digit-'0')
	}
	return string(name)
}

// someCatchers are the numbers of n catchers for a round, none of whom was asked in another.
func someCatchers(round, n int) (numbers []string) {
	for i := range n {
		at := round*n + i
		numbers = append(numbers, fmt.Sprintf("+1%d5550%03d", 301+at/100, 100+at%100))
	}
	return numbers
}

var yours = regexp.MustCompile(`^Yours: ([0-9A-Z]{4})\.`)

// ledger joins what Redis holds with what the provider took, and holds that every take that is
// stored was told to whom it names, and none to anybody else. It returns how many calls were
// taken, and how many winners read it twice.
func (w *wreck) ledger() (taken, twice int) {
	w.Helper()
	told := map[string]map[string]int{} // reference -> number -> copies
	for _, m := range w.twilio.Sent() {
		if ref := yours.FindStringSubmatch(m.Body); ref != nil {
			if told[ref[1]] == nil {
				told[ref[1]] = map[string]int{}
			}
			told[ref[1]][m.To]++
		}
	}
	_, st := w.opens()
	client := redisAt(w.T, w.redisPort)
	var keys []bot.Key
	for _, key := range client.Keys(w.Context(), "*:d:call:*").Val() {
		_, id, _ := strings.Cut(key, ":d:call:")
		keys = append(keys, bot.Key{Kind: bot.KindCall, ID: id})
	}
	for part := range slices.Chunk(keys, 200) {
		docs, err := st.Documents(w.Context(), part)
		if err != nil {
			w.Fatal(err)
		}
		for _, doc := range docs {
			var c bot.Call
			if err := json.Unmarshal(doc.Body, &c); err != nil {
				w.Fatal(err)
			}
			winners := map[string]bool{}
			for _, o := range c.Offers {
				if o.State == notify.AskTaken || o.State == notify.AskDropped {
					winners[o.Party.Address.Number()] = true
				}
			}
			if len(winners) != c.Epoch || len(told[c.Reference]) != len(winners) {
				w.Errorf("%s (%s): %d takes, won by %v, told to %v", c.Reference, c.Stage, c.Epoch, winners, told[c.Reference])
			}
			for number, copies := range told[c.Reference] {
				if !winners[number] {
					w.Errorf("%s: %s was told that it is theirs, won by %v", c.Reference, number, winners)
				}
				if copies > 1 {
					twice++
				}
			}
			if c.Epoch > 0 {
				taken++
			}
			delete(told, c.Reference)
		}
	}
	for ref, numbers := range told {
		w.Errorf("%s was told to %v, and Redis knows no such call", ref, numbers)
	}
	return taken, twice
}

// postTo posts a webhook to one of several programs and reports whether it was acknowledged.
func (w *wreck) postTo(program string, form url.Values) bool {
	r, err := http.NewRequest(http.MethodPost, program+"/twilio/message", strings.NewReader(form.Encode()))
	if err != nil {
		return false
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("X-Twilio-Signature", w.twilio.Sign(publicURL+"/twilio/message", form))
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return false
	}
	_ = answer.Body.Close() // its status is all that counts
	return answer.StatusCode == http.StatusOK
}

// TestBreakRace (B2, B3) lets everybody whom a call's first round asks say yes at the same moment,
// each twice, to different programs. One has it, the others hear that, nothing is refused.
func TestBreakRace(t *testing.T) {
	const near, fewest = 8, 3 // catchers; of them the round asks as many as its rule wants
	w := prepareWreck(t)
	w.startRedis()
	var programs []string
	var processes []*exec.Cmd
	replicas := 2
	if long(t) {
		replicas = 5
	}
	for range replicas {
		w.start()
		programs, processes = append(programs, w.url), append(processes, w.program)
	}
	defer func() {
		for _, p := range processes[:replicas-1] { // the last is ended with everything else
			end(p, syscall.SIGKILL)
		}
	}()
	h, _ := w.opens()
	var mu sync.Mutex
	var took []time.Duration
	takes := 0
	for round := range rounds(t, 4) {
		catchers := someCatchers(round, near)
		w.enrols(h, catchers...)
		before, number := len(w.twilio.Sent()), w.caller()
		w.untilTaken(w.twilio.Text(number, ourNumber, report))
		w.untilTaken(w.twilio.Text(number, ourNumber, "14 Mill Lane"))
		var takers []string
		for _, o := range w.looking(h).Offers {
			takers = append(takers, o.Party.Address.Number())
		}
		if len(takers) < fewest {
			t.Fatalf("round %d: %d were asked", round, len(takers))
		}
		takes += len(takers)
		w.until("an offer to each", func() bool { return w.count(before, takers, "Reply TAKE") == len(takers) })
		asked := len(w.twilio.Sent())
		var all sync.WaitGroup
		for i, catcher := range takers {
			form := w.twilio.Text(catcher, ourNumber, "TAKE")
			for copied := range 2 {
				program := programs[(i+copied+rand.IntN(replicas))%replicas]
				all.Go(func() {
					began := time.Now()
					if !w.postTo(program, form) {
						t.Errorf("round %d: a take was refused", round)
					}
					mu.Lock()
					defer mu.Unlock()
					took = append(took, time.Since(began))
				})
			}
		}
		all.Wait()
		w.until("everybody to hear", func() bool { return w.count(asked, takers, "Yours: ", " took ") == len(takers) })
		if won := w.count(asked, takers, "Yours: "); won != 1 {
			t.Errorf("round %d: %d were told that it is theirs", round, won)
		}
		w.untilTaken(w.twilio.Text(number, ourNumber, "GONE"))
		w.dismisses(h, catchers...)
	}
	taken, twice := w.ledger()
	if taken != rounds(t, 4) || twice > 0 || len(w.copies()) > 0 {
		t.Errorf("%d calls taken of %d, %d told twice; sent more than once: %q", taken, rounds(t, 4), twice, w.copies())
	}
	slices.Sort(took)
	t.Logf("%d programs, %d calls, %d takes (each brought twice): %d won; a take takes p50 %v, p99 %v", replicas, rounds(t, 4), takes, taken,
		took[len(took)/2].Round(100*time.Microsecond), took[len(took)*99/100].Round(100*time.Microsecond))
}

// looking returns the one call that looks for a catcher.
func (w *wreck) looking(h *bot.Hotline) bot.Call {
	w.Helper()
	board, err := h.Store.Board(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	for id, card := range board.Calls {
		if card.Stage != string(bot.Looking) {
			continue
		}
		docs, err := h.Store.Documents(w.Context(), []bot.Key{{Kind: bot.KindCall, ID: id}})
		if err != nil {
			w.Fatal(err)
		}
		var call bot.Call
		if err := json.Unmarshal(docs[0].Body, &call); err != nil {
			w.Fatal(err)
		}
		return call
	}
	w.Fatal("no call looks for a catcher")
	return bot.Call{}
}

// count counts who of some people read words since a message, any of several.
func (w *wreck) count(from int, people []string, words ...string) (n int) {
	read := map[string]bool{}
	for _, m := range w.twilio.Sent()[from:] {
		for _, words := range words {
			if strings.Contains(m.Body, words) && slices.Contains(people, m.To) {
				read[m.To] = true
			}
		}
	}
	return len(read)
}
