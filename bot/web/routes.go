package web

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"
)

// Routes are the handlers of the hotline's routes. A nil one is off: its route is not there.
type Routes struct {
	Message  http.HandlerFunc // POST /twilio/message
	Status   http.HandlerFunc // POST /twilio/status
	Voice    http.HandlerFunc // POST /twilio/voice
	Telegram http.HandlerFunc // POST /telegram
	Health   *Health          // GET /healthz, /readyz
	Pages    *Pages           // /o/, /w/, /p/, /desk/
	Log      *slog.Logger
}

// Handler joins the routes. It answers 503 at once when more requests are under way than
// the hotline can serve in time, and keeps one that panics from ending the program.
func (r Routes) Handler() http.Handler {
	mux := http.NewServeMux()
	for path, handler := range map[string]http.HandlerFunc{
		"/twilio/message": r.Message, "/twilio/status": r.Status, "/twilio/voice": r.Voice, "/telegram": r.Telegram,
	} {
		if handler != nil {
			mux.HandleFunc("POST "+path, handler)
		}
	}
	mux.HandleFunc("GET /healthz", r.Health.ServeLive)
	mux.HandleFunc("GET /readyz", r.Health.ServeReady)
	if r.Pages != nil {
		r.Pages.Register(mux)
	}
	return guard(mux, r.Log)
}

// atOnce is how many requests may be under way: each holds a connection to Redis for a few
// milliseconds, so this many is seconds of work. Judgement.
const atOnce = 512

func guard(next http.Handler, log *slog.Logger) http.Handler {
	room := make(chan struct{}, atOnce)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		readFirst(r)
		select {
		case room <- struct{}{}:
			defer func() { <-room }()
		default:
			http.Error(w, "busy", http.StatusServiceUnavailable)
			return
		}
		defer func() {
			if fault := recover(); fault != nil {
				// The route and the place in the program, nothing that a person sent.
				log.Error("a request failed", "route", r.Pattern, "stack", string(debug.Stack()))
				http.Error(w, "internal error", http.StatusInternalServerError)
			}
		}()
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// readAhead is how much of a body is read so: all of a usual one, and little enough that
// thousands at once fit in memory. Routes have limits of their own.
const readAhead = 64 << 10

// readFirst reads a request's body before the request takes up room: whoever sends it letter
// by letter keeps only their own connection busy, until the server's ReadTimeout. Where it
// broke off, or was too long, whoever reads it next finds out.
func readFirst(r *http.Request) {
	if r.Body == nil || r.Body == http.NoBody {
		return
	}
	rest := r.Body
	body, err := io.ReadAll(io.LimitReader(rest, readAhead))
	then := io.Reader(rest)
	if err != nil {
		then = brokenOff{err}
	}
	r.Body = struct {
		io.Reader
		io.Closer
	}{io.MultiReader(bytes.NewReader(body), then), rest}
}

// brokenOff is the end of a body that did not come whole.
type brokenOff struct{ err error }

func (b brokenOff) Read([]byte) (int, error) { return 0, b.err }

// Server returns an HTTP server for handler that no slow or greedy client can tie up.
func Server(handler http.Handler) *http.Server {
	return &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      15 * time.Second, // Twilio hangs up after 15 s
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
	}
}
