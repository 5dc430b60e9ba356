package telegram

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/bot/standin"
)

type fields = map[string]any

func TestUpdates(t *testing.T) {
	h := open(t)
	server := httptest.NewServer(h.Door)
	defer server.Close()
	h.telegram.Through(public+"/telegram", server.URL)
	if err := h.SetWebhook(t.Context()); err != nil {
		t.Fatal(err)
	}
	photo := []any{fields{"file_id": "small", "width": 90, "height": 60}, fields{"file_id": "big", "width": 1280, "height": 960}, fields{"file_id": "middle", "width": 320, "height": 240}}
	place := fields{"latitude": 42.446, "longitude": -76.49, "horizontal_accuracy": 12.5}
	fromAda := bot.Said{From: "telegram:5550101", Language: "en", Profile: "Ada"}
	said := func(change func(*bot.Said)) *bot.Said { s := fromAda; change(&s); return &s }
	for _, c := range []struct {
		why  string
		send func() int64
		want bot.Event // without its id; nil = no affair of ours
	}{
		{"a plain text", func() int64 { return h.telegram.Says(ada, "bees!") }, *said(func(s *bot.Said) { s.Text = "bees!" })},
		{"an invitation is text", func() int64 { return h.telegram.Says(ada, "/start AbC_-9") }, *said(func(s *bot.Said) { s.Text = "/start AbC_-9" })},
		{"a picture: its largest size", func() int64 { return h.telegram.Sends(ada, fields{"photo": photo}) }, *said(func(s *bot.Said) { s.Photos = []string{"tg:big"} })},
		{"a picture with words", func() int64 { return h.telegram.Sends(ada, fields{"photo": photo, "caption": "here"}) }, *said(func(s *bot.Said) { s.Photos, s.Text = []string{"tg:big"}, "here" })},
		{"a picture sent as a file", func() int64 {
			return h.telegram.Sends(ada, fields{"document": fields{"file_id": "f", "mime_type": "image/png"}})
		}, *said(func(s *bot.Said) { s.Photos = []string{"tg:f"} })},
		{"a letter", func() int64 {
			return h.telegram.Sends(ada, fields{"document": fields{"file_id": "f", "mime_type": "application/pdf"}})
		}, *said(func(s *bot.Said) { s.Other = "document" })},
		{"a moving picture comes as a document too", func() int64 {
			return h.telegram.Sends(ada, fields{"animation": fields{"file_id": "f"}, "document": fields{"file_id": "f", "mime_type": "image/gif"}})
		}, *said(func(s *bot.Said) { s.Other = "video" })},
		{"a place", func() int64 { return h.telegram.Sends(ada, fields{"location": place}) }, *said(func(s *bot.Said) { s.Pin = &bot.Point{Lat: 42.446, Lon: -76.49, PrecisionM: 12.5} })},
		{"a place with a name comes with a location too", func() int64 {
			return h.telegram.Sends(ada, fields{"location": place, "venue": fields{"location": place, "title": "Old mill", "address": "Mill Rd"}})
		}, *said(func(s *bot.Said) { s.Pin = &bot.Point{Lat: 42.446, Lon: -76.49, Title: "Old mill"} })},
		{"a place that is nowhere, and nothing else", func() int64 {
			return h.telegram.Sends(ada, fields{"location": fields{"latitude": 91, "longitude": 0}})
		}, *said(func(s *bot.Said) { s.Other = "garbled" })},
		{"a live location that moves is an edited message", func() int64 {
			return h.telegram.Push("edited_message", edited(ada, fields{"location": place}))
		}, *said(func(s *bot.Said) { s.Pin = &bot.Point{Lat: 42.446, Lon: -76.49, PrecisionM: 12.5} })},
		{"words put right", func() int64 { return h.telegram.Push("edited_message", edited(ada, fields{"text": "wasps!"})) }, *said(func(s *bot.Said) { s.Text = "wasps!" })},
		{"a voice message", func() int64 { return h.telegram.Sends(ada, fields{"voice": fields{"file_id": "v"}}) }, *said(func(s *bot.Said) { s.Other = "voice" })},
		{"a round film", func() int64 { return h.telegram.Sends(ada, fields{"video_note": fields{"file_id": "v"}}) }, *said(func(s *bot.Said) { s.Other = "video" })},
		{"a sticker", func() int64 { return h.telegram.Sends(ada, fields{"sticker": fields{"emoji": "🐝"}}) }, *said(func(s *bot.Said) { s.Other = "sticker" })},
		{"somebody's number", func() int64 {
			return h.telegram.Sends(ada, fields{"contact": fields{"phone_number": "+16075550142", "first_name": "Gwen"}})
		}, *said(func(s *bot.Said) { s.Other = "contact" })},
		{"a contact whose card holds a point", func() int64 {
			return h.telegram.Sends(ada, fields{"contact": fields{"phone_number": "+16075550142", "first_name": "Gwen",
				"vcard": "BEGIN:VCARD\nVERSION:3.0\nFN:Gwen\nGEO:42.446;-76.49\nEND:VCARD"}})
		}, *said(func(s *bot.Said) { s.Pin = &bot.Point{Lat: 42.446, Lon: -76.49, PrecisionM: 111} })},
		{"a contact whose card holds an address", func() int64 {
			return h.telegram.Sends(ada, fields{"contact": fields{"phone_number": "+16075550142", "first_name": "Gwen",
				"vcard": "BEGIN:VCARD\nVERSION:3.0\nFN:Gwen\nADR:;;14 Mill Ln;Quillbrook;;;\nEND:VCARD"}})
		}, *said(func(s *bot.Said) { s.Text = "14 Mill Ln, Quillbrook" })},
		{"dice", func() int64 { return h.telegram.Sends(ada, fields{"dice": fields{"emoji": "🎲", "value": 3}}) }, *said(func(s *bot.Said) { s.Other = "document" })},
		{"emoji only", func() int64 { return h.telegram.Says(ada, "🐝🐝") }, *said(func(s *bot.Said) { s.Text = "🐝🐝" })},
		{"invisible characters only", func() int64 { return h.telegram.Says(ada, "\u202e\u202c") }, *said(func(s *bot.Said) { s.Other = "garbled" })},
		{"10 001 characters", func() int64 { return h.telegram.Says(ada, strings.Repeat("é", 10_001)) }, *said(func(s *bot.Said) { s.Text = strings.Repeat("é", 10_000) })},
		{"forwarded in a way newer than the library, which would refuse it all", func() int64 {
			return h.telegram.Sends(ada, fields{"text": "bees!", "forward_origin": fields{"type": "from_the_moon", "date": 1}})
		}, *said(func(s *bot.Said) { s.Text = "bees!" })},
		{"a field of another shape than we know", func() int64 {
			return h.telegram.Sends(ada, fields{"text": "bees!", "venue": "new style"})
		}, *said(func(s *bot.Said) { s.Text = "bees!" })},
		{"a service message", func() int64 {
			return h.telegram.Sends(ada, fields{"pinned_message": fields{"message_id": 1}})
		}, nil},
		{"a group", func() int64 {
			return h.telegram.Sends(ada, fields{"text": "hi all", "chat": fields{"id": -100123, "type": "supergroup"}})
		}, nil},
		{"another bot", func() int64 {
			return h.telegram.Sends(ada, fields{"text": "beep", "from": fields{"id": 7, "is_bot": true, "first_name": "Beep"}})
		}, nil},
		{"a tap", func() int64 { return h.telegram.Taps(bram, "take 7KQ2") }, bot.Tapped{From: "telegram:5550102", Says: "take 7KQ2", Language: "es", Profile: "Bram"}},
		{"a tap below an old message, which comes as a stub", func() int64 {
			return h.telegram.Push("callback_query", fields{"id": "old", "from": person(bram), "chat_instance": "1", "data": "pass 7KQ2",
				"message": fields{"chat": fields{"id": bram.ID, "type": "private"}, "message_id": 1, "date": 0}})
		}, bot.Tapped{From: "telegram:5550102", Says: "pass 7KQ2", Language: "es", Profile: "Bram"}},
		{"a tap without any message", func() int64 {
			return h.telegram.Push("callback_query", fields{"id": "none", "from": person(bram), "chat_instance": "1", "data": "pass 7KQ2"})
		}, bot.Tapped{From: "telegram:5550102", Says: "pass 7KQ2", Language: "es", Profile: "Bram"}},
		{"a tap in a group", func() int64 {
			return h.telegram.Push("callback_query", fields{"id": "grp", "from": person(bram), "chat_instance": "1", "data": "take 7KQ2",
				"message": fields{"chat": fields{"id": -100123, "type": "group"}, "message_id": 1, "date": 1}})
		}, nil},
		{"a tap on a game", func() int64 {
			return h.telegram.Push("callback_query", fields{"id": "game", "from": person(bram), "chat_instance": "1", "game_short_name": "chess"})
		}, nil},
		{"somebody blocks us", func() int64 { return h.telegram.Push("my_chat_member", member(ada, "private", "kicked")) }, bot.Blocked{From: "telegram:5550101"}},
		{"and lets us in again", func() int64 { return h.telegram.Push("my_chat_member", member(ada, "private", "member")) }, bot.Blocked{From: "telegram:5550101", Open: true}},
		{"a status newer than we are", func() int64 { return h.telegram.Push("my_chat_member", member(ada, "private", "on_hold")) }, nil},
		{"added to a group", func() int64 { return h.telegram.Push("my_chat_member", member(ada, "group", "member")) }, nil},
	} {
		h.heard.events = nil
		id := h.eventID(c.send())
		statuses, err := h.telegram.Deliver()
		if err != nil || len(statuses) != 1 || statuses[0] != 200 {
			t.Fatalf("%s: answered %v, %v", c.why, statuses, err)
		}
		var want []bot.Event
		if c.want != nil {
			want = append(want, withID(c.want, id))
		}
		if diff := cmp.Diff(want, h.heard.events); diff != "" {
			t.Errorf("%s: (-want +got)\n%s", c.why, diff)
		}
	}
	h.Drain()
	h.secrets(t, nil, "bees!", "Old mill")
}

