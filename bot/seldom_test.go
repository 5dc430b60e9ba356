package bot

import (
	"testing"
	"time"
)

func TestSeldom(t *testing.T) {
	var s Seldom
	told, counted := 0, 0
	start := time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)
	for n := range 40_000 { // a thousand a second, for forty seconds
		if untold, ok := s.Tell(start.Add(time.Duration(n) * time.Millisecond)); ok {
			told, counted = told+1, counted+1+untold
		}
	}
	if told != 4 || counted != 30_001 {
		t.Errorf("told %d times of %d, want 4 of 30001", told, counted)
	}
	if _, ok := s.Tell(start); !ok {
		t.Error("a clock that was set back silences it")
	}
}
