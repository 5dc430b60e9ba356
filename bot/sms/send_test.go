package sms

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

func offer(to notify.Address) notify.Outgoing {
	return notify.Outgoing{Message: notify.Message{ID: "m1", To: to, Class: notify.Offer, Text: "Swarm 4 km away. TAKE or PASS?",
		Buttons: [][]notify.Button{{{Label: "Take it", Says: "take 7KQ2"}}}}, Attempt: 1}
}

func TestSendEnds(t *testing.T) {
	no := func(status, code int) standin.Trouble { return standin.Refusal(status, code, "no") }
	for _, c := range []struct {
		why  string
		meet standin.Trouble
		want notify.Result
	}{
		{"opted out at the carrier", no(400, 21610), notify.Result{End: notify.Refused, Reason: "opted_out"}},
		{"not a number", no(400, 21211), notify.Result{End: notify.Refused, Reason: "bad_number"}},
		{"a landline", no(400, 21614), notify.Result{End: notify.Refused, Reason: "landline"}},
		{"a trial account", no(400, 21608), notify.Result{End: notify.Refused, Reason: "unverified"}},
		{"too long after all", no(400, 21617), notify.Result{End: notify.Refused, Reason: "too_long"}},
		{"a code nobody knows is a no to this message", no(400, 29999), notify.Result{End: notify.Refused, Reason: "twilio_29999"}},
		{"too many at once: not processed", standin.TooMany(0), notify.Result{End: notify.RetryLater, Reason: "rate", After: 2 * time.Second, Pause: true}},
		{"… with the wait they ask for", standin.TooMany(7), notify.Result{End: notify.RetryLater, Reason: "rate", After: 7 * time.Second, Pause: true}},
		{"429 from a proxy", standin.Broken(429), notify.Result{End: notify.RetryLater, Reason: "rate", After: 2 * time.Second, Pause: true}},
		{"the sender's queue is full", no(400, 21611), notify.Result{End: notify.RetryLater, Reason: "queue_full", After: time.Minute, Pause: true}},
		{"wrong credentials are not the message's fault", no(401, 20003), notify.Result{End: notify.RetryLater, Reason: "auth", After: time.Minute, Pause: true, Down: true}},
		{"500 in Twilio's shape", no(500, 20500), notify.Result{End: notify.Ambiguous, Reason: "twilio_http_500"}},
		{"a proxy's page", standin.Broken(503), notify.Result{End: notify.Ambiguous, Reason: "twilio_http_503"}},
		{"a page with status 200", standin.Broken(200), notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
		{"taken, and the answer lost", standin.ReplyLost, notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
		{"hung up before an answer", standin.Trouble{Cut: true}, notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
	} {
		t.Run(c.why, func(t *testing.T) {
			h := open(t)
			h.twilio.Next(standin.TwilioCreate, 1, c.meet)
			got := h.Send(t.Context(), offer("sms:"+gwen))
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			if sent := len(h.twilio.Sent()); (sent == 1) != c.meet.Accept {
				t.Errorf("%d messages were taken", sent)
			}
			h.secrets(t, "Swarm 4 km")
		})
	}
}

func TestSendHangs(t *testing.T) {
	h := open(t)
	h.twilio.Next(standin.TwilioCreate, 1, standin.Hang)
	ctx, cancel := context.WithCancel(t.Context())
	h.Client = &http.Client{Transport: roundTrip(func(r *http.Request) (*http.Response, error) {
		time.AfterFunc(50*time.Millisecond, cancel) // the client gives up when all is written
		return http.DefaultTransport.RoundTrip(r)
	})}
	if got := h.Send(ctx, offer("sms:"+gwen)); got.End != notify.Ambiguous {
		t.Errorf("got %+v, want ambiguous", got)
	}
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// TestSendNowhere holds that what never left is not in doubt.
func TestSendNowhere(t *testing.T) {
	h := open(t)
	h.twilio.Close()
	want := notify.Result{End: notify.RetryLater, Reason: "provider_unreachable", After: 5 * time.Second, Pause: true, Down: true}
	if diff := cmp.Diff(want, h.Send(t.Context(), offer("sms:"+gwen))); diff != "" {
		t.Error(diff)
	}
	h = open(t)
	c := h.Config
	c.APIURL = strings.Replace(h.twilio.URL, "http:", "https:", 1) // no TLS there: the handshake fails
	h.Door = New(c)
	if diff := cmp.Diff(want, h.Send(t.Context(), offer("sms:"+gwen))); diff != "" {
		t.Error(diff)
	}
}

func TestSendWords(t *testing.T) {
	t.Setenv("TWILIO_EDGE", "dublin")
	t.Setenv("TWILIO_REGION", "ie1")
	service := "MG" + strings.Repeat("b1", 16)
	for _, c := range []struct {
		why    string
		change func(*house, *notify.Outgoing)
		want   url.Values
	}{
		{"a plain SMS", nil, url.Values{"From": {ours}}},
		{"WhatsApp from the same number", func(_ *house, o *notify.Outgoing) { o.To = "whatsapp:" + gwen },
			url.Values{"From": {"whatsapp:" + ours}, "To": {"whatsapp:" + gwen}}},
		{"WhatsApp from its own number", func(h *house, o *notify.Outgoing) { o.To, h.WhatsAppFrom = "whatsapp:"+gwen, "+16075550101" },
			url.Values{"From": {"whatsapp:+16075550101"}, "To": {"whatsapp:" + gwen}}},
		{"through a messaging service", func(h *house, _ *notify.Outgoing) { h.From = service },
			url.Values{"MessagingServiceSid": {service}}},
		{"stale in five minutes: Twilio's queue must drop it too", func(h *house, o *notify.Outgoing) { o.NotAfter = h.clock.now.Add(5 * time.Minute) },
			url.Values{"From": {ours}, "ValidityPeriod": {"300"}}},
		{"stale in a day: more than Twilio keeps", func(h *house, o *notify.Outgoing) { o.NotAfter = h.clock.now.Add(24 * time.Hour) },
			url.Values{"From": {ours}, "ValidityPeriod": {"36000"}}},
		{"stale right now", func(h *house, o *notify.Outgoing) { o.NotAfter = h.clock.now },
			url.Values{"From": {ours}, "ValidityPeriod": {"1"}}},
		{"nobody can report to us", func(h *house, _ *notify.Outgoing) { h.PublicURL = "" },
			url.Values{"From": {ours}, "StatusCallback": nil}},
	} {
		h := open(t)
		out := offer("sms:" + gwen)
		if c.change != nil {
			c.change(h, &out)
		}
		got := h.Send(t.Context(), out)
		sent := h.twilio.Sent()
		if got.End != notify.Accepted || len(sent) != 1 || got.ProviderID != sent[0].SID {
			t.Fatalf("%s: %+v, %d sent", c.why, got, len(sent))
		}
		want := url.Values{"To": {gwen}, "Body": {out.Text}, "StatusCallback": {public + "/twilio/status?m=m1"}}
		for name, v := range c.want {
			if want[name] = v; v == nil {
				delete(want, name)
			}
		}
		if diff := cmp.Diff(want, sent[0].Params); diff != "" {
			t.Errorf("%s: (-want +got)\n%s", c.why, diff)
		}
	}
}

// TestSendNever holds what is refused without asking Twilio.
func TestSendNever(t *testing.T) {
	h := open(t)
	for _, c := range []struct {
		change func(*notify.Outgoing)
		want   string
	}{
		{func(o *notify.Outgoing) { o.Edits, o.EditsProvider = "m0", "SM1" }, "cannot_edit"},
		{func(o *notify.Outgoing) { o.Text = " " }, "empty"},
		{func(o *notify.Outgoing) { o.Text = strings.Repeat("a", 1601) }, "too_long"},
	} {
		out := offer("sms:" + gwen)
		c.change(&out)
		if got := h.Send(t.Context(), out); got.End != notify.Refused || got.Reason != c.want {
			t.Errorf("got %+v, want refused %s", got, c.want)
		}
	}
	if n := len(h.twilio.Sent()); n > 0 {
		t.Errorf("%d messages were taken", n)
	}
}

// TestReports follows a message from its sending to its delivery report.
func TestReports(t *testing.T) {
	h := open(t)
	out := offer("sms:" + gwen)
	out.ID = "m/1 é&"
	sid := h.Send(t.Context(), out).ProviderID
	answer := func(status, code string) int {
		t.Helper()
		for _, m := range h.twilio.Sent() {
			if m.SID != sid {
				continue
			}
			p := url.Values{"MessageSid": {sid}, "MessageStatus": {status}, "AccountSid": {h.AccountSID}}
			if code != "" {
				p.Set("ErrorCode", code)
			}
			return h.serve(h.webhook(strings.TrimPrefix(m.Callback, public), p)).Code
		}
		t.Fatal("not sent")
		return 0
	}
	if got := answer("undelivered", "30003"); got != 200 {
		t.Errorf("answered %d, want 200", got)
	}
	want := []bot.DeliveryReport{{Message: out.ID, ProviderID: sid, Status: "undelivered", Code: "30003"}}
	if diff := cmp.Diff(want, h.heard.reports); diff != "" || h.heard.reasons[0] != "unreachable" {
		t.Errorf("reason %q, (-want +got)\n%s", h.heard.reasons[0], diff)
	}
	h.heard.fail = always
	if got := answer("delivered", ""); got != 503 {
		t.Errorf("not kept: answered %d, want 503", got)
	}
	r := h.webhook("/twilio/status?m=m1", url.Values{"AccountSid": {h.AccountSID}})
	r.URL.RawQuery = "m=m2"
	if w := h.serve(r); w.Code != 403 {
		t.Errorf("a report moved to another message: answered %d, want 403", w.Code)
	}
	h.heard.fail = nil
	if w := h.serve(h.webhook("/twilio/status", url.Values{"AccountSid": {h.AccountSID}, "MessageStatus": {"sent"}})); w.Code != 200 || len(h.heard.reports) != 1 {
		t.Errorf("a report on no message of ours: answered %d, kept %d", w.Code, len(h.heard.reports)-1)
	}
}

func TestReasonOf(t *testing.T) {
	for code, want := range map[string]string{
		"": "", "0": "", "x": "",
		"30003": "unreachable", "30005": "bad_number", "30006": "landline", "30004": "blocked",
		"21610": "opted_out", "63016": "outside_window", "30007": "twilio_30007", "30034": "twilio_30034",
	} {
		if got := ReasonOf(code); got != want {
			t.Errorf("ReasonOf(%q) = %q, want %q", code, got, want)
		}
	}
}

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		why    string
		change func(*house, *Config)
		want   string // in the sentence; "" = all is well
	}{
		{"all is well", func(*house, *Config) {}, ""},
		{"a wrong token", func(_ *house, c *Config) { c.AuthTokens = []string{"0000"} }, "TWILIO_AUTH_TOKEN"},
		{"a token with a dash, which the library refuses by itself", func(_ *house, c *Config) { c.AuthTokens = []string{"a-b"} }, "TWILIO_AUTH_TOKEN"},
		{"no token", func(_ *house, c *Config) { c.AuthTokens = nil }, "TWILIO_AUTH_TOKEN is empty"},
		{"an API key instead of the account", func(_ *house, c *Config) { c.AccountSID = "SK123" }, "TWILIO_ACCOUNT_SID must be"},
		{"a sender that is none", func(_ *house, c *Config) { c.From = "6075550100" }, "TWILIO_FROM"},
		{"no server there", func(h *house, _ *Config) { h.twilio.Close() }, "no way to"},
		{"a server that is ill", func(h *house, _ *Config) { h.twilio.Next("", 1, standin.Broken(502)) }, "twilio_http_502"},
		{"an address that is none", func(_ *house, c *Config) { c.APIURL = "twilio" }, "TWILIO_API_URL"},
		{"an underscore in the public address", func(_ *house, c *Config) { c.PublicURL = "https://my_bees.example.org" }, "underscore"},
	} {
		t.Run(c.why, func(t *testing.T) {
			h := open(t)
			config := h.Config
			c.change(h, &config)
			err := New(config).Check(t.Context())
			if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("Check says %v, want %q in it", err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), h.twilio.AuthToken) {
				t.Errorf("the token stands in %q", err)
			}
		})
	}
}