func withID(e bot.Event, id bot.EventID) bot.Event {
	switch e := e.(type) {
	case bot.Said:
		e.Event = id
		return e
	case bot.Tapped:
		e.Event = id
		return e
	case bot.Blocked:
		e.Event = id
		return e
	}
	return e
}

func person(p standin.TelegramPerson) fields {
	return fields{"id": p.ID, "is_bot": false, "first_name": p.Name, "language_code": p.Language}
}

func edited(p standin.TelegramPerson, f fields) fields {
	m := fields{"message_id": 1, "date": 1, "edit_date": 2, "from": person(p), "chat": fields{"id": p.ID, "type": "private"}}
	for k, v := range f {
		m[k] = v
	}
	return m
}

func member(p standin.TelegramPerson, chat, status string) fields {
	return fields{"chat": fields{"id": p.ID, "type": chat}, "from": person(p), "date": 1,
		"old_chat_member": fields{"status": "member"}, "new_chat_member": fields{"status": status}}
}

// TestPublishedNames holds that every name under which we look for something in a message
// is one that the Bot API publishes, so that no typo makes us blind.
func TestPublishedNames(t *testing.T) {
	b, err := os.ReadFile("../../testdata/published/telegram_methods.json")
	if err != nil {
		t.Fatal(err)
	}
	var published struct {
		Types map[string]struct{ Fields []struct{ Name string } }
	}
	if err := json.Unmarshal(b, &published); err != nil {
		t.Fatal(err)
	}
	for of, ours := range map[string]reflect.Type{"Message": reflect.TypeFor[message](), "Update": reflect.TypeFor[update]()} {
		names := map[string]bool{}
		for _, f := range published.Types[of].Fields {
			names[f.Name] = true
		}
		if len(names) < 20 {
			t.Fatalf("%s has %d published fields", of, len(names))
		}
		for i := range ours.NumField() {
			if name := ours.Field(i).Tag.Get("json"); !names[name] {
				t.Errorf("%s has no field %q", of, name)
			}
		}
	}
	for _, kind := range allowedUpdates {
		if !strings.Contains(string(b), `"`+kind+`"`) {
			t.Errorf("no kind of update is called %q", kind)
		}
	}
}

