package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"skepline/bot"
	"skepline/bot/rehearsal"
	"skepline/bot/web"
)

// exampleURL stands in the texts of a recorded run.
const exampleURL = "https://bees.example.org"

// record plays a transcript and returns how everything stood after each step.
func record(ctx context.Context, settings *bot.Settings, t rehearsal.Transcript) (_ []rehearsal.Frame, err error) {
	copied := *settings
	copied.PublicURL = exampleURL
	l, err := rehearsal.Player{Settings: &copied}.Open(ctx, t)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	var frames []rehearsal.Frame
	for more := true; more; {
		frame, err := l.Frame(ctx)
		if err != nil {
			return nil, err
		}
		frames = append(frames, frame)
		if more, err = l.Step(ctx); err != nil {
			return nil, err
		}
	}
	return frames, nil
}

// writePhones writes a recorded run into one file that needs nothing else.
func writePhones(file string, settings *bot.Settings, frames []rehearsal.Frame) error {
	f, err := os.Create(file)
	if err != nil {
		return fmt.Errorf("write the phones: %w", err)
	}
	_, err = web.Phones{Language: settings.DefaultLanguage(), Hotline: settings.Name, Frames: frames, Count: len(frames)}.Write(f)
	return errors.Join(err, f.Close())
}

// phoneShow shows a rehearsal in the browser: the recorded run, and one that goes on by hand.
type phoneShow struct {
	settings   *bot.Settings
	transcript rehearsal.Transcript
	frames     []rehearsal.Frame
	base       string // "http://127.0.0.1:41234"

	mu    sync.Mutex
	live  *rehearsal.Live // nil until somebody goes on by hand
	pages http.Handler    // the real pages of the live hotline
	wrong string
}

// showPhones serves until ctx ends. It listens on this machine only.
func showPhones(ctx context.Context, t *terminal, address string, settings *bot.Settings, transcript rehearsal.Transcript, frames []rehearsal.Frame) error {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("cannot listen on %s: %w; name another with --listen", address, err)
	}
	s := &phoneShow{settings: settings, transcript: transcript, frames: frames, base: "http://" + listener.Addr().String()}
	_, _ = fmt.Fprintf(t.out, "The phones are at %s/ (a step: %s/#s5; by hand: %s/live). Ctrl-C ends it.\n", s.base, s.base, s.base)
	server := web.Server(s.handler())
	stop := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer stop()
	return unlessClosed(server.Serve(listener))
}

func (s *phoneShow) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.recorded)
	mux.HandleFunc("GET /live", s.show)
	mux.Handle("POST /live", http.NewCrossOriginProtection().Handler(http.HandlerFunc(s.do)))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		pages := s.pages
		s.mu.Unlock()
		if pages == nil {
			http.NotFound(w, r)
			return
		}
		pages.ServeHTTP(w, r)
	})
	return onThisMachine(mux)
}

// onThisMachine refuses requests by another name than this machine's, such as a web site
// makes whose name was pointed here.
func onThisMachine(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.Host)
		if ip := net.ParseIP(host); err != nil || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			http.Error(w, "not here", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *phoneShow) recorded(w http.ResponseWriter, _ *http.Request) {
	s.write(w, web.Phones{Frames: s.frames, Count: len(s.frames), Server: true})
}

func (s *phoneShow) write(w http.ResponseWriter, p web.Phones) {
	p.Language, p.Hotline = s.settings.DefaultLanguage(), s.settings.Name
	var page strings.Builder
	policy, err := p.Write(&page)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Security-Policy", policy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Referrer-Policy", "same-origin")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(page.String())) // the browser may have gone
}

// show is the rehearsal that goes on by hand.
func (s *phoneShow) show(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.open(r.Context(), -1); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	frame, err := s.live.Frame(r.Context())
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	s.write(w, web.Phones{Frames: []rehearsal.Frame{frame}, Count: 1, Live: true, LinkBase: s.base, Wrong: s.wrong})
}

