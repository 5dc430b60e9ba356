package bot

import (
	"testing"
	"time"

	"skepline/notify"
)

// Somebody whose offer is over because another was faster is free for the next call at once,
// not only when the ask is no longer fresh.
func TestWhoWasOvertakenIsFreeAtOnce(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	for i, id := range []string{"ada", "bram"} {
		m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{ID: id, Name: id, Address: walkers[4+i], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	if m.board.Catchers["ada"].LastAsk.IsZero() {
		t.Fatal("ada was not asked")
	}
	m.hear(t, Said{Event: "tg:2", From: walkers[5], Text: "TAKE"})
	if at := m.board.Catchers["ada"].LastAsk; !at.IsZero() {
		t.Errorf("the ask of %v still counts as fresh", at)
	}
}
