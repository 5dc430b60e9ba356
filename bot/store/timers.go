package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	json "github.com/goccy/go-json"
	"github.com/redis/go-redis/v9"

	"skepline/bot"
)

// DueTimers returns up to max timers whose time has come, oldest first, and how long until
// the next one after those, at most a minute; see bot.Store.
func (s *Store) DueTimers(ctx context.Context, max int) ([]bot.Timer, time.Duration, error) {
	reply, err := s.call(ctx, s.scripts.due, s.keys.list("due:timers", "timer"), max)
	if err != nil {
		return nil, 0, fmt.Errorf("read due timers: %w", err)
	}
	wait, err := strconv.ParseInt(reply[0], 10, 64)
	if err != nil {
		return nil, 0, fmt.Errorf("read due timers: %w", err)
	}
	var due []bot.Timer
	var broken error
	for _, value := range reply[1:] {
		var t bot.Timer
		_, body, _ := strings.Cut(value, " ")
		if err := json.Unmarshal([]byte(body), &t); err != nil {
			broken = fmt.Errorf("read due timers: one of them is broken") // and holds up no other
			continue
		}
		due = append(due, t)
	}
	if len(due) > 0 {
		broken = nil
	}
	return due, time.Duration(wait) * time.Millisecond, broken
}

// Postpone moves a timer that could not be handled; see bot.Store.
func (s *Store) Postpone(ctx context.Context, timer bot.Timer, by time.Duration) error {
	if _, err := s.call(ctx, s.scripts.postpone, s.keys.list("due:timers", "timer"), timer.ID, strconv.Itoa(timer.N), ms(by)); err != nil {
		return fmt.Errorf("put off timer %s: %w", timer.ID, err)
	}
	return nil
}

// HasTimer reports whether any of these timers is set. The auditor asks it for every open
// call.
func (s *Store) HasTimer(ctx context.Context, ids []string) (bool, error) {
	pipe := s.client.Pipeline()
	scores := make([]*redis.FloatCmd, len(ids))
	for i, id := range ids {
		scores[i] = pipe.ZScore(ctx, s.keys.of("due:timers"), id)
	}
	if _, err := pipe.Exec(ctx); err != nil && !errors.Is(err, redis.Nil) {
		return false, fmt.Errorf("look for timers: %w", err)
	}
	for _, score := range scores {
		if score.Err() == nil {
			return true, nil
		}
	}
	return false, nil
}
