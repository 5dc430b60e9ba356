package bot

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// parkStore is as much of a store as parking needs: it commits, knows what it has seen, and
// puts timers off.
type parkStore struct {
	Store
	board     notify.Board
	committed map[EventID]Change
	due       []Timer
	putOff    []time.Duration
}

func (s *parkStore) Load(_ context.Context, event EventID, person, _ string, _ ...Key) (Loaded, error) {
	if c, ok := s.committed[event]; ok {
		return Loaded{Seen: true, Outcome: c.Outcome}, nil
	}
	if person == "" {
		return Loaded{}, nil
	}
	return Loaded{Documents: []Document{{Key: Key{KindPerson, person}, Version: 3, Pointer: &Key{KindCall, "c1"}, Body: []byte("{")}}}, nil
}

func (s *parkStore) Board(context.Context) (notify.Board, error) { return s.board, nil }

func (s *parkStore) Commit(_ context.Context, c Change) (Committed, error) {
	s.committed[c.Event] = c
	return Committed{Outcome: c.Outcome}, nil
}

func (s *parkStore) DueTimers(context.Context, int) ([]Timer, time.Duration, error) {
	return s.due, time.Minute, nil
}

func (s *parkStore) Postpone(_ context.Context, _ Timer, by time.Duration) error {
	s.putOff = append(s.putOff, by)
	return nil
}

// still is a clock that stands.
type still struct{ now time.Time }

func (s still) Now() time.Time                                   { return s.now }
func (s still) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func parkHotline(decider func(Facts) (Change, Need)) (*Hotline, *parkStore, *bytes.Buffer) {
	s := DefaultSettings()
	s.Stewards = []string{"sms:+16075550199"}
	store := &parkStore{committed: map[EventID]Change{}, board: notify.Board{Calls: map[string]notify.CallCard{"c1": {Reference: "7KQ2"}}}}
	var log bytes.Buffer
	return &Hotline{
		Settings: s, Secrets: [][]byte{testSecret}, Store: store, Clock: still{time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)},
		Log: slog.New(slog.NewTextHandler(&log, nil)), Decider: decider,
	}, store, &log
}

// TestBrokenEventIsParked plays a fault in the decision of one event: whoever sent it reads the
// emergency number and that a person has their words, the stewards get the words, a STOP counts
// all the same, and the event does not come again.
func TestBrokenEventIsParked(t *testing.T) {
	const gwen, far notify.Address = "sms:+16075550142", "sms:+442079460999"
	for _, tt := range []struct {
		why            string
		event          Event
		sender         string // words that they read, "" = none
		class          notify.Class
		steward        string
		stops, aloneIs bool
	}{
		{"a text", Said{Event: "tw:1", From: gwen, Text: "bees in the plum tree"}, "911", notify.News, "bees in the plum tree", false, false},
		{"nobody is there to look", Said{Event: "tw:1", From: gwen, Text: "bees in the plum tree"}, "other words", notify.News, "", false, true},
		{"a severe reaction", Said{Event: "tw:1", From: gwen, Text: "bees stung me and i cant breathe"}, "CALL 911 NOW", notify.Safety, "A severe sting reaction?", false, false},
		{"an opt-out", Said{Event: "tw:1", From: gwen, Text: "STOP"}, "", "", "STOP", true, false},
		{"a carrier's opt-out", Said{Event: "tw:1", From: gwen, Text: "sí", OptOut: "STOP"}, "", "", "", true, false},
		{"a country that is not answered", Said{Event: "tw:1", From: far, Text: "bees"}, "", "", "+442079460999", false, false},
		{"a button", Tapped{Event: "tg:1", From: "telegram:5550101", Says: "TAKE 7KQ2", Profile: "Ada"}, "911", notify.News, "Ada (Telegram)", false, false},
		{"a phone call", Rang{Event: "rg:1", From: gwen}, "911", notify.News, "(a phone call)", false, false},
		{"a pin", Said{Event: "tw:1", From: gwen, Pin: &Point{Lat: 42.5, Lon: -76.5}}, "911", notify.News, "42.50000,-76.50000", false, false},
		{"what was not delivered", Undelivered{Event: "ud:1", Message: notify.Message{To: gwen, Still: notify.Still{Call: "c1"}}}, "", "", "7KQ2: A step", false, false},
		{"the auditor's finding", Kicked{Event: "au:1", Call: "c1"}, "", "", "7KQ2: A step", false, false},
		{"an answer from outside", Returned{Errand: Errand{ID: "e1", Call: "c1"}}, "", "", "7KQ2: A step", false, false},
	} {
		t.Run(tt.why, func(t *testing.T) {
			tries := 0
			h, store, log := parkHotline(func(Facts) (Change, Need) { tries++; panic("quoting bees in the plum tree") })
			parked := 0
			h.Parked = func(Event) { parked++ }
			if tt.aloneIs {
				h.Settings.Stewards = nil
			}
			for range 2 { // as a provider brings it again
				if outcome, err := h.Hear(t.Context(), tt.event); err != nil || outcome != OutcomeParked {
					t.Fatal(outcome, err)
				}
			}
			if tries != 2 || parked != 1 {
				t.Errorf("decided %d times, parked %d times", tries, parked)
			}
			change := store.committed[tt.event.ID()]
			if len(change.Documents) > 0 || (len(change.Stops) == 1) != tt.stops {
				t.Errorf("documents %v, stops %v", change.Documents, change.Stops)
			}
			heard := map[notify.Address]string{}
			for _, m := range change.Messages {
				heard[m.To] += m.Text
				if m.To == sender(tt.event) && m.Class != tt.class {
					t.Errorf("the answer is of class %s, want %s", m.Class, tt.class)
				}
			}
			if got := heard[sender(tt.event)]; !strings.Contains(got, tt.sender) || tt.sender == "" && got != "" {
				t.Errorf("the sender reads %q, want %q in it", got, tt.sender)
			}
			if got := heard["sms:+16075550199"]; !strings.Contains(got, tt.steward) || got == "" && !tt.aloneIs {
				t.Errorf("the steward reads %q, want %q in it", got, tt.steward)
			}
			// Fewer digits of the number may stand in an address of the stack.
			if strings.Contains(log.String(), "plum tree") || strings.Contains(log.String(), "5550142") || !strings.Contains(log.String(), string(tt.event.ID())) {
				t.Errorf("the log: %s", log)
			}
		})
	}
}

