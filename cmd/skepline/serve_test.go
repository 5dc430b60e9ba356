package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot/standin"
)

// An SMS caller and Telegram catchers, with webhooks on both sides.
func TestServeSMSCallerTelegramCatchers(t *testing.T) {
	stores(t, func(t *testing.T, redisURL string) {
		w := openTown(t, redisURL, 1, "hook-secret")
		at := w.replicas[0].settings
		w.enrols("Ada", chatAddress(ada), at.Latitude+0.01, at.Longitude)
		w.enrols("Bram", chatAddress(bram), at.Latitude-0.01, at.Longitude)

		w.texts(gwen, report)
		w.sms(gwen, "911")
		w.texts(gwen, "14 Mill Lane")
		w.sms(gwen, "2 volunteers asked")
		offer := w.chat(ada, "Swarm")
		if strings.Contains(offer.Text, "14 Mill") {
			t.Errorf("the offer names the address: %q", offer.Text)
		}
		w.chat(bram, "Swarm") // an offer that has not gone out when another takes it never does

		w.telegram.Taps(ada, w.data(offer, "Take it"))
		w.bring()
		w.chat(ada, "14 Mill Lane")
		w.sms(gwen, "Ada")
		w.until("Bram's offer to be taken back", func() bool { return len(w.chat(bram, "Ada").Buttons) == 0 })
		w.until("an answer to the tap", func() bool { return len(w.telegram.Answers()) > 0 })

		w.telegram.Says(ada, "30")
		w.bring()
		w.sms(gwen, "there about")
		w.telegram.Says(ada, "THERE")
		w.bring()
		w.telegram.Says(ada, "BOXED")
		w.bring()
		w.sms(gwen, "in a box")
	})
}

// A Telegram caller and SMS catchers; Telegram is polled.
func TestServeTelegramCallerSMSCatchers(t *testing.T) {
	stores(t, func(t *testing.T, redisURL string) {
		w := openTown(t, redisURL, 1, "")
		at := w.replicas[0].settings
		w.enrols("Chidi", "sms:"+chidi, at.Latitude+0.01, at.Longitude)

		w.telegram.Says(lupe, report)
		w.chat(lupe, "911")
		w.telegram.Sends(lupe, map[string]any{"location": map[string]any{"latitude": at.Latitude, "longitude": at.Longitude + 0.01}})
		offer := w.sms(chidi, "TAKE")
		if offer.Callback == "" {
			t.Error("the offer asks for no delivery report")
		}
		w.posted(w.twilio.Report(offer.SID, "delivered", ""))

		w.texts(chidi, "TAKE")
		w.sms(chidi, "yours")
		w.chat(lupe, "Chidi")
		w.texts(chidi, "30")
		w.chat(lupe, "there about")
	})
}

// A webhook that comes twice counts once.
func TestServeRepeatedWebhook(t *testing.T) {
	w := openTown(t, "", 1, "hook-secret")
	text := w.twilio.Text(gwen, ourNumber, report)
	for range 3 {
		w.posted(w.twilio.SignedPost(publicURL+"/twilio/message", text))
	}
	const other = "+16075550143" // who sends the same once, for comparison
	w.texts(other, report)
	w.sms(other, "911")
	answers := func(to string) (n int) {
		for _, m := range w.twilio.Sent() {
			if m.To == to {
				n++
			}
		}
		return n
	}
	w.until("as many answers to three as to one", func() bool { return answers(gwen) > 0 && answers(gwen) == answers(other) })
}