func TestRefusedWebhooks(t *testing.T) {
	h := open(t)
	good := `{"update_id":70000001,"message":{"message_id":1,"date":1,"chat":{"id":5550101,"type":"private"},"text":"bees!"}}`
	for _, c := range []struct {
		why, method, secret, body string
		want                      int
	}{
		{"no secret", "POST", "", good, 401},
		{"a wrong one", "POST", secret + "x", good, 401},
		{"a part of it", "POST", secret[:4], good, 401},
		{"a look with a browser", "GET", secret, "", 405},
		{"no JSON", "POST", secret, "{", 400},
		{"no update", "POST", secret, `{"ok":true}`, 400},
		{"longer than any update", "POST", secret, good + strings.Repeat(" ", maxWebhook), 413},
	} {
		r := httptest.NewRequest(c.method, "/telegram", strings.NewReader(c.body))
		r.Header.Set("X-Telegram-Bot-Api-Secret-Token", c.secret)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != c.want {
			t.Errorf("%s: answered %d, want %d", c.why, w.Code, c.want)
		}
	}
	h.again(func(c *Config) { c.Secret = "" })
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("POST", "/telegram", strings.NewReader(good)))
	if w.Code != 401 {
		t.Errorf("a door without a secret answered %d, want 401", w.Code)
	}
	if len(h.heard.events) > 0 {
		t.Errorf("heard %d events of refused webhooks", len(h.heard.events))
	}
	h.secrets(t, nil, "bees!", secret)
}

