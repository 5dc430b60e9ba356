package store

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/redis/go-redis/v9"
)

// pulse is what Pulse saw at its last call.
type pulse struct {
	beat    int64
	lineage string // of the server that answered
}

// Loss is what Pulse noticed. What was acknowledged in the last moments may be gone.
type Loss struct {
	// Name names the event, the same for every program that notices it.
	Name string
	// Why is "took_over" (a copy is the main server now), "restarted" (the server started
	// anew; it keeps what its profile says) or "counter_went_back".
	Why string
}

// Pulse beats once and says whether the store may have lost something since the last beat of
// this process, nil when not. Call it from one loop.
func (s *Store) Pulse(ctx context.Context) (*Loss, error) {
	beat, err := s.client.HIncrBy(ctx, s.keys.of("meta"), "beat", 1).Result()
	if err != nil {
		return nil, fmt.Errorf("beat: %w", err)
	}
	f := facts{}
	if s.embedded == nil {
		if f, err = s.ask(ctx); err != nil {
			return nil, fmt.Errorf("ask Redis about itself: %w", err)
		}
		s.replicated.Store(profileOf(f).Name == "replicated")
	}
	last := s.pulse
	s.pulse = pulse{beat, f.lineage}
	switch {
	case last.beat == 0: // the first
	case last.lineage != f.lineage && f.before == last.lineage:
		return &Loss{lossName(f.lineage), "took_over"}, nil
	case beat <= last.beat:
		return &Loss{lossName(f.lineage) + "-back", "counter_went_back"}, nil
	case last.lineage != f.lineage:
		return &Loss{lossName(f.lineage), "restarted"}, nil
	}
	return nil, nil
}

func lossName(lineage string) string {
	lineage = cmp.Or(lineage, "embedded")
	return lineage[:min(8, len(lineage))]
}

// keptWithin is how long Kept waits for a copy.
const keptWithin = time.Second

// Kept reports whether everything committed up to now is on a second server too, so that it
// survives the loss of the first. A store without copies keeps what its profile says, and the
// answer is yes at once. The stream to the copies is in order: once a write of ours has
// arrived there, so has every commit before it (Redis, WAIT).
func (s *Store) Kept(ctx context.Context) (bool, error) {
	if !s.replicated.Load() {
		return true, nil
	}
	node, err := s.node(ctx)
	if err != nil {
		return false, err
	}
	// WAIT speaks of the writes of its own connection only.
	conn := node.Conn()
	defer func() { _ = conn.Close() }() // back to the pool
	if err := conn.HIncrBy(ctx, s.keys.of("meta"), "kept", 1).Err(); err != nil {
		return false, fmt.Errorf("write what a copy must have: %w", err)
	}
	copies, err := conn.Wait(ctx, 1, keptWithin).Result()
	if err != nil {
		return false, fmt.Errorf("wait for a copy: %w", err)
	}
	return copies > 0, nil
}

// node returns the server that holds the hotline's slot.
func (s *Store) node(ctx context.Context) (*redis.Client, error) {
	switch client := s.client.(type) {
	case *redis.Client:
		return client, nil
	case *redis.ClusterClient:
		return client.MasterForKey(ctx, s.keys.of("meta"))
	}
	return nil, fmt.Errorf("a client of kind %T has no node to ask", s.client)
}
