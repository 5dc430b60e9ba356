package store

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"skepline/bot"
)

// thirtyCalls races eight takers for each of thirty calls, on two replicas at once. Every
// taker decides by what it loaded, as Decide does, and tries again on a conflict.
func thirtyCalls(w *world) {
	const calls, takers = 30, 8
	var docs []bot.Document
	for c := range calls {
		docs = append(docs, call(fmt.Sprintf("c%d", c), 0, ""))
	}
	w.commit(bot.Change{Documents: docs})
	var (
		mu      sync.Mutex
		won     = map[string][]string{}
		tries   int
		running sync.WaitGroup
	)
	began := time.Now()
	for c := range calls {
		for k := range takers {
			running.Go(func() {
				id, who := fmt.Sprintf("c%d", c), fmt.Sprintf("taker%d", k)
				outcome, n := take(w, []*Store{w.a, w.b}[k%2], id, who)
				mu.Lock()
				defer mu.Unlock()
				tries += n
				if outcome == "won" {
					won[id] = append(won[id], who)
				}
			})
		}
	}
	running.Wait()
	for c := range calls {
		id := fmt.Sprintf("c%d", c)
		got, err := w.a.Documents(w.Context(), []bot.Key{{Kind: bot.KindCall, ID: id}})
		if err != nil {
			w.Fatal(err)
		}
		if len(won[id]) != 1 || string(got[0].Body) != won[id][0] {
			w.Errorf("call %s: told %v that they have it, the document says %q", id, won[id], got[0].Body)
		}
	}
	w.Logf("%d takes in %v, %.2f tries each", calls*takers, time.Since(began).Round(time.Millisecond), float64(tries)/(calls*takers))
}

func take(w *world, s *Store, id, who string) (outcome bot.Outcome, tries int) {
	event := bot.EventID("tg:1:" + id + who)
	for tries = 1; tries <= 64; tries++ {
		docs, err := s.Documents(w.Context(), []bot.Key{{Kind: bot.KindCall, ID: id}})
		if err != nil {
			w.Error(err)
			return "", tries
		}
		change := bot.Change{Event: event, Outcome: "late", Checks: []bot.Check{{Key: docs[0].Key, Version: docs[0].Version}}}
		if len(docs[0].Body) == 0 {
			docs[0].Body = []byte(who)
			change.Outcome, change.Documents, change.Checks = "won", docs, nil
		}
		done, err := s.Commit(w.Context(), change)
		if errors.Is(err, bot.ErrConflict) {
			continue
		}
		if err != nil {
			w.Error(err)
		}
		return done.Outcome, tries
	}
	w.Errorf("%s took %s in vain %d times", who, id, tries)
	return "", tries
}
