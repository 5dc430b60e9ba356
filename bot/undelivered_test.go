package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// TestUndeliveredQuestionIsSeen holds that a steward hears of a caller who cannot be told,
// also when the message named no call, and that an edit which fails takes no offer back.
func TestUndeliveredQuestionIsSeen(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Stewards = []string{"telegram:5550199"}
	m.hear(t, Enrolled{Event: "ro:1", Catcher: notify.Catcher{ID: "ada", Name: "Ada", Address: walkers[4], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	var question, offer notify.Message
	for _, msg := range m.sent {
		switch {
		case msg.Class == notify.Offer:
			offer = msg
		case msg.To == walkers[0]:
			question = msg
		}
	}
	before := len(m.sent)
	m.hear(t, Undelivered{Event: "ud:1", Message: question, Reason: "unreachable"})
	told := false
	for _, msg := range m.sent[before:] {
		told = told || msg.To == "telegram:5550199" && strings.Contains(msg.Text, "could not be delivered")
	}
	if !told {
		t.Errorf("no steward heard that a %s did not arrive", question.Class)
	}
	offer.Edits = offer.ID
	m.hear(t, Undelivered{Event: "ud:2", Message: offer, Reason: "cannot_edit"})
	if o := m.calls(t)[0].offer("ada"); o == nil || o.State != notify.AskOpen {
		t.Errorf("an edit that failed took the offer back: %+v", o)
	}
}
