package standin

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"sync"
	"time"
)

// Telegram is a stand-in for api.telegram.org. Every chat is a private one.
type Telegram struct {
	URL      string
	Token    string
	Username string

	// Patience is how long getUpdates is held at most, whatever it asks for; 0 = as it asks.
	// Set it before the first request.
	Patience time.Duration

	spec     TelegramSpec
	report   Reporter
	server   *httptest.Server
	troubles troubles
	closed   chan struct{}
	once     sync.Once

	mu      sync.Mutex
	count   int // gives message ids
	sent    []*TelegramSent
	answers []TapAnswer
	blocked map[int64]bool
	queue   telegramQueue
	through [2]string
}

// TelegramSent is a message that the stand-in took, as it reads now.
type TelegramSent struct {
	ID      int
	Chat    int64
	Method  string // by which it was sent
	Text    string // or the caption, or a venue's title
	Buttons [][]TelegramButton
	Edits   int            // how often it was changed
	Params  map[string]any // of the last call; an upload is its bytes
}

// TelegramButton is a button below a message.
type TelegramButton struct{ Text, Data string }

// TapAnswer is what a person was shown right after a tap.
type TapAnswer struct{ Query, Text string }

// NewTelegram starts a stand-in. Close it; twice does no harm.
func NewTelegram(spec TelegramSpec, r Reporter) *Telegram {
	s := &Telegram{
		Token: "5550100:AAstandin-" + strings.Repeat("x", 24), Username: "quillbrook_bees_bot",
		spec: spec, report: r, closed: make(chan struct{}), blocked: map[int64]bool{},
	}
	s.queue.init()
	s.server = httptest.NewServer(http.HandlerFunc(s.serve))
	s.URL = s.server.URL
	return s
}

// Close stops the server and lets go whoever hangs or waits for updates.
func (s *Telegram) Close() {
	s.once.Do(func() { close(s.closed) })
	s.server.Close()
}

// Next makes the next n requests of a method ("" for any) meet trouble.
func (s *Telegram) Next(method string, n int, t Trouble) { s.troubles.add(method, n, t) }

// Sent returns the messages taken so far, in order, as they read now.
func (s *Telegram) Sent() []TelegramSent {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []TelegramSent
	for _, m := range s.sent {
		all = append(all, *m)
	}
	return all
}

// Answers returns what people were shown after taps.
func (s *Telegram) Answers() []TapAnswer {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]TapAnswer(nil), s.answers...)
}

// Block makes a person one who has blocked the bot.
func (s *Telegram) Block(chat int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.blocked[chat] = true
}

func (s *Telegram) wrong(format string, args ...any) {
	s.report.Helper()
	s.report.Errorf("telegram stand-in: "+format, args...)
}

// serve finds the method, checks who calls and with what, and answers.
func (s *Telegram) serve(w http.ResponseWriter, r *http.Request) {
	token, method, ok := strings.Cut(strings.TrimPrefix(r.URL.Path, "/bot"), "/")
	// A wrong token may be what a test is about, so it is refused and not reported.
	if !ok || token != s.Token {
		telegramNo(w, Trouble{Status: http.StatusUnauthorized, Words: "Unauthorized"})
		return
	}
	if _, known := s.spec.Methods[method]; !known {
		s.wrong("no such method: %s", method)
		telegramNo(w, Trouble{Status: http.StatusNotFound, Words: "Not Found: method not found"})
		return
	}
	given, err := s.params(r, method)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return // the sender died in the middle of its request
	}
	if err != nil {
		s.wrong("%s: %v", method, err)
	}
	faults := s.spec.check(method, given)
	for _, f := range faults {
		s.wrong("%s: %s", method, f)
	}
	if len(faults) > 0 {
		telegramNo(w, Trouble{Status: http.StatusBadRequest, Words: "Bad Request: " + faults[0]})
		return
	}
	trouble := s.troubles.take(method)
	if trouble == nil {
		s.answer(w, r, method, given)
		return
	}
	if trouble.Accept {
		s.answer(nowhere{http.Header{}}, r, method, given)
	}
	trouble.meet(w, r, s.closed, telegramWords)
}

// params reads a call's parameters, which may come in the address, as a form, in parts or
// as JSON.
func (s *Telegram) params(r *http.Request, method string) (map[string]any, error) {
	given := map[string]any{}
	enter := func(form url.Values) {
		for name, values := range form {
			given[name] = s.spec.fromForm(method, name, values[0])
		}
	}
	enter(r.URL.Query())
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch {
	case kind == "application/json":
		err = json.NewDecoder(r.Body).Decode(&given)
	case kind == "multipart/form-data":
		err = r.ParseMultipartForm(16 << 20)
		if errors.Is(err, io.EOF) && len(s.spec.Methods[method].Fields) == 0 {
			err = nil // a call without parameters comes as an empty body
		}
		if r.MultipartForm != nil {
			enter(r.MultipartForm.Value)
			for name, files := range r.MultipartForm.File {
				given[name], err = s.upload(method, name, files[0])
			}
		}
	case kind == "application/x-www-form-urlencoded":
		err = r.ParseForm()
		enter(r.PostForm)
	case r.Method == http.MethodGet:
		err = nil
	}
	return given, err
}

