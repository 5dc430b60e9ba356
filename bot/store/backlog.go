package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"skepline/notify"
)

// Backlog is how much waits, and for how long past its turn.
type Backlog struct {
	Lanes      map[string]Waiting // "sms!", "sms", "telegram" …: lines whose first message waits
	Timers     Waiting
	Down       map[notify.Channel]time.Duration // since when a channel's circuit is open, those that work left out
	Classes    map[notify.Class]Waiting         // messages by class; Late is the age of the oldest
	SpentToday int                              // segments of the channels that cost money, UTC day
}

// Waiting is one queue.
type Waiting struct {
	Count int
	Late  time.Duration // of the first, past its turn; 0 when nothing is due
}

// Backlog looks at every queue, in three round trips.
func (s *Store) Backlog(ctx context.Context) (Backlog, error) {
	pipe := s.client.Pipeline()
	now := pipe.Time(ctx)
	names := []string{"timers"}
	for _, lane := range lanes {
		names = append(names, string(lane))
	}
	counts, firsts := make([]*redis.IntCmd, len(names)), make([]*redis.ZSliceCmd, len(names))
	for i, name := range names {
		counts[i] = pipe.ZCard(ctx, s.keys.of("due:"+name))
		firsts[i] = pipe.ZRangeWithScores(ctx, s.keys.of("due:"+name), 0, 0)
	}
	spend := pipe.HGetAll(ctx, s.keys.of("spend"))
	var fields []string
	for _, c := range notify.Channels {
		fields = append(fields, "down:"+string(c))
	}
	downs := pipe.HMGet(ctx, s.keys.of("pace"), fields...)
	if _, err := pipe.Exec(ctx); err != nil {
		return Backlog{}, fmt.Errorf("look at the queues: %w", err)
	}
	b := Backlog{Lanes: map[string]Waiting{}, Down: map[notify.Channel]time.Duration{}}
	for i, name := range names {
		w := Waiting{Count: int(counts[i].Val())}
		if first := firsts[i].Val(); len(first) > 0 {
			w.Late = max(0, time.Duration(float64(now.Val().UnixMilli())-first[0].Score)*time.Millisecond)
		}
		if name == "timers" {
			b.Timers = w
		} else {
			b.Lanes[name] = w
		}
	}
	for i, since := range downs.Val() {
		if ms, err := strconv.ParseInt(fmt.Sprint(since), 10, 64); err == nil {
			b.Down[notify.Channels[i]] = max(time.Millisecond, now.Val().Sub(time.UnixMilli(ms)))
		}
	}
	fmt.Sscan(spend.Val()[fmt.Sprint(now.Val().Unix()/86400)], &b.SpentToday) // absent = 0
	return b, s.classes(ctx, &b, now.Val())
}

// mostCounted bounds what is read to tell the classes of what waits.
const mostCounted = 500

// classes tells what waits by class, of at most mostCounted messages.
func (s *Store) classes(ctx context.Context, b *Backlog, now time.Time) error {
	b.Classes = map[notify.Class]Waiting{}
	entries, err := s.client.ZRange(ctx, s.keys.of("line"), 0, mostCounted-1).Result()
	if err != nil || len(entries) == 0 {
		return err
	}
	ids := make([]string, len(entries))
	for i, entry := range entries {
		ids[i] = entry[strings.LastIndex(entry, "|")+1:]
	}
	items, err := s.client.HMGet(ctx, s.keys.of("item"), ids...).Result()
	if err != nil {
		return fmt.Errorf("look at what waits: %w", err)
	}
	for i, item := range items {
		text, _ := item.(string)
		m, err := s.seals.decodeItem(ids[i], text)
		if err != nil {
			continue // gone meanwhile, or not to be read: its lane shows how late it is
		}
		w := b.Classes[m.Class]
		w.Count++
		if !m.At.IsZero() {
			w.Late = max(w.Late, now.Sub(m.At))
		}
		b.Classes[m.Class] = w
	}
	return nil
}

// Spent returns how many SMS segments were sent on the UTC day of day; only the last two days
// are known.
func (s *Store) Spent(ctx context.Context, day time.Time) (segments int, err error) {
	segments, err = s.client.HGet(ctx, s.keys.of("spend"), fmt.Sprint(day.Unix()/86400)).Int()
	if err != nil && !errors.Is(err, redis.Nil) {
		return 0, fmt.Errorf("read what was spent: %w", err)
	}
	return segments, nil
}
