package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// townKeepsUp changes the board at random, far beyond the length of its log, and holds that a
// copy that follows the changes is the same as one read whole.
func townKeepsUp(w *world) {
	r := rand.New(rand.NewPCG(1, 2))
	same := func(when string) {
		w.Helper()
		followed, err := w.b.Board(w.Context())
		if err != nil {
			w.Fatal(err)
		}
		fresh := w.open(w.b.opts, testClock)
		whole, err := fresh.Board(w.Context())
		if diff := cmp.Diff(whole, followed); diff != "" || err != nil {
			w.Fatalf("%s: the copy differs: %v\n%s", when, err, diff)
		}
	}
	for n := range 60 {
		var cards []bot.Card
		for range r.IntN(8) {
			card := bot.Card{Field: fmt.Sprint("c:", r.IntN(9)), Body: fmt.Appendf(nil, `{"asks":%d,"lat":42.%d,"lon":-76.5,"precision_m":%d}`, n, r.IntN(9), r.IntN(5000))}
			if r.IntN(3) == 0 {
				card = bot.Card{Field: fmt.Sprint("k:", r.IntN(4)), Body: fmt.Appendf(nil, `{"open_ask":"c%d"}`, n)}
			}
			if r.IntN(4) == 0 {
				card.Body = nil
			}
			cards = append(cards, card)
		}
		w.commit(bot.Change{Cards: cards})
		if r.IntN(2) == 0 {
			same(fmt.Sprint("change ", n))
		}
	}
	for n := range 10 {
		var cards []bot.Card
		for i := range 950 {
			cards = append(cards, bot.Card{Field: fmt.Sprint("c:", i), Body: fmt.Appendf(nil, `{"asks":%d}`, n)})
		}
		w.commit(bot.Change{Cards: cards})
		if n == 4 {
			same("a long log")
		}
	}
	same("a log that is cut")
	if n := w.client.LLen(w.Context(), w.a.keys.of("board:log")).Val(); n > 8192 {
		w.Errorf("the log of the board has grown to %d", n)
	}
	w.commit(bot.Change{Cards: []bot.Card{{Field: "c:1"}}})
	same("after the cut")
}

