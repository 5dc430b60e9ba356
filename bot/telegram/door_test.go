package telegram

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/standin"
)

const (
	public = "https://bees.example.org"
	secret = "0123456789abcdef_-"
)

var (
	ada  = standin.TelegramPerson{ID: 5550101, Name: "Ada", Language: "en-GB"}
	bram = standin.TelegramPerson{ID: 5550102, Name: "Bram", Language: "es-MX"}
)

// hearer keeps what it hears, and fails when told to.
type hearer struct {
	mu     sync.Mutex
	events []bot.Event
	fail   func(bot.EventID) error
	news   chan struct{} // gets a token for each event heard
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
	h.news <- struct{}{}
	return "won", nil
}

var errStore = errors.New("the store is away")

func always(bot.EventID) error { return errStore }

// clock moves when it is told to, and wakes who sleeps until then.
type clock struct {
	mu     sync.Mutex
	now    time.Time
	sleeps []sleeper
	news   chan struct{} // gets a token for each new sleeper
}

type sleeper struct {
	until time.Time
	wake  chan struct{}
}

func newClock() *clock {
	return &clock{now: time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC), news: make(chan struct{}, 1000)}
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) Sleep(ctx context.Context, d time.Duration) error {
	s := sleeper{wake: make(chan struct{})}
	c.mu.Lock()
	s.until = c.now.Add(d)
	c.sleeps = append(c.sleeps, s)
	c.mu.Unlock()
	c.news <- struct{}{}
	select {
	case <-s.wake:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// later moves the clock.
func (c *clock) later(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	var left []sleeper
	for _, s := range c.sleeps {
		if s.until.After(c.now) {
			left = append(left, s)
			continue
		}
		close(s.wake)
	}
	c.sleeps = left
}

// leases is a store's named leases, for one name.
type leases struct {
	mu       sync.Mutex
	holder   string
	held     chan struct{} // gets a token for each Hold
	released int
}

func (l *leases) Hold(_ context.Context, _, owner string, _ time.Duration) (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.holder == "" {
		l.holder = owner
	}
	l.held <- struct{}{}
	return l.holder == owner, nil
}

func (l *leases) Release(_ context.Context, _, owner string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.holder == owner {
		l.holder = ""
		l.released++
	}
	return nil
}

func (l *leases) give(owner string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.holder = owner
}

// house is a door between a stand-in for Telegram and a hearer.
type house struct {
	*Door
	telegram *standin.Telegram
	heard    *hearer
	clock    *clock
	leases   *leases
	logs     *logs
}

// logs is a buffer that goroutines may write to.
type logs struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logs) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logs) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func open(t *testing.T) *house {
	t.Helper()
	spec, err := standin.ReadTelegramSpec("../../testdata/published/telegram_methods.json")
	if err != nil {
		t.Fatal(err)
	}
	h := &house{telegram: standin.NewTelegram(spec, t), heard: &hearer{news: make(chan struct{}, 1000)}, clock: newClock(),
		leases: &leases{held: make(chan struct{}, 1000)}, logs: &logs{}}
	t.Cleanup(h.telegram.Close)
	h.Door = New(Config{
		Token: h.telegram.Token, Secret: secret, APIURL: h.telegram.URL, PublicURL: public,
		Hearer: h.heard, Holder: h.leases, Owner: "replica-1", Clock: h.clock,
		Log: slog.New(slog.NewTextHandler(h.logs, &slog.HandlerOptions{Level: slog.LevelDebug})),
		TapWords: func(o bot.Outcome, language string) string {
			return string(o) + " in " + language
		},
	})
	return h
}

// again opens the door anew with settings changed.
func (h *house) again(change func(*Config)) {
	c := h.Config
	change(&c)
	h.Door = New(c)
}

// secrets holds that neither the token nor what a person wrote stands in a log line or in
// the error.
func (h *house) secrets(t *testing.T, err error, texts ...string) {
	t.Helper()
	said := h.logs.String()
	if err != nil {
		said += err.Error()
	}
	for _, s := range append(texts, h.telegram.Token, strings.TrimPrefix(h.telegram.Token, "5550100:")) {
		if strings.Contains(said, s) {
			t.Errorf("%q stands in a log or an error:\n%s", s, said)
		}
	}
}
