package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"time"
)

const (
	lookForNews = 2 * time.Second
	liveFor     = 10 * time.Minute // then the browser asks anew
)

// linkLive tells a link's page when what it shows has changed.
func (p *Pages) linkLive(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	if !ok {
		p.nothing(w)
		return
	}
	p.live(w, r, func(ctx context.Context) (string, error) { return p.Look.LinkState(ctx, token) })
}

func (p *Pages) deskLive(w http.ResponseWriter, r *http.Request) {
	call := r.URL.Query().Get("call")
	p.live(w, r, func(ctx context.Context) (string, error) { return p.Look.DeskState(ctx, call) })
}

// live sends "changed" whenever state does (server-sent events, WHATWG HTML section 9.2). It
// looks at the store, so that it hears of what other replicas did.
func (p *Pages) live(w http.ResponseWriter, r *http.Request, state func(context.Context) (string, error)) {
	select {
	case p.lives <- struct{}{}:
		defer func() { <-p.lives }()
	default:
		http.Error(w, "too many watch already", http.StatusServiceUnavailable)
		return
	}
	before, err := state(r.Context())
	if err != nil || before == "" {
		p.nothing(w)
		return
	}
	if shown := r.URL.Query().Get("at"); shown != "" {
		before = shown // what changed since the page was made counts too
	}
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	send := func(line string) bool {
		_ = out.SetWriteDeadline(time.Now().Add(10 * time.Second)) // the server's own would end it at once
		_, err := fmt.Fprint(w, line)
		return err == nil && out.Flush() == nil
	}
	look, end := time.NewTicker(cmp.Or(p.NewsEvery, lookForNews)), time.NewTimer(liveFor)
	defer look.Stop()
	defer end.Stop()
	if !send("retry: 5000\n\n") {
		return
	}
	for first := true; ; first = false {
		if !first { // at once, then now and then
			select {
			case <-r.Context().Done():
				return
			case <-end.C:
				return
			case <-look.C:
			}
		}
		now, err := state(r.Context())
		switch {
		case err != nil:
			return
		case now != before:
			before = now
			if !send("event: changed\ndata: 1\n\n") {
				return
			}
		case !send(": \n\n"):
			return
		}
	}
}