func (s *Telegram) answer(w http.ResponseWriter, r *http.Request, method string, given map[string]any) {
	switch method {
	case "getUpdates":
		s.getUpdates(w, r, given)
	case "setWebhook":
		s.queue.setWebhook(word(given, "url"), word(given, "secret_token"), given["allowed_updates"])
		telegramYes(w, true)
	case "deleteWebhook":
		s.queue.setWebhook("", "", nil)
		telegramYes(w, true)
	case "getMe":
		telegramYes(w, s.me())
	case "sendMessage", "sendVenue", "sendPhoto", "sendLocation":
		s.send(w, method, given)
	case "editMessageText", "editMessageCaption":
		s.edit(w, method, given)
	case "answerCallbackQuery":
		s.answerTap(w, given)
	default:
		telegramYes(w, true)
	}
}

func (s *Telegram) me() map[string]any {
	return map[string]any{"id": s.botID(), "is_bot": true, "first_name": "Quillbrook Bees", "username": s.Username,
		"can_join_groups": false, "can_read_all_group_messages": false, "supports_inline_queries": false}
}

func (s *Telegram) botID() int64 {
	var id int64
	fmt.Sscanf(s.Token, "%d:", &id)
	return id
}

// send takes a message for a person who has not blocked us.
func (s *Telegram) send(w http.ResponseWriter, method string, given map[string]any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	chat, _ := given["chat_id"].(float64)
	if s.blocked[int64(chat)] {
		telegramNo(w, Trouble{Status: http.StatusForbidden, Words: "Forbidden: bot was blocked by the user"})
		return
	}
	s.count++
	m := &TelegramSent{ID: s.count, Chat: int64(chat), Method: method}
	m.now(given)
	s.sent = append(s.sent, m)
	telegramYes(w, s.resource(m))
}

// now sets how the message reads after a call.
func (m *TelegramSent) now(given map[string]any) {
	m.Params, m.Text, m.Buttons = maps.Clone(given), "", nil
	for _, name := range []string{"text", "caption", "title"} {
		m.Text += word(given, name)
	}
	markup, _ := given["reply_markup"].(map[string]any)
	rows, _ := markup["inline_keyboard"].([]any)
	for _, row := range rows {
		var keys []TelegramButton
		for _, b := range row.([]any) {
			b := b.(map[string]any)
			keys = append(keys, TelegramButton{Text: word(b, "text"), Data: word(b, "callback_data")})
		}
		m.Buttons = append(m.Buttons, keys)
	}
}

// edit changes a message in place.
func (s *Telegram) edit(w http.ResponseWriter, method string, given map[string]any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	chat, _ := given["chat_id"].(float64)
	id, _ := given["message_id"].(float64)
	for _, m := range s.sent {
		if m.ID != int(id) || m.Chat != int64(chat) {
			continue
		}
		if (m.Method == "sendMessage") != (method == "editMessageText") {
			what := map[string]string{"editMessageText": "text", "editMessageCaption": "caption"}[method]
			telegramNo(w, Trouble{Status: http.StatusBadRequest, Words: "Bad Request: there is no " + what + " in the message to edit"})
			return
		}
		before := *m
		m.now(given)
		if m.Text == before.Text && reflect.DeepEqual(m.Buttons, before.Buttons) {
			telegramNo(w, Trouble{Status: http.StatusBadRequest, Words: "Bad Request: message is not modified: specified new message content and reply markup are exactly the same as a current content and reply markup of the message"})
			return
		}
		m.Edits++
		telegramYes(w, s.resource(m))
		return
	}
	telegramNo(w, Trouble{Status: http.StatusBadRequest, Words: "Bad Request: message to edit not found"})
}

func (s *Telegram) answerTap(w http.ResponseWriter, given map[string]any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	query := word(given, "callback_query_id")
	if !s.queue.tapKnown(query) {
		telegramNo(w, Trouble{Status: http.StatusBadRequest, Words: "Bad Request: query is too old and response timeout expired or query ID is invalid"})
		return
	}
	s.answers = append(s.answers, TapAnswer{Query: query, Text: word(given, "text")})
	telegramYes(w, true)
}

// resource returns a message as the Bot API documents it.
func (s *Telegram) resource(m *TelegramSent) map[string]any {
	return map[string]any{"message_id": m.ID, "date": time.Now().Unix(), "from": s.me(),
		"chat": map[string]any{"id": m.Chat, "type": "private"}, "text": m.Text}
}

func word(given map[string]any, name string) string {
	v, _ := given[name].(string)
	return v
}

func telegramYes(w http.ResponseWriter, result any) {
	writeJSON(w, http.StatusOK, map[string]any{"ok": true, "result": result})
}

func telegramNo(w http.ResponseWriter, t Trouble) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(t.Status)
	io.WriteString(w, telegramWords(t))
}

func telegramWords(t Trouble) string {
	no := map[string]any{"ok": false, "error_code": t.Status, "description": t.Words}
	if t.RetryAfter > 0 {
		no["parameters"] = map[string]any{"retry_after": t.RetryAfter}
	}
	b, _ := json.Marshal(no)
	return string(b)
}
