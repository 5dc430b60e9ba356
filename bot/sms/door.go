package sms

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"time"

	"github.com/twilio/twilio-go/client"

	"skepline/bot"
	"skepline/notify"
)

// Hearer hears events; a *bot.Hotline is one. Hear returns after the commit; an error means
// that nothing was acknowledged and the event should come again.
type Hearer interface {
	Hear(ctx context.Context, e bot.Event) (bot.Outcome, error)
}

// Reports takes delivery reports; a *bot.Hotline does. Reason is the report's error code in
// the hotline's words (ReasonOf), "" when there was none.
type Reports interface {
	Report(ctx context.Context, r bot.DeliveryReport, reason string) error
}

// Holder gives named leases, so that one replica of several reads Twilio's log.
type Holder interface {
	Hold(ctx context.Context, name, owner string, d time.Duration) (bool, error)
	Release(ctx context.Context, name, owner string) error
}

// Marks keeps named notes of progress.
type Marks interface {
	Mark(ctx context.Context, name string) (string, error)
	SetMark(ctx context.Context, name, value string) error
}

// Config is what the door needs to know.
type Config struct {
	AccountSID   string            // "AC" and 32 hex digits
	AuthTokens   []string          // newest first; two while the token is being changed
	From         string            // our number as +E164, or a messaging service "MG…"
	WhatsAppFrom string            // our WhatsApp number as +E164; empty = From
	APIURL       string            // default https://api.twilio.com; another server in tests
	PublicURL    string            // where Twilio reaches us, without a path of ours; empty = it cannot
	Country      string            // two letters, for numbers written without "+"; default "US"
	VoiceWords   map[string]string // language ("en", "es") to the sentence a phoned call hears

	Hearer  Hearer
	Reports Reports
	Holder  Holder    // for Poll
	Marks   Marks     // for Poll
	Owner   string    // this replica's name, for Poll
	Clock   bot.Clock // required
	Log     *slog.Logger
	Client  *http.Client // its Transport carries the API calls; nil = http.DefaultTransport
}

// Door is the way to SMS and WhatsApp. It is safe for concurrent use.
type Door struct {
	Config
	api   *url.URL                  // nil when APIURL is no URL; Check says so
	signs []client.RequestValidator // one for each of AuthTokens

	refusals bot.Seldom
}

var _ notify.Sender = (*Door)(nil)

// New returns a door. It calls nobody: Check does.
func New(c Config) *Door {
	if c.APIURL == "" {
		c.APIURL = "https://api.twilio.com"
	}
	if c.Country == "" {
		c.Country = "US"
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	c.PublicURL = strings.TrimSuffix(c.PublicURL, "/")
	d := &Door{Config: c}
	if u, err := url.Parse(c.APIURL); err == nil && u.Host != "" {
		d.api = u
	}
	for _, token := range c.AuthTokens {
		if token != "" {
			d.signs = append(d.signs, client.NewRequestValidator(token))
		}
	}
	return d
}

var (
	accountSID = regexp.MustCompile(`^AC[0-9a-fA-F]{32}$`)
	serviceSID = regexp.MustCompile(`^MG[0-9a-fA-F]{32}$`)
	e164       = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)
)

// service reports whether messages go out through a messaging service.
func (d *Door) service() bool { return serviceSID.MatchString(d.From) }

// ours returns our WhatsApp address as Twilio writes it, "" when there is none.
func (d *Door) ourWhatsApp() string {
	switch {
	case d.WhatsAppFrom != "":
		return "whatsapp:" + strings.TrimPrefix(d.WhatsAppFrom, "whatsapp:")
	case d.service():
		return ""
	}
	return "whatsapp:" + d.From
}

// Check proves settings and credentials by asking Twilio for the account. Its error is one
// sentence that says what to change.
func (d *Door) Check(ctx context.Context) error {
	if err := d.checkSettings(); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	call := d.call(ctx)
	account, err := call.api.FetchAccount(d.AccountSID)
	if err != nil {
		end := call.ended(err)
		switch {
		case end.Reason == reasonAuth:
			return errors.New("the credentials are refused by Twilio: check TWILIO_ACCOUNT_SID and TWILIO_AUTH_TOKEN")
		case end.Reason == reasonUnreachable:
			return fmt.Errorf("no way to Twilio at %s: check the network and TWILIO_API_URL", d.APIURL)
		}
		return fmt.Errorf("the answer of Twilio is not what it should be (%s)", end.Reason)
	}
	if account.Status != nil && *account.Status != "active" {
		return fmt.Errorf("the Twilio account is %s: see the Twilio console", *account.Status)
	}
	return nil
}

func (d *Door) checkSettings() error {
	switch {
	case !accountSID.MatchString(d.AccountSID):
		return errors.New("TWILIO_ACCOUNT_SID must be AC and 32 hex digits")
	case len(d.signs) == 0:
		return errors.New("TWILIO_AUTH_TOKEN is empty")
	case !d.service() && !e164.MatchString(d.From):
		return errors.New("TWILIO_FROM must be a number like +16075550142 or a messaging service MG and 32 hex digits")
	case d.api == nil:
		return errors.New("TWILIO_API_URL must be a URL like https://api.twilio.com")
	case d.PublicURL != "" && !strings.HasPrefix(d.PublicURL, "http"):
		return errors.New("SKEPLINE_PUBLIC_URL must begin with https://")
	case strings.Contains(d.PublicURL, "_"):
		// Twilio refuses a StatusCallback whose host has an underscore (Message resource).
		return errors.New("SKEPLINE_PUBLIC_URL must not hold an underscore: Twilio takes no such callback address")
	}
	return nil
}
