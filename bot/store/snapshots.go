package store

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// OpenCalls returns the ids of the calls on the board, sorted.
func (s *Store) OpenCalls(ctx context.Context) ([]string, error) {
	fields, err := s.client.HKeys(ctx, s.keys.of("board")).Result()
	if err != nil {
		return nil, fmt.Errorf("read open calls: %w", err)
	}
	var calls []string
	for _, field := range fields {
		if id, ok := strings.CutPrefix(field, "c:"); ok {
			calls = append(calls, id)
		}
	}
	slices.Sort(calls)
	return calls, nil
}

// ClosedCalls returns the ids of the calls that ended from one time to another, both
// included, oldest first.
func (s *Store) ClosedCalls(ctx context.Context, from, to time.Time) ([]string, error) {
	calls, err := s.client.ZRangeByScore(ctx, s.keys.of("closed"), &redis.ZRangeBy{
		Min: strconv.FormatInt(from.UnixMilli(), 10), Max: millis(to),
	}).Result()
	if err != nil {
		return nil, fmt.Errorf("read closed calls: %w", err)
	}
	return calls, nil
}