func TestServeRefusesForgedWebhooks(t *testing.T) {
	w := openTown(t, "", 1, "hook-secret")
	form := w.twilio.Text(gwen, ourNumber, report)
	for _, row := range []struct {
		why, path, header, value string
		body                     string
		want                     int
	}{
		{"an SMS without a signature", "/twilio/message", "", "", form.Encode(), http.StatusForbidden},
		{"an SMS with a signature of another address", "/twilio/message", "X-Twilio-Signature", w.twilio.Sign(publicURL+"/twilio/status", form), form.Encode(), http.StatusForbidden},
		{"a report without a signature", "/twilio/status?m=1", "", "", url.Values{"MessageSid": {"SM1"}}.Encode(), http.StatusForbidden},
		{"a phone call without a signature", "/twilio/voice", "", "", url.Values{"CallSid": {"CA1"}}.Encode(), http.StatusForbidden},
		{"an update without the secret", "/telegram", "", "", `{"update_id":1}`, http.StatusUnauthorized},
		{"an update with another secret", "/telegram", "X-Telegram-Bot-Api-Secret-Token", "hook-secret2", `{"update_id":1}`, http.StatusUnauthorized},
	} {
		r, err := http.NewRequest(http.MethodPost, w.urls[0]+row.path, strings.NewReader(row.body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if row.header != "" {
			r.Header.Set(row.header, row.value)
		}
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close() // its status is all that counts
		if answer.StatusCode != row.want {
			t.Errorf("%s: got %d, want %d", row.why, answer.StatusCode, row.want)
		}
	}
	w.texts("+16075550143", report)
	w.sms("+16075550143", "911")
	if slices.ContainsFunc(w.twilio.Sent(), func(m standin.TwilioSent) bool { return m.To == gwen }) {
		t.Error("a forged webhook was acted on")
	}
}

// Without Redis a webhook is refused at once, so that the provider tries elsewhere in time.
func TestServeWithoutRedis(t *testing.T) {
	redisURL, kill := ownRedis(t)
	w := openTown(t, redisURL, 1, "hook-secret")
	w.until("readiness", func() bool { return w.status("/readyz") == http.StatusOK })
	kill()
	began := time.Now()
	answer, err := w.twilio.SignedPost(publicURL+"/twilio/message", w.twilio.Text(gwen, ourNumber, report))
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close() // its status is all that counts
	if took := time.Since(began); answer.StatusCode != http.StatusServiceUnavailable || took > 3*time.Second {
		t.Errorf("got %d after %v, want 503 within 3 s", answer.StatusCode, took)
	}
	w.until("to be not ready", func() bool { return w.status("/readyz") == http.StatusServiceUnavailable })
	if code := w.status("/healthz"); code != http.StatusOK {
		t.Errorf("/healthz gave %d; the program itself is well", code)
	}
}

func (w *town) status(path string) int {
	w.Helper()
	answer, err := http.Get(w.urls[0] + path)
	if err != nil {
		w.Fatal(err)
	}
	_ = answer.Body.Close() // its status is all that counts
	return answer.StatusCode
}

// TestServeRace lets six catchers tap at the same moment for each of thirty swarms, on two
// replicas, everything twice: each swarm gets one of them, and the others hear so.
func TestServeRace(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	const calls, takers = 30, 6 // as few as one round surely asks
	w := openTown(t, realRedis(t), 2, "hook-secret")
	at := w.replicas[0].settings
	w.bring()
	var crews [calls][takers]standin.TelegramPerson
	for call := range crews {
		// Far enough apart that no crew is asked for the swarm of another.
		lat, lon := at.Latitude+0.4*float64(call%6-3), at.Longitude+0.6*float64(call/6-2)
		for i := range takers {
			p := standin.TelegramPerson{ID: int64(5560000 + call*takers + i), Name: fmt.Sprintf("Taker%d-%d", call, i)}
			crews[call][i] = p
			w.enrols(p.Name, chatAddress(p), lat+0.01, lon)
		}
		caller := standin.TelegramPerson{ID: int64(5570000 + call), Name: "Caller"}
		w.telegram.Says(caller, report)
		w.telegram.Sends(caller, map[string]any{"location": map[string]any{"latitude": lat, "longitude": lon}})
	}
	w.bring()

	var bodies []string // of everybody's tap, once all have their offer
	for _, crew := range crews {
		for _, p := range crew {
			bodies = append(bodies, w.tap(p, w.data(w.chat(p, "Swarm"), "Take it")))
		}
	}
	var taps sync.WaitGroup
	for i, body := range bodies {
		for again := range 2 {
			taps.Go(func() { w.update(w.urls[(i+again)%2], body, 5) })
		}
	}
	taps.Wait()

	for call, crew := range crews {
		w.until(fmt.Sprintf("an answer to each for swarm %d", call), func() bool { return w.told(crew[:]) == takers && w.winners(crew[:]) > 0 })
	}
	for call, crew := range crews { // after the last answer for the last swarm
		if n := w.winners(crew[:]); n != 1 {
			t.Errorf("swarm %d has %d catchers with its address, want 1", call, n)
		}
	}
	// A second promise would be held back at delivery; the taps' outcomes show it all the same.
	if n := w.wins(); n != 2*calls {
		t.Errorf("%d taps were told \"yours\", want %d: one for each swarm, each brought twice", n, 2*calls)
	}
}

// wins counts the taps that were told "yours", on all replicas: every tap counts as often as
// it came.
func (w *town) wins() (n int) {
	w.Helper()
	for _, s := range w.replicas {
		page := httptest.NewRecorder()
		s.metrics.Handler().ServeHTTP(page, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		for line := range strings.Lines(page.Body.String()) {
			var here int
			if _, err := fmt.Sscanf(line, `skepline_events_total{kind="tapped",outcome="won"} %d`, &here); err == nil {
				n += here
			}
		}
	}
	return n
}

// tap returns the update of a press on a button.
func (w *town) tap(p standin.TelegramPerson, data string) string {
	id := w.telegram.Taps(p, data)
	return fmt.Sprintf(`{"update_id":%d,"callback_query":{"id":"%d","from":{"id":%d,"is_bot":false,"first_name":"%s"},"chat_instance":"1","data":"%s",`+
		`"message":{"message_id":1,"date":1,"chat":{"id":%d,"type":"private"}}}}`, id, id, p.ID, p.Name, data, p.ID)
}

// update brings an update; one that could not be taken is brought again, as Telegram does.
func (w *town) update(replica, body string, again int) {
	r, err := http.NewRequest(http.MethodPost, replica+"/telegram", strings.NewReader(body))
	if err != nil {
		w.Error(err)
		return
	}
	r.Header.Set("X-Telegram-Bot-Api-Secret-Token", w.secret)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		w.Error(err)
		return
	}
	_ = answer.Body.Close() // its status is all that counts
	if answer.StatusCode == http.StatusServiceUnavailable && again > 0 {
		w.update(replica, body, again-1)
		return
	}
	if answer.StatusCode != http.StatusOK {
		w.Errorf("a tap was answered with %d", answer.StatusCode)
	}
}

// winners counts those of a crew who were given a swarm: only a claim's message is protected
// from being passed on.
func (w *town) winners(crew []standin.TelegramPerson) int {
	won := map[int64]bool{}
	for _, m := range w.telegram.Sent() {
		if protected, _ := m.Params["protect_content"].(bool); protected {
			won[m.Chat] = true
		}
	}
	n := 0
	for _, p := range crew {
		if won[p.ID] {
			n++
		}
	}
	return n
}

// told counts those of a crew whose offer no longer has buttons to take it.
func (w *town) told(crew []standin.TelegramPerson) int {
	n := 0
	for _, p := range crew {
		open := slices.ContainsFunc(w.telegram.Sent(), func(m standin.TelegramSent) bool {
			return m.Chat == p.ID && slices.ContainsFunc(m.Buttons, func(row []standin.TelegramButton) bool {
				return slices.ContainsFunc(row, func(b standin.TelegramButton) bool { return b.Text == "Take it" })
			})
		})
		if !open {
			n++
		}
	}
	return n
}
