package simulation

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"syscall"
	"testing"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// slow is a clock at which hardly anything passes: a microsecond at every look, so that no two
// texts are read at the same moment.
type slow struct{ time.Time }

func (c *slow) Now() time.Time {
	c.Time = c.Add(time.Microsecond)
	return c.Time
}

func (c *slow) Sleep(context.Context, time.Duration) error { return nil }

// BenchmarkHear is what one text of a caller costs without Redis and network: load, Decide,
// commit, on a store of maps. trips is how often the store is asked.
func BenchmarkHear(b *testing.B) {
	trees := []string{"apple", "plum", "cherry", "pear", "oak", "maple", "walnut", "cedar", "birch"}
	noon := time.Date(2026, 5, 12, 16, 0, 0, 0, time.UTC)
	for _, texts := range [][]string{
		{"There's a ball of bees on my TREE tree, about 8 feet up"},
		{"There's a ball of bees on my TREE tree, about 8 feet up", "nobody got stung"},
		{"There's a ball of bees on my TREE tree, about 8 feet up", "nobody got stung", "14 Mill Lane https://maps.google.com/?q=LAT,-76.49", "2", "4", "1"},
	} {
		b.Run(fmt.Sprintf("texts=%d", len(texts)), func(b *testing.B) {
			store := &trips{Store: NewMemory(func() time.Time { return noon })}
			h := &bot.Hotline{Settings: bot.DefaultSettings(), Secrets: [][]byte{make([]byte, 32)}, Store: store, Clock: &slow{noon}, Log: slog.New(slog.DiscardHandler)}
			for i := range 40 {
				c := notify.Catcher{ID: fmt.Sprint("catcher", i), Name: "Ada", Address: notify.Address(fmt.Sprint("telegram:", 5550101+i)),
					Lat: 42.3 + float64(i)/150, Lon: -76.49, ReachKm: 15, MaxHeightM: 4, JobsADay: 3}
				if _, err := h.Hear(b.Context(), bot.Enrolled{Event: bot.EventID(fmt.Sprint("ro:", i)), Catcher: c}); err != nil {
					b.Fatal(err)
				}
			}
			store.n = 0
			b.ReportAllocs()
			n, began := 0, processor(b)
			for b.Loop() {
				said := bot.Said{Event: bot.EventID(fmt.Sprint("tw:", n)), From: notify.Address(fmt.Sprint("telegram:", 100000+n/len(texts)))}
				said.Text = strings.NewReplacer("TREE", trees[n%len(trees)]+" "+trees[n/len(trees)%len(trees)], "LAT", fmt.Sprintf("%.5f", 42.3+float64(n%2000)/7000)).Replace(texts[n%len(texts)])
				if _, err := h.Hear(b.Context(), said); err != nil {
					b.Fatal(err)
				}
				n++
			}
			b.ReportMetric(float64(store.n)/float64(n), "trips")
			b.ReportMetric(float64(processor(b)-began)/float64(n)/1000, "processor-µs")
		})
	}
}

// processor is the processor time that this program has used, in ns: unlike the clock, it
// does not mind what else runs.
func processor(b *testing.B) int64 {
	b.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return used.Utime.Nano() + used.Stime.Nano()
}

// trips counts the round trips to a store.
type trips struct {
	bot.Store
	n    int
	near *bot.Surroundings
}

func (s *trips) Load(ctx context.Context, event bot.EventID, person, find string, strangers ...bot.Key) (bot.Loaded, error) {
	s.n++
	return s.Store.Load(ctx, event, person, find, strangers...)
}

func (s *trips) Documents(ctx context.Context, keys []bot.Key) ([]bot.Document, error) {
	s.n++
	return s.Store.Documents(ctx, keys)
}

func (s *trips) Find(ctx context.Context, name string) (string, error) {
	s.n++
	return s.Store.Find(ctx, name)
}

func (s *trips) Roster(ctx context.Context) ([]notify.Catcher, error) {
	s.n++
	return s.Store.Roster(ctx)
}

func (s *trips) Board(ctx context.Context) (notify.Board, error) {
	s.n++
	return s.Store.Board(ctx)
}

// Around hands out what it did the first time: maps have no index of places.
func (s *trips) Around(ctx context.Context, place intake.Place, km float64, now time.Time) (*bot.Surroundings, error) {
	s.n++
	if s.near == nil {
		near, err := s.Store.Around(ctx, place, km, now)
		if err != nil {
			return nil, err
		}
		s.near = near
	}
	near := *s.near
	near.Place = place
	return &near, nil
}

func (s *trips) Commit(ctx context.Context, c bot.Change) (bot.Committed, error) {
	s.n++
	return s.Store.Commit(ctx, c)
}
