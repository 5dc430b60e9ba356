package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/redis/go-redis/v9"
)

// Hold takes or renews a named lease for owner; see bot.Store.
func (s *Store) Hold(ctx context.Context, name, owner string, d time.Duration) (bool, error) {
	reply, err := s.call(ctx, s.scripts.hold, s.keys.list("hold"), name, owner, max(1, ms(d)))
	if err != nil {
		return false, fmt.Errorf("hold %s: %w", name, err)
	}
	return reply[0] == "held", nil
}

// Release gives a named lease back, if owner has it.
func (s *Store) Release(ctx context.Context, name, owner string) error {
	if _, err := s.call(ctx, s.scripts.hold, s.keys.list("hold"), name, owner, 0); err != nil {
		return fmt.Errorf("release %s: %w", name, err)
	}
	return nil
}

// Mark returns a named note of progress, "" when there is none.
func (s *Store) Mark(ctx context.Context, name string) (string, error) {
	value, err := orEmpty(s.client.HGet(ctx, s.keys.of("mark"), name).Result())
	if err != nil {
		return "", fmt.Errorf("read mark %s: %w", name, err)
	}
	return value, nil
}

// SetMark sets a named note of progress.
func (s *Store) SetMark(ctx context.Context, name, value string) error {
	if err := s.client.HSet(ctx, s.keys.of("mark"), name, value).Err(); err != nil {
		return fmt.Errorf("set mark %s: %w", name, err)
	}
	return nil
}

// orEmpty takes "there is none" as "".
func orEmpty(value string, err error) (string, error) {
	if errors.Is(err, redis.Nil) {
		return "", nil
	}
	return value, err
}

// sentFor is how long a sent message is remembered, for edits and delivery reports.
const sentFor = 14 * 24 * time.Hour

// Sweep clears away what nobody can ask for any more: events older than eight days, sent
// messages older than 14, the spending of days gone by. Call it about once an hour.
func (s *Store) Sweep(ctx context.Context) error {
	const batch = 500
	keys := s.keys.list("seen:0", "seen:1", "seen:2", "sent", "sent:at", "spend", "chat")
	for {
		reply, err := s.call(ctx, s.scripts.sweep, keys, ms(sentFor), batch)
		if err != nil {
			return fmt.Errorf("sweep: %w", err)
		}
		if n, err := strconv.Atoi(reply[0]); err != nil || n < batch {
			return err
		}
	}
}
