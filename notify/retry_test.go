package notify

import (
	"testing"
	"time"
)

var allClasses = []Class{Safety, Claim, Taken, Offer, Question, Relay, News, Reminder, Goodbye}

func TestBackoff(t *testing.T) {
	for _, test := range []struct {
		class   Class
		attempt int
		after   time.Duration
		want    time.Duration
		giveUp  bool
		why     string
	}{
		{Safety, 1, 0, time.Second, false, "at once, but for a hiccup"},
		{Safety, 7, 0, time.Minute, false, "doubling up to a minute"},
		{Safety, 59, 0, time.Minute, false, "for an hour"},
		{Safety, 60, 0, 0, true, "then not any more"},
		{Claim, 1, 0, 5 * time.Second, false, ""},
		{Claim, 2, 0, 10 * time.Second, false, "doubling"},
		{Claim, 1, 40 * time.Second, 40 * time.Second, false, "never before the provider said"},
		{Claim, 9, time.Second, 3 * time.Minute, false, "nor before our own wait"},
		{Reminder, 3, 0, 0, true, "three tries are enough for a reminder"},
		{Class("unheard of"), 1, 0, 5 * time.Second, false, "like news"},
	} {
		wait, giveUp := Backoff(test.class, test.attempt, test.after)
		if wait != test.want || giveUp != test.giveUp {
			t.Errorf("Backoff(%s, %d, %v) = %v, %v; want %v, %v (%s)", test.class, test.attempt, test.after, wait, giveUp, test.want, test.giveUp, test.why)
		}
	}
}

// The comment on persistences says how long each class is tried.
func TestHowLongEachClassIsTried(t *testing.T) {
	for _, test := range []struct {
		class    Class
		low, top time.Duration
	}{
		{Safety, 50 * time.Minute, 70 * time.Minute},
		{Claim, 10 * time.Minute, 20 * time.Minute},
		{Offer, 3 * time.Minute, 5 * time.Minute},
	} {
		var sum time.Duration
		for attempt := 1; ; attempt++ {
			wait, giveUp := Backoff(test.class, attempt, 0)
			if giveUp {
				break
			}
			sum += wait
		}
		if sum < test.low || sum > test.top {
			t.Errorf("%s is tried for %v, want %v to %v", test.class, sum, test.low, test.top)
		}
	}
}

func TestEveryClassHasItsPersistence(t *testing.T) {
	for _, class := range allClasses {
		if _, ok := persistences[class]; !ok {
			t.Errorf("%s has none", class)
		}
	}
	if len(persistences) != len(allClasses) {
		t.Errorf("%d persistences for %d classes", len(persistences), len(allClasses))
	}
}

func TestSpread(t *testing.T) {
	seen := map[time.Duration]bool{}
	for _, id := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		got := spread(time.Minute, id, 1)
		if got < time.Minute || got > 75*time.Second {
			t.Errorf("%s waits %v, want a minute and at most a quarter more", id, got)
		}
		if got != spread(time.Minute, id, 1) {
			t.Errorf("%s waits differently the second time", id)
		}
		seen[got] = true
	}
	if len(seen) < 5 {
		t.Errorf("eight messages come back at %d moments", len(seen))
	}
}
