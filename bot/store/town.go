package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	json "github.com/goccy/go-json"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// town is this process's copy of roster and board, brought up to date before each look:
// what an event costs must not grow with the calls that are open.
type town struct {
	turn   sync.Mutex   // held while one brings the copy up to date for everybody who waits
	looked atomic.Int64 // how often that was begun
	failed error        // how it ended the last time

	mu      sync.Mutex
	version string // of the roster; "" = not read yet
	roster  []notify.Catcher
	at      map[string]int // where in roster, by id
	homes   grid           // of catchers, as far as they go

	logged   int64 // version of the board; -1 = not read yet
	calls    map[string]notify.CallCard
	catchers map[string]notify.CatcherCard
	places   grid // of calls, as far as they may be off

	club   notify.Club // how the club does; of a large one, now and then
	clubAt time.Time
}

const (
	// wholeRoster is how many catchers are handed out whole: to look at them all costs less
	// than to pick.
	wholeRoster = 300
	// clubFor is how long the sums over a large club hold: they fade over days.
	clubFor = time.Minute
)

func newTown() *town { return &town{logged: -1} }

// refresh brings the copy up to date with what stood on the board when it was called. Those
// who come while one reads wait, and then one of them reads for all.
func (s *Store) refresh(ctx context.Context) error {
	t := s.town
	came := t.looked.Load()
	t.turn.Lock()
	defer t.turn.Unlock()
	if t.looked.Load() == came { // else a reading was begun and ended after we came
		t.looked.Add(1)
		t.failed = s.follow(context.WithoutCancel(ctx)) // it is not this one's alone
	}
	return t.failed
}

// follow reads what has changed since the copy was read.
func (s *Store) follow(ctx context.Context) error {
	t := s.town
	for {
		t.mu.Lock()
		known, version := t.logged, t.version
		t.mu.Unlock()
		asked := ""
		if known >= 0 {
			asked = strconv.FormatInt(known, 10)
		}
		reply, err := s.call(ctx, s.scripts.board, s.keys.list("meta", "board", "board:log"), asked)
		if err != nil {
			return fmt.Errorf("read what changed on the board: %w", err)
		}
		logged, err := strconv.ParseInt(reply[1], 10, 64)
		if err != nil {
			return fmt.Errorf("read the board's version: %w", err)
		}
		// What is read whole is read after its version, so it is as new or newer; the next
		// changes are then read once more, which changes nothing.
		var roster []notify.Catcher
		if reply[0] != version {
			if roster, err = s.readRoster(ctx); err != nil {
				return err
			}
		}
		cards := reply[3:]
		if reply[2] == "all" {
			if cards, err = s.readBoard(ctx); err != nil {
				return err
			}
		}
		if err := s.unseal(cards); err != nil {
			return err
		}
		applied, err := t.apply(known, logged, reply[2] == "all", cards, reply[0], version, roster)
		if applied || err != nil {
			return err
		}
	}
}

// unseal opens cards in their place: every second one of the list. One that is broken counts
// as empty, see pin.
func (s *Store) unseal(cards []string) error {
	for i := 0; i+1 < len(cards); i += 2 {
		body, err := s.seals.open("board:"+cards[i], []byte(cards[i+1]))
		if errors.Is(err, bot.ErrBroken) {
			body, err = []byte("{}"), nil
		}
		if err != nil {
			return fmt.Errorf("read board card %s: %w", cards[i], err)
		}
		cards[i+1] = string(body)
	}
	return nil
}