// TestBrokenOnceIsNotParked holds that a fault which does not come again parks nothing.
func TestBrokenOnceIsNotParked(t *testing.T) {
	tries := 0
	h, store, _ := parkHotline(func(f Facts) (Change, Need) {
		if tries++; tries == 1 {
			panic("once")
		}
		return Change{Event: f.Event.ID(), Outcome: OutcomeNoted}, Need{}
	})
	if outcome, err := h.Hear(t.Context(), Said{Event: "tw:1", From: "sms:+16075550142"}); err != nil || outcome != OutcomeNoted || len(store.committed) != 1 {
		t.Error(outcome, err, store.committed)
	}
}

// TestWhatIsNotParked holds that whoever sees the failure themselves gets an error, and that a
// document of a newer program waits for that program.
func TestWhatIsNotParked(t *testing.T) {
	for _, e := range []Event{Paged{Event: "web:1"}, Desked{Event: "sw:1"}, Enrolled{Event: "ro:1"}, Dismissed{Event: "ro:2"}} {
		h, store, _ := parkHotline(func(Facts) (Change, Need) { panic("again and again") })
		if _, err := h.Hear(t.Context(), e); !errors.Is(err, ErrBroken) || len(store.committed) > 0 {
			t.Errorf("%T: %v, committed %v", e, err, store.committed)
		}
	}
	h, store, _ := parkHotline(func(Facts) (Change, Need) { panic(badDocument{errNewer}) })
	if _, err := h.Hear(t.Context(), Said{Event: "tw:1", From: "sms:+16075550142"}); !errors.Is(err, errNewer) || len(store.committed) > 0 {
		t.Errorf("a newer document: %v, committed %v", err, store.committed)
	}
}

// TestBrokenTimerComesBackMoreSeldom holds that a timer which breaks is kept, holds nobody up,
// and is told of once.
func TestBrokenTimerComesBackMoreSeldom(t *testing.T) {
	h, store, _ := parkHotline(func(Facts) (Change, Need) { panic("again and again") })
	now := h.Clock.Now()
	for _, late := range []time.Duration{0, 10 * time.Minute, 30 * time.Hour} {
		store.due = []Timer{{ID: "c1/round", N: 4, At: now.Add(-late)}}
		if heard, _, err := h.RunTimers(t.Context()); heard != 0 || err != nil {
			t.Fatal(heard, err)
		}
	}
	if store.putOff[0] != time.Minute || store.putOff[1] != 10*time.Minute || store.putOff[2] != time.Hour {
		t.Errorf("put off by %v", store.putOff)
	}
	change, told := store.committed["pk:tm:c1/round:4"]
	timer := newDecision(Facts{Settings: h.Settings, Secret: testSecret, Now: now, Event: Fired{Timer: store.due[0]}})
	if id := timer.messageID(); slices.ContainsFunc(change.Messages, func(m notify.Message) bool { return m.ID == id }) {
		t.Error("the timer's own message, if it comes to that, has the id of what the stewards were told")
	}
	if !told || len(store.committed) != 1 || !strings.Contains(change.Messages[0].Text, "7KQ2") {
		t.Errorf("told: %v", store.committed)
	}
}

// TestManyBrokenAreLeftToTheProviders holds that a program which breaks over everything keeps
// nothing but what it could pass on: the rest comes again, to a mended one.
func TestManyBrokenAreLeftToTheProviders(t *testing.T) {
	h, store, _ := parkHotline(func(Facts) (Change, Need) { panic("everything") })
	refused := 0
	for i := range 30 {
		if _, err := h.Hear(t.Context(), Said{Event: EventID("tw:" + itoa(i)), From: "sms:+16075550142", Text: "bees"}); err != nil {
			refused++
		}
	}
	if refused != 10 || len(store.committed) != 20 {
		t.Errorf("refused %d, parked %d", refused, len(store.committed))
	}
}

// TestDeepFaultIsNoCrash holds that a fault in what a decision reads texts with does not come
// out of parking either.
func TestDeepFaultIsNoCrash(t *testing.T) {
	if calmly(func() bool { var s *intake.Setting; return s.Language == "" }) {
		t.Error("a reader that broke said yes")
	}
}
