package web

import (
	"context"
	"encoding/json"
	"net/http"
	"sync"
	"time"
)

// State is what a look at the store found.
type State struct {
	Profile string // "strict-single", "single", "snapshots", "replicated", "embedded"
	Loses   string // what that profile can lose, in one sentence
	Problem string // why the hotline must not serve like this; "" when it may
}

// Health answers whether the program lives and whether it is ready for events.
type Health struct {
	// Look asks the store. An error means that it cannot be reached.
	Look func(ctx context.Context) (State, error)
	Now  func() time.Time

	mu       sync.Mutex
	draining bool
	looked   time.Time
	state    State
	err      error
}

const (
	// lookEvery keeps probes from becoming load.
	lookEvery  = time.Second
	lookWithin = 2 * time.Second
)

// Drain makes the hotline not ready for good: it is about to end.
func (h *Health) Drain() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.draining = true
}

// ServeLive answers 200 as long as the program can answer at all, with what the store can
// lose as far as that is known.
func (h *Health) ServeLive(w http.ResponseWriter, _ *http.Request) {
	h.mu.Lock()
	state := h.state
	h.mu.Unlock()
	reply(w, http.StatusOK, map[string]any{"live": true, "durability": state.Profile, "loses": state.Loses})
}

// ServeReady answers 200 when events can be committed safely, else 503 and why not.
func (h *Health) ServeReady(w http.ResponseWriter, r *http.Request) {
	state, why := h.ready(r.Context())
	if why != "" {
		reply(w, http.StatusServiceUnavailable, map[string]any{"ready": false, "why": why})
		return
	}
	reply(w, http.StatusOK, map[string]any{"ready": true, "durability": state.Profile, "loses": state.Loses})
}

func (h *Health) ready(ctx context.Context) (state State, why string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.draining {
		return h.state, "The hotline is shutting down."
	}
	if now := h.Now(); h.looked.IsZero() || now.Sub(h.looked) >= lookEvery {
		ctx, cancel := context.WithTimeout(ctx, lookWithin)
		defer cancel()
		h.looked = now
		if state, h.err = h.Look(ctx); h.err == nil {
			h.state = state
		}
	}
	if h.err != nil {
		return h.state, "Redis cannot be reached."
	}
	return h.state, h.state.Problem
}

func reply(w http.ResponseWriter, status int, body map[string]any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(body) // the client may have gone
}
