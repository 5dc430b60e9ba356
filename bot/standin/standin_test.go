package standin

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// witness keeps what the stand-in reports.
type witness struct{ said []string }

func (w *witness) Helper() {}
func (w *witness) Errorf(format string, args ...any) {
	w.said = append(w.said, fmt.Sprintf(format, args...))
}

// wants holds that exactly one report came and has the words; no words = no report.
func (w *witness) wants(t *testing.T, why, words string) {
	t.Helper()
	all := strings.Join(w.said, "\n")
	if words == "" && all != "" || words != "" && !strings.Contains(all, words) {
		t.Errorf("%s: reported %q, want %q", why, all, words)
	}
	w.said = nil
}

func twilio(t *testing.T) (*Twilio, *witness) {
	t.Helper()
	spec, err := ReadTwilioSpec("../../testdata/published/twilio_messages.json")
	if err != nil {
		t.Fatal(err)
	}
	w := &witness{}
	s := NewTwilio(spec, w)
	t.Cleanup(s.Close)
	return s, w
}

func telegram(t *testing.T) (*Telegram, *witness) {
	t.Helper()
	spec, err := ReadTelegramSpec("../../testdata/published/telegram_methods.json")
	if err != nil {
		t.Fatal(err)
	}
	w := &witness{}
	s := NewTelegram(spec, w)
	t.Cleanup(s.Close)
	return s, w
}

// do sends a request and returns the status and the body read as JSON.
func do(t *testing.T, r *http.Request) (int, map[string]any) {
	t.Helper()
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	var read map[string]any
	if err := json.Unmarshal(b, &read); err != nil {
		t.Fatalf("%d %s: %v", answer.StatusCode, b, err)
	}
	return answer.StatusCode, read
}