// aroundMissesNobody compares who and what is handed out around a place with a look at
// everything.
func aroundMissesNobody(w *world) {
	r := rand.New(rand.NewPCG(3, 4))
	fill(w, r, 1200, 900)
	roster, err := w.b.Roster(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	board, err := w.b.Board(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	for range 60 {
		place := intake.Place{Lat: 41 + r.Float64()*3, Lon: -78 + r.Float64()*3, PrecisionM: float64(r.IntN(1500))}
		km := (place.PrecisionM + 400) / 1000
		near, err := w.b.Around(w.Context(), place, km, w.now)
		if err != nil {
			w.Fatal(err)
		}
		if len(near.Roster) > 600 || len(near.Board.Calls) > 300 || near.Members != len(roster) {
			w.Errorf("%d catchers of %d and %d calls of %d matter", len(near.Roster), near.Members, len(near.Board.Calls), len(board.Calls))
		}
		handed := map[string]bool{}
		for _, c := range near.Roster {
			handed[c.ID] = true
		}
		for _, c := range roster {
			if notify.DistanceKm(c.Lat, c.Lon, place.Lat, place.Lon) <= c.ReachKm && !handed[c.ID] {
				w.Errorf("%s can reach %+v and is left out", c.ID, place)
			}
		}
		for id, c := range board.Calls {
			_, there := near.Board.Calls[id]
			if c.PrecisionM > 0 && notify.DistanceKm(c.Lat, c.Lon, place.Lat, place.Lon) <= km+c.PrecisionM/1000 && !there {
				w.Errorf("%s is close to %+v and is left out", id, place)
			}
		}
		if want := notify.ClubOf(board, roster, w.now); near.Board.Club == nil || *near.Board.Club != want {
			w.Errorf("the club is %v, want %v", near.Board.Club, want)
		}
	}
	words := intake.Place{Lat: 42, Lon: -76, PrecisionM: intake.InWordsOnly}
	if near, err := w.b.Around(w.Context(), words, 3, w.now); err != nil || len(near.Roster) != len(roster) {
		w.Errorf("%d catchers matter at a place known in words only, %v", len(near.Roster), err)
	}
}

// fill commits so many catchers and calls, spread over some counties.
func fill(w testWorld, r *rand.Rand, catchers, calls int) {
	for from := 0; from < max(catchers, calls); from += 200 {
		var change bot.Change
		for i := from; i < min(from+200, catchers); i++ {
			c := notify.Catcher{ID: fmt.Sprint("k", i), Address: "telegram:5550101", Lat: 41 + r.Float64()*3, Lon: -78 + r.Float64()*3, ReachKm: 5 + r.Float64()*25, MaxHeightM: 4}
			change.Roster = append(change.Roster, bot.RosterCard{ID: c.ID, Catcher: &c})
			change.Cards = append(change.Cards, bot.Card{Field: "k:" + c.ID, Body: []byte(`{"asks":["2026-05-11T18:00:00Z"]}`)})
		}
		for i := from; i < min(from+200, calls); i++ {
			change.Cards = append(change.Cards, bot.Card{Field: fmt.Sprint("c:c", i), Body: fmt.Appendf(nil,
				`{"ref":"7KQ2","stage":"looking","opened":"2026-05-12T17:00:00Z","next":"2026-05-12T18:05:00Z","asks":2,"lat":%.5f,"lon":%.5f,"precision_m":%d}`,
				41+r.Float64()*3, -78+r.Float64()*3, r.IntN(400))})
		}
		w.commit(change)
	}
}

// testWorld is what fill needs of a test.
type testWorld interface {
	commit(bot.Change) bot.Committed
}

// full is a store to be filled for a benchmark.
type full struct {
	*testing.B
	store *Store
	n     int
}

func (f *full) commit(c bot.Change) bot.Committed {
	f.n++
	c.Event, c.Outcome = bot.EventID(fmt.Sprint("web:fill", f.n)), "noted"
	done, err := f.store.Commit(context.Background(), c)
	if err != nil {
		f.Fatal(err)
	}
	return done
}

// BenchmarkAround is a look around a place on a busy day: ten cards have changed since the
// last look. Open calls and catchers are spread over the same three degrees, so that more of
// them are closer together.
func BenchmarkAround(b *testing.B) {
	for _, size := range []struct{ catchers, calls int }{{10, 10}, {100, 1000}, {1000, 10_000}, {10_000, 100_000}} {
		b.Run(fmt.Sprintf("catchers=%d,calls=%d", size.catchers, size.calls), func(b *testing.B) {
			f := &full{B: b, store: benchStore(b)}
			r := rand.New(rand.NewPCG(5, 6))
			fill(f, r, size.catchers, size.calls)
			look := func() *bot.Surroundings {
				place := intake.Place{Lat: 41 + r.Float64()*3, Lon: -78 + r.Float64()*3, PrecisionM: 20}
				near, err := f.store.Around(b.Context(), place, 0.42, time.Now())
				if err != nil {
					b.Fatal(err)
				}
				return near
			}
			look()
			roster, calls, n := 0, 0, 0
			for b.Loop() {
				b.StopTimer()
				var change bot.Change
				for range 10 {
					change.Cards = append(change.Cards, bot.Card{Field: fmt.Sprint("c:c", r.IntN(size.calls)), Body: []byte(`{"stage":"taken","lat":42.1,"lon":-76.5,"precision_m":20}`)})
				}
				f.commit(change)
				b.StartTimer()
				near := look()
				roster, calls, n = roster+len(near.Roster), calls+len(near.Board.Calls), n+1
			}
			b.ReportMetric(float64(roster)/float64(n), "catchers")
			b.ReportMetric(float64(calls)/float64(n), "calls")
		})
	}
}
