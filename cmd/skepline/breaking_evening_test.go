package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// An evening that a large county has once in years.
const (
	eveningReports  = 2000
	eveningCatchers = 300
	eveningLasts    = 10 * time.Minute
)

// TestBreakEvening (B24) plays two thousand reports of six texts each in ten minutes, and three
// hundred catchers on Telegram, a third of whose offers are taken. One caller of forty tells of
// a severe reaction. SKEPLINE_EVENING=4 lets everything go four times as fast, and the senders
// with it.
func TestBreakEvening(t *testing.T) {
	if !long(t) {
		t.Skip("takes minutes: only with SKEPLINE_BREAKING")
	}
	faster, err := strconv.ParseFloat(os.Getenv("SKEPLINE_EVENING"), 64)
	if err != nil || faster <= 0 {
		faster = 1
	}
	lasts := time.Duration(float64(eveningLasts) / faster)
	w := prepareWreck(t)
	// SMS by a short code: a slower number only has its queue. Telegram's own rates.
	w.settings("", fmt.Sprintf("[rates]\nsms = 100\ntelegram = %g\nchat = %g\n", 25*faster, faster))
	w.startRedis()
	p := newProvider(t)
	p.only = []byte("or PASS") // an offer
	listen, profiles := "127.0.0.1:"+freePort(t), "127.0.0.1:"+freePort(t)
	w.metrics = "127.0.0.1:" + freePort(t)
	w.program = exec.Command(os.Args[0])
	w.program.Env = append(os.Environ(), "SKEPLINE_TEST_PROFILE="+profiles, "TWILIO_ACCOUNT_SID="+loadAccount, "TWILIO_AUTH_TOKEN="+loadToken,
		"TWILIO_API_URL="+p.URL, "TELEGRAM_BOT_TOKEN="+loadBotToken, "TELEGRAM_API_URL="+p.URL, "TELEGRAM_WEBHOOK_SECRET="+loadSecret)
	for name, value := range w.environment(listen, w.metrics) {
		if !strings.HasPrefix(name, "TWILIO_") || name == "TWILIO_FROM" {
			w.program.Env = append(w.program.Env, name+"="+value)
		}
	}
	w.program.Stderr = &w.logs
	if err := w.program.Start(); err != nil {
		t.Fatal(err)
	}
	w.url = "http://" + listen
	w.until("the program to be ready", func() bool {
		answer, err := http.Get(w.url + "/readyz")
		if err != nil {
			return false
		}
		_ = answer.Body.Close() // its status is all that counts
		return answer.StatusCode == http.StatusOK
	})
	h, _ := w.opens()
	var people people
	people.around(h.Settings.Latitude, h.Settings.Longitude)
	stop := make(chan struct{})
	var catching sync.WaitGroup
	for i := range eveningCatchers {
		chat := strconv.Itoa(444_000_000 + i)
		c := notify.Catcher{ID: fmt.Sprint("catcher", i), Name: "Ada", Address: notify.Address("telegram:" + chat), ReachKm: 20, MaxHeightM: 4, JobsADay: 3,
			Lat: h.Settings.Latitude - 1 + float64(i%17)*2/17, Lon: h.Settings.Longitude - 1 + float64(i%19)*2/19}
		if _, err := h.Hear(t.Context(), bot.Enrolled{Event: nonce(), Catcher: c}); err != nil {
			t.Fatal(err)
		}
		offered := p.listen(chat)
		catching.Go(func() { w.catches(listen, chat, i, faster, offered, stop) })
	}

	var mu sync.Mutex
	var waits []time.Duration
	refused := 0
	var talking sync.WaitGroup
	began := time.Now()
	for i := range eveningReports {
		texts := wholeTalk
		if i%40 == 0 {
			texts = append([]string{"bees stung my wife and she cant breathe"}, wholeTalk...)
		}
		talk := people.smsTalk(texts)
		time.Sleep(time.Until(began.Add(lasts * time.Duration(i) / eveningReports)))
		talking.Go(func() {
			line, err := dial(listen)
			if err != nil {
				t.Error(err)
				return
			}
			defer line.Close()
			for _, post := range talk.posts {
				at := time.Now()
				status, err := line.post(post)
				took := time.Since(at)
				mu.Lock()
				waits = append(waits, took)
				if err != nil || status != http.StatusOK {
					refused++
				}
				mu.Unlock()
				if err != nil {
					return
				}
				time.Sleep(time.Duration(float64(4000+rand.IntN(8000))/faster) * time.Millisecond)
			}
		})
	}
	talking.Wait()
	took := time.Since(began)
	waiting := func() (n float64) {
		for _, class := range notify.Classes {
			n += w.reading(fmt.Sprintf("skepline_waiting_messages{class=%q}", class))
		}
		return n
	}
	left := waiting()
	for deadline := time.Now().Add(2 * time.Minute); waiting() > 0 && time.Now().Before(deadline); time.Sleep(time.Second) {
	}
	t.Logf("%v messages waited when the last text came, %v some time later", left, waiting())
	close(stop)
	catching.Wait()
	slices.Sort(waits)
	safety, offers := w.quantile("sms", "safety", 0.99), w.quantile("telegram", "offer", 0.95)
	t.Logf("%d reports, %d texts in %v, %d catchers: %d texts refused; webhooks p50 %v, p99 %v, longest %v", eveningReports, len(waits), took.Round(time.Second), eveningCatchers,
		refused, waits[len(waits)/2].Round(100*time.Microsecond), waits[len(waits)*99/100].Round(100*time.Microsecond), waits[len(waits)-1].Round(time.Millisecond))
	t.Logf("safety words with the provider: 99 of 100 within %v s (%v of them); offers by Telegram: 95 of 100 within %v s (%v of them); %d messages in all; %v calls taken; memory at most %d MB",
		safety, w.reading(`skepline_accepted_seconds_count{channel="sms",class="safety"}`), offers, w.reading(`skepline_accepted_seconds_count{channel="telegram",class="offer"}`),
		p.taken.Load(), w.reading(`skepline_events_total{kind="said",outcome="won"}`), mostMemory(t, w.program.Process.Pid))
	for _, class := range append(slices.Clone(notify.Classes), "change") {
		if n := w.reading(fmt.Sprintf("skepline_accepted_seconds_count{channel=\"telegram\",class=%q}", class)); n > 0 {
			t.Logf("Telegram took %v messages of class %s, 95 of 100 within %v s", n, class, w.quantile("telegram", string(class), 0.95))
		}
	}
	if refused > 0 || waits[len(waits)*99/100] > 300*time.Millisecond || safety > 3 || offers > 30 || mostMemory(t, w.program.Process.Pid) > 128 {
		t.Error("more than the design allows: no refusal, webhooks p99 300 ms, safety p99 3 s, offers p95 30 s, 128 MB")
	}
}

