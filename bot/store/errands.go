package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/intake"
)

// LeaseErrand hands out one errand whose turn it is; see bot.Store.
func (s *Store) LeaseErrand(ctx context.Context, hold, gap time.Duration) (*bot.Errand, time.Duration, error) {
	reply, err := s.call(ctx, s.scripts.errand, s.keys.list("due:errands", "errand", "pace"), ms(hold), ms(gap))
	if err != nil {
		return nil, 0, fmt.Errorf("lease an errand: %w", err)
	}
	if len(reply) == 1 {
		wait, err := strconv.ParseInt(reply[0], 10, 64)
		if err != nil {
			return nil, 0, fmt.Errorf("lease an errand: %w", err)
		}
		return nil, time.Duration(wait) * time.Millisecond, nil
	}
	var e bot.Errand
	body, err := s.seals.open("errand:"+reply[1], []byte(reply[2]))
	if err == nil {
		err = json.Unmarshal(body, &e)
	}
	if errors.Is(err, ErrSealed) {
		return nil, 0, fmt.Errorf("lease an errand: %w", err)
	}
	if err != nil {
		// Nobody waits for it longer than a timer says, so it may as well go.
		gone := s.client.HDel(ctx, s.keys.of("errand"), reply[1]).Err()
		return nil, 0, errors.Join(errors.New("an errand was broken and is thrown away"), gone)
	}
	return &e, 0, nil
}

// cachedPlaces is the gazetteer as last read.
type cachedPlaces struct {
	mu      sync.Mutex
	version string
	places  *intake.Gazetteer
}

// Gazetteer returns the imported places; see bot.Store. It asks Redis for the version each
// time and reads the whole only when that has moved.
func (s *Store) Gazetteer(ctx context.Context) (*intake.Gazetteer, error) {
	version, err := orEmpty(s.client.HGet(ctx, s.keys.of("meta"), "places").Result())
	if err != nil {
		return nil, fmt.Errorf("read places: %w", err)
	}
	s.places.mu.Lock()
	defer s.places.mu.Unlock()
	if version == s.places.version {
		return s.places.places, nil
	}
	rows, err := orEmpty(s.client.Get(ctx, s.keys.of("places")).Result())
	if err != nil {
		return nil, fmt.Errorf("read places: %w", err)
	}
	places, err := intake.ReadGazetteer(bytes.NewReader([]byte(rows)), intake.Place{}, 0)
	if err != nil {
		return nil, fmt.Errorf("read places: %w", err)
	}
	s.places.version, s.places.places = version, places
	return places, nil
}

// SetGazetteer keeps places; see bot.Store.
func (s *Store) SetGazetteer(ctx context.Context, rows []byte) error {
	_, err := s.client.TxPipelined(ctx, func(p redis.Pipeliner) error {
		p.Set(ctx, s.keys.of("places"), rows, 0)
		p.HIncrBy(ctx, s.keys.of("meta"), "places", 1)
		return nil
	})
	if err != nil {
		return fmt.Errorf("keep places: %w", err)
	}
	return nil
}
