package telegram

import (
	"cmp"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	tgbot "github.com/go-telegram/bot"

	"skepline/bot"
	"skepline/notify"
)

// Hearer hears events; a *bot.Hotline is one. Hear returns after the commit; an error means
// that nothing was acknowledged and the event should come again.
type Hearer interface {
	Hear(ctx context.Context, e bot.Event) (bot.Outcome, error)
}

// Holder gives named leases, so that one replica of several polls.
type Holder interface {
	Hold(ctx context.Context, name, owner string, d time.Duration) (bool, error)
	Release(ctx context.Context, name, owner string) error
}

// Config is what the door needs to know.
type Config struct {
	Token     string // as @BotFather gives it: "5550100:AA…"; it never leaves in an error or a log
	Secret    string // of the webhook: 1 to 256 of A-Z a-z 0-9 _ -; empty = poll
	APIURL    string // default https://api.telegram.org; another server in tests
	PublicURL string // where Telegram reaches us, without a path of ours

	// TapWords returns what a person reads at once after a tap that came to outcome; nil or
	// "" shows nothing. At most 200 characters are shown.
	TapWords func(outcome bot.Outcome, language string) string

	// Picture opens a picture that Telegram does not have: another channel's, or one that we
	// draw. nil = none; then the text goes alone.
	Picture func(ctx context.Context, name string) (io.ReadCloser, error)

	Hearer Hearer
	Holder Holder // for Poll
	Owner  string // this replica's name, for Poll
	Clock  bot.Clock
	Log    *slog.Logger
	Client *http.Client // its Transport carries the API calls; nil = http.DefaultTransport
}

// Door is the way to Telegram. It is safe for concurrent use; Poll runs once.
type Door struct {
	Config
	bot   *tgbot.Bot
	http  *http.Client
	botID string // the digits of the token before ":", part of every event id

	taps    chan struct{}  // room for answers to taps under way
	tapping sync.WaitGroup // answers to taps under way

	refusals bot.Seldom
}

var _ notify.Sender = (*Door)(nil)

// sendWithin bounds one call of the Bot API that does not wait for updates.
const sendWithin = 10 * time.Second

// New returns a door. It calls nobody: Check does.
func New(c Config) *Door {
	if c.APIURL == "" {
		c.APIURL = "https://api.telegram.org"
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	c.APIURL = strings.TrimSuffix(c.APIURL, "/")
	c.PublicURL = strings.TrimSuffix(c.PublicURL, "/")
	d := &Door{Config: c, taps: make(chan struct{}, tapsAtOnce)}
	d.botID, _, _ = strings.Cut(c.Token, ":")
	d.http = &http.Client{Transport: http.DefaultTransport, CheckRedirect: stayHere}
	if c.Client != nil && c.Client.Transport != nil {
		d.http.Transport = c.Client.Transport
	}
	// New fails only for an empty token, which Check reports.
	d.bot, _ = tgbot.New(cmp.Or(c.Token, "0:none"),
		tgbot.WithSkipGetMe(), // or New would call Telegram
		tgbot.WithServerURL(c.APIURL),
		tgbot.WithHTTPClient(pollFor, d.http),
		tgbot.WithErrorsHandler(func(err error) { d.Log.Debug("telegram library", "error", d.scrub(err)) }),
	)
	return d
}

// stayHere keeps a message from following a redirect.
func stayHere(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

// Drain waits until the answers to taps that are under way have ended, 3 s at most each.
func (d *Door) Drain() { d.tapping.Wait() }

// scrub returns err without the token, which net/http puts into its errors as part of the
// address.
func (d *Door) scrub(err error) error {
	if err == nil || d.Token == "" || !strings.Contains(err.Error(), d.Token) {
		return err
	}
	return errors.New(strings.ReplaceAll(err.Error(), d.Token, "***"))
}
