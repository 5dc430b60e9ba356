package standin

import (
	"fmt"
	"io"
	"net/http"
	"strconv"
	"sync"
)

// Reporter is told of every request that breaks the published description; a *testing.T is
// one.
type Reporter interface {
	Helper()
	Errorf(format string, args ...any)
}

// Trouble is what a request meets instead of its plain answer.
type Trouble struct {
	Status     int    // answer with this HTTP status …
	Code       int    // … and this error code of Twilio's
	Words      string // … and these words
	RetryAfter int    // … and ask for so many seconds of patience
	HTML       bool   // … as a page of HTML, as proxies do
	Accept     bool   // do what was asked all the same
	Cut        bool   // close the connection without an answer
	Hang       bool   // give no answer for as long as the client waits
}

// ReplyLost does what was asked, and the answer never arrives.
var ReplyLost = Trouble{Accept: true, Cut: true}

// Hang gives no answer; the client must give up.
var Hang = Trouble{Hang: true}

// TooMany is a 429 that asks for a pause.
func TooMany(seconds int) Trouble {
	return Trouble{Status: http.StatusTooManyRequests, Code: 20429, Words: "Too Many Requests", RetryAfter: seconds}
}

// Broken is a proxy's error page.
func Broken(status int) Trouble { return Trouble{Status: status, HTML: true} }

// Refusal is a no in the provider's own shape. Code is Twilio's; Telegram has none.
func Refusal(status, code int, words string) Trouble {
	return Trouble{Status: status, Code: code, Words: words}
}

// troubles are the ones ahead, by call; "" is any call.
type troubles struct {
	mu    sync.Mutex
	ahead map[string][]Trouble
}

func (t *troubles) add(call string, n int, trouble Trouble) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.ahead == nil {
		t.ahead = map[string][]Trouble{}
	}
	for range n {
		t.ahead[call] = append(t.ahead[call], trouble)
	}
}

// take returns what this call meets, nil when all is well.
func (t *troubles) take(call string) *Trouble {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, name := range []string{call, ""} {
		if waiting := t.ahead[name]; len(waiting) > 0 {
			t.ahead[name] = waiting[1:]
			return &waiting[0]
		}
	}
	return nil
}

// meet answers a request with trouble. words gives the body in the provider's shape.
func (t *Trouble) meet(w http.ResponseWriter, r *http.Request, closed <-chan struct{}, words func(Trouble) string) {
	io.Copy(io.Discard, r.Body) // the client has sent all, and may wonder
	switch {
	case t.Hang:
		select {
		case <-r.Context().Done():
		case <-closed:
		}
		panic(http.ErrAbortHandler)
	case t.Cut:
		panic(http.ErrAbortHandler)
	case t.HTML:
		w.Header().Set("Content-Type", "text/html")
		w.WriteHeader(t.Status)
		fmt.Fprintf(w, "<html><h1>%d %s</h1></html>", t.Status, http.StatusText(t.Status))
		return
	}
	if t.RetryAfter > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(t.RetryAfter))
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(t.Status)
	io.WriteString(w, words(*t))
}

// nowhere is a ResponseWriter for answers that get lost.
type nowhere struct{ header http.Header }

func (n nowhere) Header() http.Header         { return n.header }
func (n nowhere) Write(b []byte) (int, error) { return len(b), nil }
func (n nowhere) WriteHeader(int)             {}
