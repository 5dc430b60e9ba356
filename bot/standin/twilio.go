package standin

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// The calls of Twilio's API that the stand-in knows, as Next takes them.
const (
	TwilioCreate  = "create"  // send a message
	TwilioList    = "list"    // list messages
	TwilioMedia   = "media"   // list a message's attachments
	TwilioFile    = "file"    // fetch an attachment
	TwilioAccount = "account" // fetch the account
)

// Twilio is a stand-in for api.twilio.com and for the part of Twilio that posts webhooks.
type Twilio struct {
	URL        string
	AccountSID string
	AuthToken  string
	Service    string // messaging service of incoming messages; set before they come

	spec     TwilioSpec
	report   Reporter
	server   *httptest.Server
	troubles troubles
	closed   chan struct{}
	once     sync.Once

	mu      sync.Mutex
	count   int // gives ids
	sent    []TwilioSent
	logged  []twilioLogged
	through [2]string
}

// TwilioSent is a message that the stand-in took.
type TwilioSent struct {
	SID      string
	To       string
	From     string // or the messaging service
	Body     string
	Callback string // StatusCallback
	Params   url.Values
	At       time.Time // when it was taken
}

// Media is an attachment of an incoming message.
type Media struct {
	Type string // MIME
	Body []byte // what the file holds

	sid string
}

// twilioLogged is an incoming message in the log.
type twilioLogged struct {
	sid, from, to, body string
	media               []Media
	at                  time.Time
}

// NewTwilio starts a stand-in. Close it; twice does no harm.
func NewTwilio(spec TwilioSpec, r Reporter) *Twilio {
	s := &Twilio{
		AccountSID: "AC" + strings.Repeat("5a", 16),
		AuthToken:  strings.Repeat("c0ffee55", 4),
		spec:       spec, report: r, closed: make(chan struct{}),
	}
	s.server = httptest.NewServer(http.HandlerFunc(s.serve))
	s.URL = s.server.URL
	return s
}

// Close stops the server and lets go whoever hangs.
func (s *Twilio) Close() {
	s.once.Do(func() { close(s.closed) })
	s.server.Close()
}

// Next makes the next n requests of a call ("" for any) meet trouble.
func (s *Twilio) Next(call string, n int, t Trouble) { s.troubles.add(call, n, t) }

// Sent returns the messages taken so far, in order.
func (s *Twilio) Sent() []TwilioSent {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]TwilioSent(nil), s.sent...)
}

func (s *Twilio) wrong(format string, args ...any) {
	s.report.Helper()
	s.report.Errorf("twilio stand-in: "+format, args...)
}

var twilioPaths = []struct {
	call, method string
	path         *regexp.Regexp
}{
	{TwilioCreate, http.MethodPost, regexp.MustCompile(`^/2010-04-01/Accounts/([^/]+)/Messages\.json$`)},
	{TwilioList, http.MethodGet, regexp.MustCompile(`^/2010-04-01/Accounts/([^/]+)/Messages\.json$`)},
	{TwilioMedia, http.MethodGet, regexp.MustCompile(`^/2010-04-01/Accounts/([^/]+)/Messages/([^/]+)/Media\.json$`)},
	{TwilioFile, http.MethodGet, regexp.MustCompile(`^/2010-04-01/Accounts/([^/]+)/Messages/([^/]+)/Media/([^/.]+)$`)},
	{TwilioAccount, http.MethodGet, regexp.MustCompile(`^/2010-04-01/Accounts/([^/]+)\.json$`)},
}

