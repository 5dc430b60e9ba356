package sms

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/standin"
)

const (
	gwen   = "+16075550142"
	ours   = "+16075550100"
	public = "https://bees.example.org"
)

// hearer keeps what it hears, and fails when told to.
type hearer struct {
	mu      sync.Mutex
	events  []bot.Event
	reports []bot.DeliveryReport
	reasons []string
	fail    func(bot.EventID) error
}

func (h *hearer) Hear(_ context.Context, e bot.Event) (bot.Outcome, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.fail != nil {
		if err := h.fail(e.ID()); err != nil {
			return "", err
		}
	}
	h.events = append(h.events, e)
	return "heard", nil
}

func (h *hearer) Report(_ context.Context, r bot.DeliveryReport, reason string) error {
	if h.fail != nil {
		return h.fail("")
	}
	h.reports, h.reasons = append(h.reports, r), append(h.reasons, reason)
	return nil
}

var errStore = errors.New("the store is away")

func always(bot.EventID) error { return errStore }

// clock stands still unless it is moved. Its Sleep moves it and calls slept.
type clock struct {
	now   time.Time
	slept func(d time.Duration)
}

func (c *clock) Now() time.Time { return c.now }

func (c *clock) Sleep(ctx context.Context, d time.Duration) error {
	c.now = c.now.Add(d)
	if c.slept != nil {
		c.slept(d)
	}
	return ctx.Err()
}

// notes are named leases and marks.
type notes struct {
	marks    map[string]string
	taken    bool // somebody else has the lease
	released int
}

func (n *notes) Hold(context.Context, string, string, time.Duration) (bool, error) {
	return !n.taken, nil
}
func (n *notes) Release(context.Context, string, string) error { n.released++; return nil }
func (n *notes) Mark(_ context.Context, name string) (string, error) {
	return n.marks[name], nil
}
func (n *notes) SetMark(_ context.Context, name, value string) error {
	n.marks[name] = value
	return nil
}

// house is a door between a stand-in for Twilio and a hearer.
type house struct {
	*Door
	twilio *standin.Twilio
	heard  *hearer
	clock  *clock
	notes  *notes
	logs   *bytes.Buffer
}

func open(t *testing.T) *house {
	t.Helper()
	spec, err := standin.ReadTwilioSpec("../../testdata/published/twilio_messages.json")
	if err != nil {
		t.Fatal(err)
	}
	h := &house{twilio: standin.NewTwilio(spec, t), heard: &hearer{}, clock: &clock{now: time.Now().Truncate(time.Second)},
		notes: &notes{marks: map[string]string{}}, logs: &bytes.Buffer{}}
	t.Cleanup(h.twilio.Close)
	h.Door = New(Config{
		AccountSID: h.twilio.AccountSID, AuthTokens: []string{h.twilio.AuthToken}, From: ours,
		APIURL: h.twilio.URL, PublicURL: public, Hearer: h.heard, Reports: h.heard,
		Holder: h.notes, Marks: h.notes, Owner: "replica-1", Clock: h.clock,
		Log:        slog.New(slog.NewTextHandler(h.logs, &slog.HandlerOptions{Level: slog.LevelDebug})),
		VoiceWords: map[string]string{"es": "Emergencia: 911 & más.", "en": "Emergency: 911. Text us."},
	})
	return h
}

// serve routes as the program does, and returns the answer to a webhook signed by Twilio.
func (h *house) serve(r *http.Request) *httptest.ResponseRecorder {
	mux := http.NewServeMux()
	mux.HandleFunc("/twilio/message", h.ServeMessage)
	mux.HandleFunc("/twilio/status", h.ServeStatus)
	mux.HandleFunc("/twilio/voice", h.ServeVoice)
	w := httptest.NewRecorder()
	mux.ServeHTTP(w, r)
	return w
}

func (h *house) webhook(target string, params url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodPost, target, strings.NewReader(params.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("X-Twilio-Signature", h.twilio.Sign(public+target, params))
	return r
}

// with returns the parameters with some of them set.
func with(p url.Values, pairs ...string) url.Values {
	p = maps.Clone(p)
	for i := 0; i < len(pairs); i += 2 {
		p.Set(pairs[i], pairs[i+1])
	}
	return p
}

// secrets holds that no log line has the token, a whole number or what a person wrote.
func (h *house) secrets(t *testing.T, texts ...string) {
	t.Helper()
	for _, secret := range append(texts, h.twilio.AuthToken, gwen, strings.TrimPrefix(gwen, "+1")) {
		if strings.Contains(h.logs.String(), secret) {
			t.Errorf("%q stands in the log:\n%s", secret, h.logs)
		}
	}
}
