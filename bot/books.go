package bot

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"skepline/notify"
)

// Sums that a decision may need are read when it asks for them: those of the season for
// whoever asks, those of a day for the line that stewards get in the morning.

// DaySum is one local day of a hotline in numbers.
type DaySum struct {
	Day      time.Time // its midnight, in the hotline's zone
	Reported int       // calls that began
	Caught   int       // boxed, by somebody's call or in a bait box
	Segments int       // SMS segments sent, of the UTC day that noon falls into, as the fuse counts them
	Open     int       // calls open now
	Held     int       // of these, those that wait for a person
}

// fewSegments are no news: reminders, and this very line. Judgement.
const fewSegments = 20

// Quiet reports whether there is nothing to tell of a day.
func (s DaySum) Quiet() bool {
	return s.Reported == 0 && s.Caught == 0 && s.Open == 0 && s.Segments < fewSegments
}

// readDay sums up the local day that begins at midnight.
func (h *Hotline) readDay(ctx context.Context, midnight time.Time, board notify.Board) (*DaySum, error) {
	s := DaySum{Day: midnight}
	next := midnight.AddDate(0, 0, 1)
	within := func(t time.Time) bool { return !t.Before(midnight) && t.Before(next) }
	count := func(e Entry) {
		if within(e.Opened) && !e.TrapLine {
			s.Reported++
		}
		if within(e.Boxed) || e.Boxed.IsZero() && within(e.Hived) {
			s.Caught++
		}
	}
	err := EachEntry(ctx, h.Store, midnight, h.Clock.Now(), nil, func(e Entry) error {
		count(e)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var keys []Key
	for id, card := range board.Calls {
		if card.Stage == "joined" { // a second report of the same swarm
			continue
		}
		s.Open++
		keys = append(keys, Key{KindCall, id})
		if card.Held != "" {
			s.Held++
		}
	}
	slices.SortFunc(keys, compareKeys)
	docs, err := h.Store.Documents(ctx, keys)
	if err != nil {
		return nil, err
	}
	for _, doc := range docs {
		var c Call
		if err := json.Unmarshal(doc.Body, &c); err != nil || c.Joined != "" || !c.Ended.IsZero() {
			continue // gone, joined or ended meanwhile: the board is a moment old
		}
		count(entryOf(&c))
	}
	const noon = 12 * time.Hour
	s.Segments, err = h.Store.Spent(ctx, midnight.Add(noon))
	return &s, err
}

// ReadSeason sums up the season so far: every call that ended since it began.
func (h *Hotline) ReadSeason(ctx context.Context) (Summary, error) {
	now := h.Clock.Now().In(h.Settings.Zone())
	summing := NewSumming(h.Settings)
	err := EachEntry(ctx, h.Store, h.Settings.seasonBegins(now), now, nil, func(e Entry) error {
		summing.Add(e)
		return nil
	})
	return summing.Summary(), err
}

// seasonBegins is when the season of now began to be counted: at New Year, south of the
// equator in July, when no bees swarm.
func (s *Settings) seasonBegins(now time.Time) time.Time {
	if s.Latitude >= 0 {
		return time.Date(now.Year(), time.January, 1, 0, 0, 0, 0, now.Location())
	}
	begins := time.Date(now.Year(), time.July, 1, 0, 0, 0, 0, now.Location())
	if begins.After(now) {
		begins = begins.AddDate(-1, 0, 0)
	}
	return begins
}

// dailyAt is the local hour at which stewards get the line of the day before: after
// breakfast, and early enough to do something about what is open. Judgement.
const dailyAt = 8

// Morning is the time of the line about the day before.
type Morning struct {
	Day string // the local day on which it is sent: "2026-05-13"
}

// ID returns the event's id: one a day, however many replicas tell the time.
func (e Morning) ID() EventID { return EventID("day:" + e.Day) }
func (Morning) isEvent()      {}

// Daily hears the morning of today once its hour has come, and returns whether it did and how
// long until the next. A day on which the program did not run at that hour gets its line later
// that day.
func (h *Hotline) Daily(ctx context.Context) (heard bool, wait time.Duration, err error) {
	now := h.Clock.Now().In(h.Settings.Zone())
	at := h.Settings.daily(now)
	today := now.Format(time.DateOnly)
	if now.Before(at) {
		return false, at.Sub(now), nil
	}
	next := h.Settings.daily(now.AddDate(0, 0, 1)).Sub(now)
	last, err := h.Store.Mark(ctx, "daily")
	switch {
	case err != nil || last == today:
		return false, next, err
	case last == "": // it begins today, and has no day before
		return false, next, h.Store.SetMark(ctx, "daily", today)
	}
	if _, err := h.Hear(ctx, Morning{Day: today}); err != nil {
		return false, 0, fmt.Errorf("the day before: %w", err)
	}
	return true, next, h.Store.SetMark(ctx, "daily", today)
}

// daily is when the line goes out on the local day of now: never in quiet hours.
func (s *Settings) daily(now time.Time) time.Time {
	at := time.Date(now.Year(), now.Month(), now.Day(), dailyAt, 0, 0, 0, now.Location())
	if quiet := s.dispatch(); notify.Quiet(at, quiet.QuietFrom, quiet.QuietTo) {
		at = quiet.QuietTo.Next(at)
	}
	return at
}