// serve finds the call, checks who calls, and lets it meet its trouble or its answer.
func (s *Twilio) serve(w http.ResponseWriter, r *http.Request) {
	call, ids := "", []string(nil)
	for _, p := range twilioPaths {
		if found := p.path.FindStringSubmatch(r.URL.Path); found != nil && r.Method == p.method {
			call, ids = p.call, found[1:]
		}
	}
	if call == "" {
		s.wrong("no such call: %s %s", r.Method, r.URL.Path)
		twilioNo(w, http.StatusNotFound, 20404, "The requested resource was not found")
		return
	}
	// Wrong credentials may be what a test is about, so they are refused and not reported.
	if user, password, ok := r.BasicAuth(); !ok || user != s.AccountSID || password != s.AuthToken {
		twilioNo(w, http.StatusUnauthorized, 20003, "Authenticate")
		return
	}
	if ids[0] != s.AccountSID {
		twilioNo(w, http.StatusNotFound, 20404, "The requested resource was not found")
		return
	}
	trouble := s.troubles.take(call)
	if trouble == nil {
		s.answer(w, r, call, ids)
		return
	}
	if trouble.Accept {
		s.answer(nowhere{http.Header{}}, r, call, ids)
	}
	trouble.meet(w, r, s.closed, func(t Trouble) string { return twilioWords(t.Status, t.Code, t.Words) })
}

func (s *Twilio) answer(w http.ResponseWriter, r *http.Request, call string, ids []string) {
	switch call {
	case TwilioCreate:
		s.create(w, r)
	case TwilioList:
		s.list(w, r)
	case TwilioMedia:
		s.listMedia(w, r, ids[1])
	case TwilioFile:
		s.file(w, ids[1], ids[2])
	case TwilioAccount:
		writeJSON(w, http.StatusOK, map[string]any{"sid": s.AccountSID, "status": "active", "friendly_name": "Quillbrook hotline", "type": "Full"})
	}
}

// create takes a message, or says what is wrong with it.
func (s *Twilio) create(w http.ResponseWriter, r *http.Request) {
	if got := r.Header.Get("Content-Type"); got != s.spec.Create.ContentType {
		s.wrong("create: content type %q, want %q", got, s.spec.Create.ContentType)
	}
	if len(r.URL.RawQuery) > 0 {
		s.wrong("create: parameters in the address: they would be logged")
	}
	if err := r.ParseForm(); err != nil {
		s.wrong("create: %v", err)
	}
	faults := append(s.spec.Create.check(r.PostForm), s.spec.checkLimits(r.PostForm)...)
	for _, f := range faults {
		s.wrong("create: %s", f)
	}
	if len(faults) > 0 {
		twilioNo(w, http.StatusBadRequest, 20001, strings.Join(faults, "; "))
		return
	}
	writeJSON(w, s.spec.Create.Success, s.take(r.PostForm))
}

// take keeps a message and returns it as the resource is documented.
func (s *Twilio) take(p url.Values) map[string]any {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := TwilioSent{SID: s.newID("SM"), To: p.Get("To"), From: p.Get("From"), Body: p.Get("Body"), Callback: p.Get("StatusCallback"), Params: p, At: time.Now()}
	if m.From == "" {
		m.From = p.Get("MessagingServiceSid")
	}
	s.sent = append(s.sent, m)
	out := maps.Clone(s.spec.Example)
	out["sid"], out["account_sid"], out["status"] = m.SID, s.AccountSID, "queued"
	out["to"], out["from"], out["body"] = m.To, p.Get("From"), m.Body
	out["messaging_service_sid"] = p.Get("MessagingServiceSid")
	out["date_created"] = time.Now().UTC().Format(time.RFC1123Z)
	out["date_sent"] = nil
	out["uri"] = "/2010-04-01/Accounts/" + s.AccountSID + "/Messages/" + m.SID + ".json"
	return out
}

// newID makes an id of Twilio's form. The caller holds mu.
func (s *Twilio) newID(prefix string) string {
	s.count++
	return fmt.Sprintf("%s%032x", prefix, s.count)
}

func twilioNo(w http.ResponseWriter, status, code int, words string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	w.Write([]byte(twilioWords(status, code, words)))
}

func twilioWords(status, code int, words string) string {
	b, _ := json.Marshal(map[string]any{"status": status, "code": code, "message": words,
		"more_info": "https://www.twilio.com/docs/errors/" + strconv.Itoa(code)})
	return string(b)
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(v)
}