// catches is a catcher who says yes to a third of what comes, some seconds later.
func (w *wreck) catches(listen, chat string, who int, faster float64, offered <-chan struct{}, stop <-chan struct{}) {
	for n := 0; ; n++ {
		select {
		case <-stop:
			return
		case <-offered:
		}
		if rand.IntN(3) > 0 {
			continue
		}
		time.Sleep(time.Duration(float64(4000+rand.IntN(16000))/faster) * time.Millisecond)
		update := fmt.Sprintf(`{"update_id":%d,"message":{"message_id":%d,"from":{"id":%s,"is_bot":false,"first_name":"Ada","language_code":"en"},`+
			`"chat":{"id":%s,"first_name":"Ada","type":"private"},"date":1778608800,"text":"TAKE"}}`, 1_000_000+who*1000+n, n+1, chat, chat)
		line, err := dial(listen)
		if err != nil {
			w.Error(err)
			return
		}
		status, err := line.post(post("/telegram", update, "application/json", "X-Telegram-Bot-Api-Secret-Token: "+loadSecret))
		_ = line.Close() // all was read
		if err != nil || status != http.StatusOK {
			w.Errorf("a take was answered with %d, %v", status, err)
			return
		}
	}
}

// quantile is the upper edge of the bucket of skepline_accepted_seconds in which a share of the
// messages of a class are.
func (w *wreck) quantile(channel, class string, share float64) float64 {
	labels := fmt.Sprintf(`{channel=%q,class=%q`, channel, class)
	all := w.reading("skepline_accepted_seconds_count" + labels + "}")
	for _, edge := range []string{"0.05", "0.1", "0.25", "0.5", "1", "2", "3", "5", "10", "30", "60", "300", "900", "3600"} {
		if w.reading("skepline_accepted_seconds_bucket"+labels+`,le="`+edge+`"}`) >= share*all && all > 0 {
			seconds, _ := strconv.ParseFloat(edge, 64) // written above
			return seconds
		}
	}
	return 1e9
}

// mostMemory is the most that a process has had in memory, in MB (proc(5), VmHWM).
func mostMemory(t testing.TB, pid int) int {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := bytes.Cut(status, []byte("VmHWM:"))
	kb, err := strconv.Atoi(strings.Fields(string(rest))[0])
	if err != nil {
		t.Fatal(err)
	}
	return kb >> 10
}