// open opens the live rehearsal and plays n steps of the transcript; below 0 it keeps one
// that is open.
func (s *phoneShow) open(ctx context.Context, n int) error {
	if s.live != nil && n < 0 {
		return nil
	}
	settings := *s.settings
	settings.PublicURL = s.base
	l, err := rehearsal.Player{Settings: &settings}.Open(ctx, s.transcript)
	if err != nil {
		return err
	}
	for range n {
		if _, err := l.Step(ctx); err != nil {
			return err
		}
	}
	pages := &web.Pages{
		Look: l.Hotline(), Hear: heardLive{s, l}, PublicURL: s.base, Language: settings.DefaultLanguage(), Open: true, Plots: drawn,
		Photo:  s.photo(l),
		Secret: l.Hotline().Secrets[0], Now: time.Now, Log: slog.New(slog.DiscardHandler),
		Privacy: privacy(&settings, true, true),
	}
	mux := http.NewServeMux()
	pages.Register(mux)
	s.live, s.pages, s.wrong = l, mux, ""
	return nil
}

// heardLive hears presses on the real pages, one after the other.
type heardLive struct {
	show *phoneShow
	live *rehearsal.Live
}

func (h heardLive) Hear(ctx context.Context, e bot.Event) (bot.Outcome, error) {
	h.show.mu.Lock()
	defer h.show.mu.Unlock()
	return h.live.Hear(ctx, e)
}

// do carries out one press: "from 7", "step", or a line of a transcript.
func (s *phoneShow) do(w http.ResponseWriter, r *http.Request) {
	const longest = 8 << 10
	r.Body = http.MaxBytesReader(w, r.Body, longest)
	line := r.PostFormValue("do")
	if who := r.PostFormValue("who"); who != "" {
		text := strings.TrimSpace(r.PostFormValue("text"))
		line = who + " > " + text
		if text == "" {
			line = ""
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.act(r.Context(), line)
	s.wrong = ""
	if err != nil {
		s.wrong = err.Error()
	}
	http.Redirect(w, r, "/live", http.StatusSeeOther)
}

func (s *phoneShow) act(ctx context.Context, line string) error {
	if from, ok := strings.CutPrefix(line, "from "); ok {
		n, err := strconv.Atoi(from)
		if err != nil || n < 0 || n >= len(s.frames) {
			return fmt.Errorf("there is no step %q", from)
		}
		return s.open(ctx, n)
	}
	if err := s.open(ctx, -1); err != nil || line == "" {
		return err
	}
	if line == "step" {
		_, err := s.live.Step(ctx)
		return err
	}
	return s.live.Do(ctx, line)
}

// photo fetches a picture that was added on a page, and draws those that simulated phones
// send: a branch with a cluster of bees.
func (s *phoneShow) photo(l *rehearsal.Live) func(context.Context, string) (io.ReadCloser, error) {
	real := (&service{hotline: l.Hotline()}).photo
	return func(ctx context.Context, name string) (io.ReadCloser, error) {
		if strings.HasPrefix(name, "sk:") {
			return real(ctx, name)
		}
		var drawn bytes.Buffer
		err := jpeg.Encode(&drawn, aCluster(), nil)
		return io.NopCloser(&drawn), err
	}
}

// aCluster is the picture: sky, a branch, and what hangs on it.
func aCluster() image.Image {
	const wide, high = 480, 320
	sky, bark, bees := color.RGBA{196, 214, 222, 255}, color.RGBA{104, 78, 58, 255}, color.RGBA{150, 92, 24, 255}
	m := image.NewRGBA(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			dx, dy := float64(x-wide/2)/70, float64(y-170)/105
			switch {
			case dx*dx+dy*dy < 1:
				speck := uint8((x*7 + y*13 + x*y/9) % 60)
				m.Set(x, y, color.RGBA{bees.R - speck, bees.G - speck, bees.B, 255})
			case y > 62+x/24 && y < 84+x/24:
				m.Set(x, y, bark)
			default:
				m.Set(x, y, sky)
			}
		}
	}
	return m
}