// TestNotCommitted holds that Telegram brings an update again until it is committed, and
// that a tap is answered only after that.
func TestNotCommitted(t *testing.T) {
	h := open(t)
	server := httptest.NewServer(h.Door)
	defer server.Close()
	h.telegram.Through(public+"/telegram", server.URL)
	if err := h.SetWebhook(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.telegram.Taps(bram, "take 7KQ2")
	h.heard.fail = always
	if statuses, err := h.telegram.Deliver(); err != nil || len(statuses) != 1 || statuses[0] != http.StatusServiceUnavailable {
		t.Fatalf("answered %v, %v; want 503", statuses, err)
	}
	h.Drain()
	if n := len(h.telegram.Answers()); n > 0 {
		t.Errorf("%d taps were answered before the commit", n)
	}
	h.heard.fail = nil
	if statuses, err := h.telegram.Deliver(); err != nil || len(statuses) != 1 || statuses[0] != 200 {
		t.Fatalf("answered %v, %v; want 200", statuses, err)
	}
	h.Drain()
	want := []standin.TapAnswer{{Query: "q1", Text: "won in es"}}
	if diff := cmp.Diff(want, h.telegram.Answers()); diff != "" {
		t.Error(diff)
	}
}

// TestTapAnswerFails holds that the answer to a tap is no part of the acknowledgement.
func TestTapAnswerFails(t *testing.T) {
	for _, meet := range []standin.Trouble{standin.Refusal(400, 0, "Bad Request: query is too old"), standin.Broken(502), {Cut: true}} {
		h := open(t)
		server := httptest.NewServer(h.Door)
		defer server.Close()
		h.telegram.Through(public+"/telegram", server.URL)
		if err := h.SetWebhook(t.Context()); err != nil {
			t.Fatal(err)
		}
		h.telegram.Next("answerCallbackQuery", 1, meet)
		h.telegram.Taps(bram, "take 7KQ2")
		if statuses, err := h.telegram.Deliver(); err != nil || len(statuses) != 1 || statuses[0] != 200 {
			t.Errorf("answered %v, %v; want 200", statuses, err)
		}
		h.Drain()
		h.secrets(t, nil)
	}
}
