package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"

	"skepline/notify"
)

// cachedRoster is the roster as last read. A version never means two rosters, so it is
// read again only when the version has moved.
type cachedRoster struct {
	mu       sync.Mutex
	version  string
	catchers []notify.Catcher
}

func (c *cachedRoster) get() (version string, catchers []notify.Catcher) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.version, c.catchers
}

// set keeps what was read. A slow reader may put an older version over a newer one; the
// next reader then reads once more.
func (c *cachedRoster) set(version string, catchers []notify.Catcher) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.version, c.catchers = version, catchers
}

// Roster returns every catcher, sorted by id; see bot.Store. It asks Redis for the version
// each time and reads the whole only when that has moved.
func (s *Store) Roster(ctx context.Context) ([]notify.Catcher, error) {
	known, catchers := s.roster.get()
	reply, err := s.call(ctx, s.scripts.roster, s.keys.list("meta", "roster"), known)
	if err != nil {
		return nil, fmt.Errorf("read roster: %w", err)
	}
	if reply[0] == known {
		return catchers, nil
	}
	if catchers, err = s.parseRoster(reply[1:]); err != nil {
		return nil, err
	}
	s.roster.set(reply[0], catchers)
	return catchers, nil
}

// parseRoster reads pairs of id and JSON.
func (s *Store) parseRoster(pairs []string) ([]notify.Catcher, error) {
	catchers := make([]notify.Catcher, 0, len(pairs)/2)
	for ; len(pairs) >= 2; pairs = pairs[2:] {
		var c notify.Catcher
		body, err := s.seals.open("roster:"+pairs[0], []byte(pairs[1]))
		if err == nil {
			err = json.Unmarshal(body, &c)
		}
		if err != nil {
			return nil, fmt.Errorf("read roster entry %s: %w", pairs[0], err)
		}
		catchers = append(catchers, c)
	}
	slices.SortFunc(catchers, func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
	return catchers, nil
}

// Board returns the board as it stood a moment ago; see bot.Store.
func (s *Store) Board(ctx context.Context) (notify.Board, error) {
	board := notify.Board{Calls: map[string]notify.CallCard{}, Catchers: map[string]notify.CatcherCard{}}
	fields, err := s.client.HGetAll(ctx, s.keys.of("board")).Result()
	if err != nil {
		return board, fmt.Errorf("read board: %w", err)
	}
	for field, sealed := range fields {
		body, err := s.seals.open("board:"+field, []byte(sealed))
		if err != nil {
			return board, fmt.Errorf("read board card %s: %w", field, err)
		}
		if id, ok := strings.CutPrefix(field, "c:"); ok {
			err = readCard(board.Calls, id, body)
		} else if id, ok := strings.CutPrefix(field, "k:"); ok {
			err = readCard(board.Catchers, id, body)
		}
		if err != nil {
			return board, fmt.Errorf("read board card %s: %w", field, err)
		}
	}
	return board, nil
}

func readCard[T any](cards map[string]T, id string, body []byte) error {
	var card T
	if err := json.Unmarshal(body, &card); err != nil {
		return err
	}
	cards[id] = card
	return nil
}

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
