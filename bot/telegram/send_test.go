package telegram

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"skepline/bot/standin"
	"skepline/notify"
)

func offer() notify.Outgoing {
	return notify.Outgoing{Message: notify.Message{ID: "m1", To: "telegram:5550101", Class: notify.Offer, Text: "Swarm 4 km away <b>&",
		Buttons: [][]notify.Button{{{Label: "Take it", Says: "take 7KQ2"}, {Label: "Pass", Says: "pass 7KQ2"}}, {}}}, Attempt: 1}
}

func TestSendEnds(t *testing.T) {
	no := func(status int, words string) standin.Trouble { return standin.Refusal(status, 0, words) }
	for _, c := range []struct {
		why  string
		meet standin.Trouble
		want notify.Result
	}{
		{"blocked by the person", no(403, "Forbidden: bot was blocked by the user"), refused("blocked")},
		{"never wrote to us", no(400, "Bad Request: chat not found"), refused("unreachable")},
		{"a no that nobody knows", no(400, "Bad Request: something new"), refused("telegram_400")},
		{"too fast for this chat", standin.TooMany(3), later("rate", 3*time.Second)},
		{"too fast for anybody", standin.TooMany(31), later("rate", 31*time.Second)},
		{"too fast, they do not say how long", standin.TooMany(0), later("rate", time.Second)},
		{"a wrong token is not the message's fault", no(401, "Unauthorized"), later("auth", time.Minute)},
		{"nor is a token of no form", no(404, "Not Found"), later("auth", time.Minute)},
		{"500 in Telegram's shape", no(500, "Internal Server Error"), notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
		{"a proxy's page", standin.Broken(502), notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
		{"taken, and the answer lost", standin.ReplyLost, notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
		{"hung up before an answer", standin.Trouble{Cut: true}, notify.Result{End: notify.Ambiguous, Reason: "no_answer"}},
	} {
		t.Run(c.why, func(t *testing.T) {
			h := open(t)
			h.telegram.Next("sendMessage", 1, c.meet)
			if diff := cmp.Diff(c.want, h.Send(t.Context(), offer())); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			if sent := len(h.telegram.Sent()); (sent == 1) != c.meet.Accept {
				t.Errorf("%d messages were taken", sent)
			}
			h.secrets(t, nil, "Swarm 4 km")
		})
	}
	h := open(t)
	h.telegram.Block(5550101)
	if got := h.Send(t.Context(), offer()); got != refused("blocked") {
		t.Errorf("a person who blocked us: %+v", got)
	}
}

func TestSendHangs(t *testing.T) {
	h := open(t)
	h.telegram.Next("sendMessage", 1, standin.Hang)
	ctx, cancel := context.WithCancel(t.Context())
	h.again(func(c *Config) {
		c.Client = &http.Client{Transport: roundTrip(func(r *http.Request) (*http.Response, error) {
			time.AfterFunc(50*time.Millisecond, cancel) // the client gives up when all is written
			return http.DefaultTransport.RoundTrip(r)
		})}
	})
	if got := h.Send(ctx, offer()); got.End != notify.Ambiguous {
		t.Errorf("got %+v, want ambiguous", got)
	}
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// TestSendNowhere holds that what never left is not in doubt, and that the address, which
// holds the token, is told to nobody.
func TestSendNowhere(t *testing.T) {
	h := open(t)
	h.telegram.Close()
	want := later("provider_unreachable", 5*time.Second)
	if got := h.Send(t.Context(), offer()); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	_, err := h.Username(t.Context())
	if err == nil || !strings.Contains(err.Error(), "no way to") {
		t.Errorf("Username says %v", err)
	}
	h.secrets(t, err)
	p := &poller{Door: h.Door}
	err = p.step(t.Context())
	if err == nil {
		t.Error("polled a closed server without an error")
	}
	h.secrets(t, err)
	h.secrets(t, h.SetWebhook(t.Context()))
}

func TestSendWords(t *testing.T) {
	pin := &notify.Pin{Lat: 42.446, Lon: -76.49, Title: "The swarm", Address: "12 Mill Rd"}
	keys := [][]standin.TelegramButton{{{Text: "Take it", Data: "take 7KQ2"}, {Text: "Pass", Data: "pass 7KQ2"}}}
	for _, c := range []struct {
		why     string
		change  func(*notify.Outgoing)
		method  string
		text    string
		with    fields   // parameters that must be there
		without []string // and must not
	}{
		{"words stay as they are: no markup", func(*notify.Outgoing) {}, "sendMessage", "Swarm 4 km away <b>&",
			fields{"link_preview_options": fields{"is_disabled": true}}, []string{"parse_mode", "disable_notification", "protect_content"}},
		{"silent", func(o *notify.Outgoing) { o.Silent = true }, "sendMessage", "Swarm 4 km away <b>&", fields{"disable_notification": true}, nil},
		{"the address is for the one who goes", func(o *notify.Outgoing) { o.Class = notify.Claim }, "sendMessage", "Swarm 4 km away <b>&", fields{"protect_content": true}, nil},
		{"a pin alone is a venue", func(o *notify.Outgoing) { o.Text, o.Pin, o.Class = "", pin, notify.Claim }, "sendVenue", "The swarm",
			fields{"latitude": 42.446, "longitude": -76.49, "address": "12 Mill Rd", "protect_content": true}, nil},
		{"a venue wants some words", func(o *notify.Outgoing) { o.Text, o.Pin = "", &notify.Pin{Lat: 1, Lon: 2} }, "sendVenue", "·", fields{"address": "·"}, nil},
		{"a pin beside words is a link", func(o *notify.Outgoing) { o.Pin = pin }, "sendMessage",
			"Swarm 4 km away <b>&\nhttps://www.google.com/maps/search/?api=1&query=42.446000,-76.490000", nil, nil},
		{"a picture of Telegram's", func(o *notify.Outgoing) { o.Photos = []string{"tw:MM1/ME1", "tg:big", "tg:second"} }, "sendPhoto", "Swarm 4 km away <b>&", fields{"photo": "big"}, nil},
		{"a picture of another provider stays away", func(o *notify.Outgoing) { o.Photos = []string{"tw:MM1/ME1"} }, "sendMessage", "Swarm 4 km away <b>&", nil, nil},
		{"words that do not fit under a picture matter more", func(o *notify.Outgoing) { o.Photos, o.Text = []string{"tg:big"}, strings.Repeat("a", 1025) }, "sendMessage", strings.Repeat("a", 1025), nil, nil},
		{"4096 are possible", func(o *notify.Outgoing) { o.Text = strings.Repeat("a", 4096) }, "sendMessage", strings.Repeat("a", 4096), nil, nil},
		{"more are cut", func(o *notify.Outgoing) { o.Text = strings.Repeat("a", 4097) }, "sendMessage", strings.Repeat("a", 4095) + "…", nil, nil},
		{"a bee counts twice", func(o *notify.Outgoing) { o.Text = strings.Repeat("🐝", 2049) }, "sendMessage", strings.Repeat("🐝", 2047) + "…", nil, nil},
	} {
		h := open(t)
		out := offer()
		c.change(&out)
		got := h.Send(t.Context(), out)
		sent := h.telegram.Sent()
		if got.End != notify.Accepted || len(sent) != 1 {
			t.Fatalf("%s: %+v, %d sent", c.why, got, len(sent))
		}
		m := sent[0]
		if m.Method != c.method || m.Text != c.text || m.Chat != 5550101 || got.ProviderID != strconv.Itoa(m.ID) {
			t.Errorf("%s: %s to %d as %s said %q (%d characters)", c.why, m.Method, m.Chat, got.ProviderID, m.Text, utf8.RuneCountInString(m.Text))
		}
		if diff := cmp.Diff(keys, m.Buttons); diff != "" {
			t.Errorf("%s: buttons (-want +got)\n%s", c.why, diff)
		}
		for name, v := range c.with {
			if diff := cmp.Diff(v, m.Params[name]); diff != "" {
				t.Errorf("%s: %s (-want +got)\n%s", c.why, name, diff)
			}
		}
		for _, name := range c.without {
			if v, there := m.Params[name]; there {
				t.Errorf("%s: %s is %v", c.why, name, v)
			}
		}
	}
}

// A picture that Telegram does not have is uploaded with its text; where it cannot be had, is
// no size that Telegram takes, or takes too long, the text goes alone.
func TestSendUploadsPictures(t *testing.T) {
	var small bytes.Buffer
	if err := png.Encode(&small, image.NewGray(image.Rect(0, 0, 40, 30))); err != nil {
		t.Fatal(err)
	}
	var thin bytes.Buffer
	if err := png.Encode(&thin, image.NewGray(image.Rect(0, 0, 42, 2))); err != nil {
		t.Fatal(err)
	}
	opens := func(b []byte) func(context.Context, string) (io.ReadCloser, error) {
		return func(context.Context, string) (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(b)), nil }
	}
	for _, c := range []struct {
		why     string
		picture func(context.Context, string) (io.ReadCloser, error)
		text    string
		method  string
	}{
		{"a plot of ours", opens(small.Bytes()), "Calls by week", "sendPhoto"},
		{"nothing to say beside it", opens(small.Bytes()), "", "sendPhoto"},
		{"it cannot be had", func(context.Context, string) (io.ReadCloser, error) { return nil, errStore }, "Calls by week", "sendMessage"},
		{"it is too big", opens(make([]byte, maxPhoto+1)), "Calls by week", "sendMessage"},
		{"it is too long and thin", opens(thin.Bytes()), "Calls by week", "sendMessage"},
		{"it is no picture", opens([]byte("a voice")), "Calls by week", "sendMessage"},
		{"it is empty", opens(nil), "Calls by week", "sendMessage"},
		{"nobody draws", nil, "Calls by week", "sendMessage"},
		{"words that do not fit below it matter more", opens(small.Bytes()), strings.Repeat("a", 1025), "sendMessage"},
	} {
		h := open(t)
		h.Picture = c.picture
		out := offer()
		out.Text, out.Photos = c.text, []string{"plot:weeks"}
		got := h.Send(t.Context(), out)
		sent := h.telegram.Sent()
		if got.End != notify.Accepted || len(sent) != 1 || sent[0].Method != c.method || sent[0].Text != c.text {
			t.Fatalf("%s: %+v, %d sent", c.why, got, len(sent))
		}
		if up, is := sent[0].Params["photo"].(standin.Upload); is != (c.method == "sendPhoto") || is && (up.Format != "png" || up.Name != "picture.png" || !bytes.Equal(up.Bytes, small.Bytes())) {
			t.Errorf("%s: the picture came as %s, %s", c.why, up.Name, up.Format)
		}
	}
}

func TestSendNever(t *testing.T) {
	h := open(t)
	for _, c := range []struct {
		why    string
		change func(*notify.Outgoing)
		want   string
	}{
		{"no chat", func(o *notify.Outgoing) { o.To = "telegram:ada" }, "bad_number"},
		{"a button that says too much", func(o *notify.Outgoing) { o.Buttons[0][0].Says = strings.Repeat("é", 33) }, "bad_button"},
		{"a button that says nothing", func(o *notify.Outgoing) { o.Buttons[0][0].Says = "" }, "bad_button"},
		{"an edit of nobody knows what", func(o *notify.Outgoing) { o.Edits = "m0" }, "nothing_to_edit"},
	} {
		out := offer()
		c.change(&out)
		if got := h.Send(t.Context(), out); got != refused(c.want) {
			t.Errorf("%s: %+v, want refused %s", c.why, got, c.want)
		}
	}
	if n := len(h.telegram.Sent()); n > 0 {
		t.Errorf("%d messages were taken", n)
	}
}

// An offer that went out under a picture is closed in place like any other.
func TestEditUnderAPicture(t *testing.T) {
	h := open(t)
	out := offer()
	out.Photos = []string{"tg:big"}
	first := h.Send(t.Context(), out)
	out = offer()
	out.Edits, out.EditsProvider, out.Text, out.Buttons = "m1", first.ProviderID, "Ada has it", nil
	if got := h.Send(t.Context(), out); got.End != notify.Accepted {
		t.Fatalf("got %+v, want it accepted", got)
	}
	if m := h.telegram.Sent()[0]; m.Text != "Ada has it" || len(m.Buttons) > 0 || m.Edits != 1 {
		t.Errorf("the message reads %q with %d rows of buttons after %d edits", m.Text, len(m.Buttons), m.Edits)
	}
}

func TestEdits(t *testing.T) {
	h := open(t)
	first := h.Send(t.Context(), offer())
	change := offer()
	change.Edits, change.EditsProvider = "m1", first.ProviderID
	change.Text, change.Buttons = "Ada has it", nil
	for _, why := range []string{"an edit", "the same edit again: the message already reads like this"} {
		if got := h.Send(t.Context(), change); got.End != notify.Accepted {
			t.Errorf("%s: %+v", why, got)
		}
	}
	sent := h.telegram.Sent()
	if len(sent) != 1 || sent[0].Text != "Ada has it" || sent[0].Buttons != nil || sent[0].Edits != 1 {
		t.Errorf("reads %+v", sent)
	}
	change.EditsProvider = "999"
	if got := h.Send(t.Context(), change); got != refused("nothing_to_edit") {
		t.Errorf("an edit of a message that is gone: %+v", got)
	}
}

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		why    string
		change func(*house, *Config)
		want   string // in the sentence; "" = all is well
	}{
		{"all is well", func(*house, *Config) {}, ""},
		{"no token", func(_ *house, c *Config) { c.Token = "" }, "TELEGRAM_BOT_TOKEN must look like"},
		{"a wrong token", func(_ *house, c *Config) { c.Token = "5550100:wrong" }, "refused by Telegram"},
		{"a secret that Telegram does not take", func(_ *house, c *Config) { c.Secret = "with space" }, "TELEGRAM_WEBHOOK_SECRET must be"},
		{"a webhook nobody can reach", func(_ *house, c *Config) { c.PublicURL = "" }, "SKEPLINE_PUBLIC_URL"},
		{"polling needs no public address", func(_ *house, c *Config) { c.PublicURL, c.Secret = "", "" }, ""},
		{"no server there", func(h *house, _ *Config) { h.telegram.Close() }, "no way to"},
		{"a server that is ill", func(h *house, _ *Config) { h.telegram.Next("", 1, standin.Broken(502)) }, "not what it should be"},
	} {
		t.Run(c.why, func(t *testing.T) {
			h := open(t)
			h.again(func(config *Config) { c.change(h, config) })
			err := h.Check(t.Context())
			if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("Check says %v, want %q in it", err, c.want)
			}
			h.secrets(t, err)
		})
	}
	h := open(t)
	if name, err := h.Username(t.Context()); err != nil || name != h.telegram.Username {
		t.Errorf("Username = %q, %v", name, err)
	}
	if err := h.SetWebhook(t.Context()); err != nil {
		t.Error(err)
	}
	if address, given := h.telegram.Webhook(); address != public+"/telegram" || given != secret {
		t.Errorf("the webhook is %q, its secret %q", address, given)
	}
}
