package sms

import (
	"net/url"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

func TestMessages(t *testing.T) {
	h := open(t)
	jpeg, vcard := standin.Media{Type: "image/jpeg"}, standin.Media{Type: "text/x-vcard"}
	from, whatsapp := notify.Address("sms:"+gwen), notify.Address("whatsapp:"+gwen)
	for _, c := range []struct {
		why    string
		params url.Values
		want   bot.Event // without its id
	}{
		{"a plain text", h.twilio.Text(gwen, ours, "There's a swarm"), bot.Said{From: from, Text: "There's a swarm"}},
		{"a picture without words comes first from many phones", h.twilio.Text(gwen, ours, "", jpeg, jpeg), bot.Said{From: from, Photos: []string{"%0", "%1"}}},
		{"words and a picture", h.twilio.Text(gwen, ours, "look", jpeg), bot.Said{From: from, Text: "look", Photos: []string{"%0"}}},
		{"an iPhone's shared location or contact", h.twilio.Text(gwen, ours, "", vcard), bot.Said{From: from, Card: "%0"}},
		{"a voice memo", h.twilio.Text(gwen, ours, "", standin.Media{Type: "audio/amr"}), bot.Said{From: from, Other: "voice"}},
		{"a film", h.twilio.Text(gwen, ours, "see", standin.Media{Type: "video/3gpp"}), bot.Said{From: from, Text: "see", Other: "video"}},
		{"a letter", h.twilio.Text(gwen, ours, "", standin.Media{Type: "application/pdf"}), bot.Said{From: from, Other: "document"}},
		{"a picture and a voice memo", h.twilio.Text(gwen, ours, "", jpeg, standin.Media{Type: "audio/amr"}), bot.Said{From: from, Photos: []string{"%0"}, Other: "voice"}},
		{"nothing at all must be answered too", h.twilio.Text(gwen, ours, ""), bot.Said{From: from, Other: "garbled"}},
		{"only blanks", h.twilio.Text(gwen, ours, " \n "), bot.Said{From: from, Other: "garbled"}},
		{"only bytes that are no UTF-8", h.twilio.Text(gwen, ours, "\xff\xfe"), bot.Said{From: from, Other: "garbled"}},
		{"some of them", h.twilio.Text(gwen, ours, "bees\xff here"), bot.Said{From: from, Text: "bees here"}},
		{"emoji only", h.twilio.Text(gwen, ours, "🐝🐝"), bot.Said{From: from, Text: "🐝🐝"}},
		{"10 000 characters", h.twilio.Text(gwen, ours, strings.Repeat("é", 10_000)), bot.Said{From: from, Text: strings.Repeat("é", 10_000)}},
		{"one more is cut", h.twilio.Text(gwen, ours, strings.Repeat("é", 10_001)), bot.Said{From: from, Text: strings.Repeat("é", 10_000)}},
		{"words written backwards", h.twilio.Text(gwen, ours, "\u202eTAKE"), bot.Said{From: from, Text: "TAKE"}},
		{"Twilio has handled STOP", with(h.twilio.Text(gwen, ours, "Stop"), "OptOutType", "STOP"), bot.Said{From: from, Text: "Stop", OptOut: "STOP"}},
		{"an opt-out kind we do not know", with(h.twilio.Text(gwen, ours, "hm"), "OptOutType", "PAUSE"), bot.Said{From: from, Text: "hm"}},
		{"a number without its country", h.twilio.Text("(607) 555-0142", ours, "hi"), bot.Said{From: from, Text: "hi"}},
		{"WhatsApp", with(h.twilio.Text("whatsapp:"+gwen, "whatsapp:"+ours, "hi"), "ProfileName", "Gwen Beekeeper"), bot.Said{From: whatsapp, Text: "hi", Profile: "Gwen"}},
		{"a WhatsApp location has no words", with(h.twilio.Text("whatsapp:"+gwen, "whatsapp:"+ours, ""), "Latitude", "42.446", "Longitude", "-76.49", "Label", "Fence"),
			bot.Said{From: whatsapp, Pin: &bot.Point{Lat: 42.446, Lon: -76.49, Title: "Fence"}}},
		{"a location that is nowhere", with(h.twilio.Text("whatsapp:"+gwen, "whatsapp:"+ours, "here"), "Latitude", "NaN", "Longitude", "-76.49"), bot.Said{From: whatsapp, Text: "here"}},
		{"a WhatsApp quick reply", with(h.twilio.Text("whatsapp:"+gwen, "whatsapp:"+ours, "Take it"), "ButtonText", "Take it", "ButtonPayload", "take 7KQ2"),
			bot.Tapped{From: whatsapp, Says: "take 7KQ2"}},
		{"parameters we do not know come without notice", with(h.twilio.Text(gwen, ours, "hi"), "NewThing", "1"), bot.Said{From: from, Text: "hi"}},
	} {
		h.heard.events = nil
		w := h.serve(h.webhook("/twilio/message", c.params))
		if w.Code != 200 || w.Header().Get("Content-Type") != "text/xml" || !strings.HasSuffix(w.Body.String(), "<Response/>") {
			t.Errorf("%s: answered %d %q", c.why, w.Code, w.Body)
		}
		if len(h.heard.events) != 1 {
			t.Errorf("%s: heard %d events, want 1", c.why, len(h.heard.events))
			continue
		}
		if diff := cmp.Diff(filled(c.want, c.params), h.heard.events[0]); diff != "" {
			t.Errorf("%s: (-want +got)\n%s", c.why, diff)
		}
	}
	h.secrets(t, "There's a swarm")
}

// filled enters what the webhook's ids make of an expected event.
func filled(e bot.Event, p url.Values) bot.Event {
	id := bot.EventID("tw:" + p.Get("MessageSid"))
	switch e := e.(type) {
	case bot.Tapped:
		e.Event = id
		return e
	case bot.Said:
		e.Event = id
		if e.Card != "" {
			path := strings.Split(p.Get("MediaUrl"+e.Card[1:]), "/")
			e.Card = "tw:" + p.Get("MessageSid") + "/" + path[len(path)-1]
		}
		var photos []string
		for _, name := range e.Photos {
			path := strings.Split(p.Get("MediaUrl"+name[1:]), "/")
			photos = append(photos, "tw:"+p.Get("MessageSid")+"/"+path[len(path)-1])
		}
		e.Photos = photos
		return e
	}
	return e
}

func TestNobodyToAnswer(t *testing.T) {
	h := open(t)
	for _, c := range []struct {
		why    string
		params url.Values
	}{
		{"a short code", h.twilio.Text("72345", ours, "Your code is 1234")},
		{"a name for a number", h.twilio.Text("QuillBank", ours, "hello")},
		{"no sender", h.twilio.Text("", ours, "hello")},
		{"an extension cannot be texted", h.twilio.Text(gwen+";ext=5", ours, "hello")},
		{"no message id, so it could not be told from its repetition", with(h.twilio.Text(gwen, ours, "hello"), "MessageSid", "")},
	} {
		if w := h.serve(h.webhook("/twilio/message", c.params)); w.Code != 200 {
			t.Errorf("%s: answered %d, want 200", c.why, w.Code)
		}
	}
	if len(h.heard.events) > 0 {
		t.Errorf("heard %v", h.heard.events)
	}
	h.secrets(t, "72345", "QuillBank", "hello")
}

// TestMediaOfStrangers holds that only ids are taken from a media address, so that nobody
// can make us call one.
func TestMediaOfStrangers(t *testing.T) {
	h := open(t)
	p := with(h.twilio.Text(gwen, ours, "", standin.Media{Type: "image/png"}), "MediaUrl0", "https://evil.example.org/Media/ME1")
	h.serve(h.webhook("/twilio/message", p))
	want := bot.Said{Event: bot.EventID("tw:" + p.Get("MessageSid")), From: notify.Address("sms:" + gwen), Other: "document"}
	if diff := cmp.Diff([]bot.Event{want}, h.heard.events); diff != "" {
		t.Error(diff)
	}
}

func TestNotCommitted(t *testing.T) {
	h := open(t)
	h.heard.fail = always
	w := h.serve(h.webhook("/twilio/message", h.twilio.Text(gwen, ours, "bees")))
	if w.Code != 503 || strings.Contains(w.Body.String(), "Response") {
		t.Errorf("answered %d %q, want 503 and no TwiML", w.Code, w.Body)
	}
	h.secrets(t)
}

func TestVoice(t *testing.T) {
	h := open(t)
	call := func(from string) url.Values {
		return url.Values{"AccountSid": {h.AccountSID}, "CallSid": {"CA" + strings.Repeat("ab", 16)}, "From": {from}, "To": {ours}}
	}
	const want = `<Response><Say language="en-US">Emergency: 911. Text us.</Say><Say language="es-US">Emergencia: 911 &amp; más.</Say><Hangup/></Response>`
	for _, c := range []struct {
		why, from string
		fail      func(bot.EventID) error
		heard     int
	}{
		{"a caller with a number gets a text", gwen, nil, 1},
		{"a withheld number cannot be texted", "+266696687", nil, 0},
		{"the sentence is said even when the store is away", gwen, always, 0},
	} {
		h.heard.events, h.heard.fail = nil, c.fail
		w := h.serve(h.webhook("/twilio/voice", call(c.from)))
		if w.Code != 200 || !strings.HasSuffix(w.Body.String(), want) {
			t.Errorf("%s: answered %d %s", c.why, w.Code, w.Body)
		}
		if len(h.heard.events) != c.heard {
			t.Errorf("%s: heard %d events, want %d", c.why, len(h.heard.events), c.heard)
		}
	}
	h.heard.events, h.heard.fail = nil, nil
	h.serve(h.webhook("/twilio/voice", call(gwen)))
	rang := bot.Rang{Event: bot.EventID("tw:CA" + strings.Repeat("ab", 16)), From: notify.Address("sms:" + gwen)}
	if diff := cmp.Diff([]bot.Event{rang}, h.heard.events); diff != "" {
		t.Error(diff)
	}
	r := h.webhook("/twilio/voice", call(gwen))
	r.Header.Set("X-Twilio-Signature", "no")
	if w := h.serve(r); w.Code != 403 {
		t.Errorf("a forged call: answered %d, want 403", w.Code)
	}
}