func (s *Store) readRoster(ctx context.Context) ([]notify.Catcher, error) {
	fields, err := s.client.HGetAll(ctx, s.keys.of("roster")).Result()
	if err != nil {
		return nil, fmt.Errorf("read roster: %w", err)
	}
	catchers := make([]notify.Catcher, 0, len(fields))
	for id, body := range fields {
		var c notify.Catcher
		plain, err := s.seals.open("roster:"+id, []byte(body))
		if errors.Is(err, ErrSealed) {
			return nil, fmt.Errorf("read roster entry %s: %w", id, err)
		}
		if err != nil || json.Unmarshal(plain, &c) != nil {
			continue // broken: this one is not asked; the look at all seals tells of it
		}
		catchers = append(catchers, c)
	}
	slices.SortFunc(catchers, func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
	return catchers, nil
}

func (s *Store) readBoard(ctx context.Context) ([]string, error) {
	fields, err := s.client.HGetAll(ctx, s.keys.of("board")).Result()
	if err != nil {
		return nil, fmt.Errorf("read board: %w", err)
	}
	cards := make([]string, 0, 2*len(fields))
	for field, body := range fields {
		cards = append(cards, field, body)
	}
	return cards, nil
}

// apply lays what was read over the copy. False means that the copy has moved on meanwhile
// from where it was read: then it is read again.
func (t *town) apply(known, logged int64, all bool, cards []string, version, from string, roster []notify.Catcher) (bool, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.logged != known || t.version != from {
		return false, nil
	}
	if version != from {
		t.settle(version, roster)
	}
	if all {
		t.calls, t.catchers, t.places = map[string]notify.CallCard{}, map[string]notify.CatcherCard{}, newGrid(0.01)
	}
	for ; len(cards) >= 2; cards = cards[2:] {
		t.pin(cards[0], cards[1])
	}
	t.logged = logged
	return true, nil
}

// settle takes in a new roster.
func (t *town) settle(version string, roster []notify.Catcher) {
	t.version, t.roster, t.clubAt = version, roster, time.Time{}
	t.at, t.homes = make(map[string]int, len(roster)), newGrid(0.1)
	for i, c := range roster {
		t.at[c.ID] = i
		if len(roster) > wholeRoster {
			t.homes.add(c.Lat, c.Lon, c.ReachKm, c.ID)
		}
	}
}

// pin puts one card on the board, or takes it off when body is "". One that is broken is
// empty: that of a call names no next step, so that the auditor looks at the call itself.
func (t *town) pin(field, body string) {
	if id, ok := strings.CutPrefix(field, "k:"); ok {
		pin(t.catchers, id, body)
		return
	}
	id, ok := strings.CutPrefix(field, "c:")
	if !ok {
		return
	}
	if old := t.calls[id]; old.PrecisionM > 0 {
		t.places.remove(old.Lat, old.Lon, old.PrecisionM/1000, id)
	}
	pin(t.calls, id, body)
	if c := t.calls[id]; c.PrecisionM > 0 {
		t.places.add(c.Lat, c.Lon, c.PrecisionM/1000, id)
	}
}

func pin[T any](cards map[string]T, id, body string) {
	delete(cards, id)
	if body == "" {
		return
	}
	var card T
	if json.Unmarshal([]byte(body), &card) != nil {
		card = *new(T) // not half of it
	}
	cards[id] = card
}

// Around returns what matters at a place; see bot.Store.
func (s *Store) Around(ctx context.Context, place intake.Place, km float64, now time.Time) (*bot.Surroundings, error) {
	if err := s.refresh(ctx); err != nil {
		return nil, err
	}
	t := s.town
	t.mu.Lock()
	defer t.mu.Unlock()
	near := &bot.Surroundings{Place: place, Members: len(t.roster)}
	near.Board.Calls = map[string]notify.CallCard{}
	if !t.places.near(place.Lat, place.Lon, km, func(id string) { near.Board.Calls[id] = t.calls[id] }) {
		near.Board.Calls = maps.Clone(t.calls)
	}
	if len(t.roster) <= wholeRoster || place.PrecisionM >= intake.InWordsOnly {
		near.Roster, near.Board.Catchers = t.roster, maps.Clone(t.catchers)
		return near, nil
	}
	near.Board.Catchers = map[string]notify.CatcherCard{}
	t.homes.near(place.Lat, place.Lon, 0, func(id string) {
		near.Roster = append(near.Roster, t.roster[t.at[id]])
		if card, ok := t.catchers[id]; ok {
			near.Board.Catchers[id] = card
		}
	})
	slices.SortFunc(near.Roster, func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
	if now.Sub(t.clubAt).Abs() > clubFor {
		t.club, t.clubAt = notify.ClubOf(notify.Board{Catchers: t.catchers}, t.roster, now), now
	}
	near.Board.Club = &t.club
	return near, nil
}

// Roster returns every catcher, sorted by id; see bot.Store.
func (s *Store) Roster(ctx context.Context) ([]notify.Catcher, error) {
	if err := s.refresh(ctx); err != nil {
		return nil, err
	}
	s.town.mu.Lock()
	defer s.town.mu.Unlock()
	return s.town.roster, nil
}

// Board returns the board as it stood a moment ago; see bot.Store.
func (s *Store) Board(ctx context.Context) (notify.Board, error) {
	if err := s.refresh(ctx); err != nil {
		return notify.Board{}, err
	}
	s.town.mu.Lock()
	defer s.town.mu.Unlock()
	return notify.Board{Calls: maps.Clone(s.town.calls), Catchers: maps.Clone(s.town.catchers)}, nil
}