func (s *Twilio) request(method, path string, form url.Values) *http.Request {
	r, err := http.NewRequest(method, s.URL+"/2010-04-01/Accounts/"+s.AccountSID+path, strings.NewReader(form.Encode()))
	if err != nil {
		panic(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.SetBasicAuth(s.AccountSID, s.AuthToken)
	return r
}

func TestTwilioCreate(t *testing.T) {
	s, w := twilio(t)
	for _, c := range []struct{ why, params, want string }{
		{"a message", "To=%2B16075550142&From=%2B16075550100&Body=hi", ""},
		{"all we ever send", "To=whatsapp:%2B16075550142&From=whatsapp:%2B16075550100&Body=hi&ValidityPeriod=300&StatusCallback=https://h.example.org/s?m=1", ""},
		{"through a service", "To=%2B16075550142&MessagingServiceSid=MG" + strings.Repeat("0a", 16) + "&Body=hi", ""},
		{"no receiver", "From=%2B16075550100&Body=hi", "To is required"},
		{"no sender", "To=%2B16075550142&Body=hi", "neither From"},
		{"nothing said", "To=%2B16075550142&From=%2B16075550100", "neither Body"},
		{"a name we made up", "To=%2B16075550142&From=%2B16075550100&Body=hi&Buttons=1", "Buttons is no parameter"},
		{"given twice", "To=%2B16075550142&From=%2B16075550100&Body=hi&Body=ho", "Body is given twice"},
		{"a number in another form", "To=607-555-0142&From=%2B16075550100&Body=hi", "To: is no address"},
		{"a service of another shape", "To=%2B16075550142&MessagingServiceSid=MG1&Body=hi", "does not match"},
		{"no number", "To=%2B16075550142&From=%2B16075550100&Body=hi&ValidityPeriod=soon", "is no integer"},
		{"out of range", "To=%2B16075550142&From=%2B16075550100&Body=hi&ValidityPeriod=36001", "not within"},
		{"neither true nor false", "To=%2B16075550142&From=%2B16075550100&Body=hi&SmartEncoded=maybe", "neither true nor false"},
		{"none of the words", "To=%2B16075550142&From=%2B16075550100&Body=hi&ContentRetention=burn", "is none of"},
		{"a date of another form", "To=%2B16075550142&From=%2B16075550100&Body=hi&SendAt=tomorrow", "no date"},
		{"no address of a page", "To=%2B16075550142&From=%2B16075550100&Body=hi&StatusCallback=nowhere", "no address of a page"},
		{"an underscore", "To=%2B16075550142&From=%2B16075550100&Body=hi&StatusCallback=https://a_b.example.org/", "underscore"},
		{"too long", "To=%2B16075550142&From=%2B16075550100&Body=" + strings.Repeat("a", 1601), "at most 1600"},
	} {
		form, err := url.ParseQuery(c.params)
		if err != nil {
			t.Fatal(err)
		}
		before := len(s.Sent())
		status, answer := do(t, s.request("POST", "/Messages.json", form))
		w.wants(t, c.why, c.want)
		if took := len(s.Sent()) > before; took != (c.want == "") || took != (status == 201) {
			t.Errorf("%s: answered %d, taken %v", c.why, status, took)
		}
		for name := range answer {
			if _, documented := s.spec.Message[name]; status == 201 && !documented {
				t.Errorf("%s: answered with %q, which no message has", c.why, name)
			}
		}
	}
}

func TestTwilioCalls(t *testing.T) {
	s, w := twilio(t)
	r := s.request("POST", "/Messages.json?Body=secret", url.Values{"To": {"+16075550142"}, "From": {"+16075550100"}, "Body": {"hi"}})
	do(t, r)
	w.wants(t, "parameters in the address", "would be logged")
	r = s.request("POST", "/Messages.json", url.Values{"To": {"+16075550142"}, "From": {"+16075550100"}, "Body": {"hi"}})
	r.Header.Set("Content-Type", "text/plain")
	do(t, r)
	w.wants(t, "another content type", "content type")
	if status, _ := do(t, s.request("PUT", "/Messages.json", nil)); status != 404 {
		t.Errorf("answered %d, want 404", status)
	}
	w.wants(t, "no such call", "no such call")
	if status, _ := do(t, s.request("GET", "/Messages.json?PageSize=1001", nil)); status != 400 {
		t.Errorf("answered %d, want 400", status)
	}
	w.wants(t, "a page too long", "out of range")
	r = s.request("GET", ".json", nil)
	r.SetBasicAuth(s.AccountSID, "wrong")
	if status, answer := do(t, r); status != 401 || answer["code"] != 20003.0 {
		t.Errorf("wrong credentials: %d %v", status, answer)
	}
	w.wants(t, "wrong credentials are no fault of a request", "")
}

func TestTwilioMedia(t *testing.T) {
	s, w := twilio(t)
	p := s.Text("+16075550142", "+16075550100", "", Media{Type: "image/png", Body: []byte("png")})
	u, err := url.Parse(p.Get("MediaUrl0"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequest("GET", s.URL+u.Path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.SetBasicAuth(s.AccountSID, s.AuthToken)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if b, _ := io.ReadAll(answer.Body); string(b) != "png" || answer.Header.Get("Content-Type") != "image/png" {
		t.Errorf("the file is %q, %s", b, answer.Header.Get("Content-Type"))
	}
	w.wants(t, "a file", "")
}

// call calls a method of the Bot API with JSON parameters.
func (s *Telegram) call(t *testing.T, method, params string) (int, map[string]any) {
	t.Helper()
	r, err := http.NewRequest("POST", s.URL+"/bot"+s.Token+"/"+method, strings.NewReader(params))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	return do(t, r)
}

func TestTelegramCalls(t *testing.T) {
	s, w := telegram(t)
	for _, c := range []struct{ why, method, params, want string }{
		{"a message", "sendMessage", `{"chat_id":5550101,"text":"hi"}`, ""},
		{"with a button", "sendMessage", `{"chat_id":5550101,"text":"hi","reply_markup":{"inline_keyboard":[[{"text":"T","callback_data":"t"}]]}}`, ""},
		{"asks for a place", "sendMessage", `{"chat_id":5550101,"text":"hi","reply_markup":{"keyboard":[[{"text":"Here","request_location":true}]]}}`, ""},
		{"no chat", "sendMessage", `{"text":"hi"}`, "sendMessage.chat_id is required"},
		{"nothing said", "sendMessage", `{"chat_id":5550101,"text":""}`, "has length 0"},
		{"too long", "sendMessage", `{"chat_id":5550101,"text":"` + strings.Repeat("a", 4097) + `"}`, "has length 4097"},
		{"a name we made up", "sendMessage", `{"chat_id":5550101,"text":"hi","silent":true}`, "silent is no field"},
		{"true in quotes", "sendMessage", `{"chat_id":5550101,"text":"hi","disable_notification":"true"}`, "is no Boolean"},
		{"a chat that is a list", "sendMessage", `{"chat_id":[1],"text":"hi"}`, "is no Integer"},
		{"a button that does two things", "sendMessage", `{"chat_id":1,"text":"hi","reply_markup":{"inline_keyboard":[[{"text":"T","callback_data":"t","url":"https://e.org"}]]}}`, "has 2 actions"},
		{"a button that does nothing", "sendMessage", `{"chat_id":1,"text":"hi","reply_markup":{"inline_keyboard":[[{"text":"T"}]]}}`, "has 0 actions"},
		{"65 bytes behind a button", "sendMessage", `{"chat_id":1,"text":"hi","reply_markup":{"inline_keyboard":[[{"text":"T","callback_data":"` + strings.Repeat("a", 65) + `"}]]}}`, "has length 65"},
		{"buttons without rows", "sendMessage", `{"chat_id":1,"text":"hi","reply_markup":{"inline_keyboard":[{"text":"T","callback_data":"t"}]}}`, "is no Array of InlineKeyboardButton"},
		{"a caption too long", "sendPhoto", `{"chat_id":1,"photo":"f","caption":"` + strings.Repeat("a", 1025) + `"}`, "has length 1025"},
		{"a venue without an address", "sendVenue", `{"chat_id":1,"latitude":1.5,"longitude":2,"title":"T"}`, "sendVenue.address is required"},
		{"a secret with a space", "setWebhook", `{"url":"https://h.example.org/","secret_token":"a b"}`, "secret_token"},
		{"more than a tap shows", "answerCallbackQuery", `{"callback_query_id":"q","text":"` + strings.Repeat("a", 201) + `"}`, "has length 201"},
		{"no such method", "sendSMS", `{}`, "no such method"},
		{"too many updates at a time", "getUpdates", `{"limit":101}`, "not within 1 to 100"},
	} {
		status, answer := s.call(t, c.method, c.params)
		w.wants(t, c.why, c.want)
		if c.want == "" && (status != 200 || answer["ok"] != true) {
			t.Errorf("%s: %d %v", c.why, status, answer)
		}
	}
	if got := len(s.Sent()); got != 3 {
		t.Errorf("%d messages were taken, want 3", got)
	}
	token := s.Token
	s.Token = "another"
	r, err := http.NewRequest("POST", s.URL+"/bot"+token+"/getMe", nil)
	if err != nil {
		t.Fatal(err)
	}
	if status, answer := do(t, r); status != 401 || answer["ok"] != false {
		t.Errorf("a wrong token: %d %v", status, answer)
	}
	w.wants(t, "a wrong token is no fault of a request", "")
}

// TestTelegramUpdates holds what getUpdates promises (Bot API): an update is confirmed when
// a higher offset is asked for, and there is one who asks.
func TestTelegramUpdates(t *testing.T) {
	s, w := telegram(t)
	ids := func(answer map[string]any) []int64 {
		var got []int64
		list, _ := answer["result"].([]any)
		for _, u := range list {
			got = append(got, int64(u.(map[string]any)["update_id"].(float64)))
		}
		return got
	}
	ada := TelegramPerson{ID: 5550101, Name: "Ada"}
	one, two := s.Says(ada, "one"), s.Says(ada, "two")
	for _, c := range []struct {
		why    string
		params string
		want   []int64
	}{
		{"all that waits", `{}`, []int64{one, two}},
		{"again: nothing was confirmed", `{"limit":1}`, []int64{one}},
		{"from the second on", fmt.Sprintf(`{"offset":%d}`, two), []int64{two}},
		{"the first is forgotten", `{}`, []int64{two}},
		{"past the end", fmt.Sprintf(`{"offset":%d}`, two+1), nil},
	} {
		if _, answer := s.call(t, "getUpdates", c.params); !slices.Equal(ids(answer), c.want) {
			t.Errorf("%s: %v, want %v", c.why, ids(answer), c.want)
		}
	}
	s.call(t, "setWebhook", `{"url":"https://h.example.org/telegram"}`)
	if status, _ := s.call(t, "getUpdates", `{}`); status != 409 {
		t.Errorf("with a webhook set: %d, want 409", status)
	}
	s.call(t, "deleteWebhook", `{}`)
	tap := s.Taps(ada, "take")
	if _, answer := s.call(t, "getUpdates", `{"allowed_updates":["message"]}`); ids(answer) != nil {
		t.Errorf("kinds we did not ask for: %v, tap %d", ids(answer), tap)
	}
	s.Patience = time.Millisecond
	if status, answer := s.call(t, "getUpdates", `{"timeout":20}`); status != 200 || ids(answer) != nil {
		t.Errorf("nothing waits: %d %v", status, answer)
	}
	w.wants(t, "updates", "")
}

// TestTelegramTwoPollers holds that a second getUpdates ends the first with a 409.
func TestTelegramTwoPollers(t *testing.T) {
	s, _ := telegram(t)
	first := make(chan int)
	go func() {
		status, _ := s.call(t, "getUpdates", `{"timeout":20}`)
		first <- status
	}()
	for len(s.Offsets()) == 0 {
		// Until the first one is there; a second would wait for nothing.
		select {
		case status := <-first:
			t.Fatalf("the first ended with %d by itself", status)
		default:
		}
	}
	s.call(t, "getUpdates", `{}`)
	if status := <-first; status != 409 {
		t.Errorf("the first ended with %d, want 409", status)
	}
}

func TestLimits(t *testing.T) {
	for words, want := range map[string][2]int{
		"<= 1600 characters": {0, 1600}, "1..36000 s": {1, 36000}, "1-64 bytes": {1, 64},
		"1-4096 characters after entity parsing": {1, 4096},
	} {
		if got := rangeOf(words); got != want {
			t.Errorf("%q is read as %v, want %v", words, got, want)
		}
	}
}

// TestTwilioSign holds the stand-in's signatures against those of Twilio's own library.
func TestTwilioSign(t *testing.T) {
	b, err := os.ReadFile("../../testdata/published/twilio_signatures.json")
	if err != nil {
		t.Fatal(err)
	}
	var published struct {
		Vectors []struct {
			Name, URL, AuthToken, Signature string
			Params                          map[string]any
			Valid                           bool
		}
	}
	if err := json.Unmarshal(b, &published); err != nil {
		t.Fatal(err)
	}
	s, _ := twilio(t)
	held := 0
	for _, v := range published.Vectors {
		form := url.Values{}
		for name, value := range v.Params {
			if words, ok := value.(string); ok {
				form.Set(name, words)
			}
		}
		// Vectors with the default port in one of two places, and with a parameter twice, are
		// for a reader of signatures.
		if strings.Contains(v.Name, ":443") || len(form) < len(v.Params) {
			continue
		}
		s.AuthToken = v.AuthToken
		if got := s.Sign(v.URL, form) == v.Signature; got != v.Valid {
			t.Errorf("%s: same signature = %v, want %v", v.Name, got, v.Valid)
		}
		held++
	}
	if held < 9 {
		t.Errorf("only %d vectors held", held)
	}
}

// TestTwilioReport follows a delivery report through a proxy: signed for the address that
// came with the message, posted where the hotline listens.
func TestTwilioReport(t *testing.T) {
	s, w := twilio(t)
	got := make(chan *http.Request, 1)
	hotline := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		r.ParseForm()
		got <- r
	}))
	defer hotline.Close()
	const callback = "https://h.example.org/twilio/status?m=1"
	s.Through("https://h.example.org", hotline.URL)
	do(t, s.request("POST", "/Messages.json", url.Values{"To": {"+16075550142"}, "From": {"+16075550100"}, "Body": {"hi"}, "StatusCallback": {callback}}))
	do(t, s.request("POST", "/Messages.json", url.Values{"To": {"+16075550142"}, "From": {"+16075550100"}, "Body": {"hi"}}))
	w.wants(t, "two messages", "")
	sent := s.Sent()
	answer, err := s.Report(sent[0].SID, "undelivered", "30003")
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	r := <-got
	if r.URL.RequestURI() != "/twilio/status?m=1" || r.PostForm.Get("ErrorCode") != "30003" || r.PostForm.Get("MessageStatus") != "undelivered" ||
		r.Header.Get("X-Twilio-Signature") != s.Sign(callback, r.PostForm) {
		t.Errorf("%s got %v", r.URL, r.PostForm)
	}
	for _, sid := range []string{sent[1].SID, "SM0"} {
		if _, err := s.Report(sid, "delivered", ""); err == nil {
			t.Errorf("reported on %s, which nobody can", sid)
		}
	}
}
