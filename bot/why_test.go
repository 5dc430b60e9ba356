package bot

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// TestWhyFitsAScreen holds that the answer for a roster of four hundred is one text of at most
// three SMS, and that what is kept of it with the call stays small.
func TestWhyFitsAScreen(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	steward := notify.Address("sms:+16075550150")
	m.settings.Stewards = []string{string(steward)}
	for i := range 400 {
		m.hear(t, Enrolled{Event: EventID(fmt.Sprint("ro:", i)), Catcher: notify.Catcher{
			ID: fmt.Sprintf("bartholomew-%d", i), Name: "Bartholomew", Address: notify.Address(fmt.Sprintf("telegram:%d", 1000+i)),
			Lat: 42.45, Lon: -76.48 + 0.002*float64(i%200), ReachKm: 15, MaxHeightM: 5, JobsADay: 3,
		}})
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
	before := len(m.sent)
	m.hear(t, Said{Event: "tw:2", From: steward, Text: "WHY"})
	if len(m.sent) != before+1 {
		t.Fatalf("WHY is answered by %d texts", len(m.sent)-before)
	}
	text := m.sent[before].Text
	if n := notify.Segments(text); n > 3 || !strings.Contains(text, "Not yet: Bartholomew") || !strings.Contains(text, "too far") {
		t.Errorf("%d segments: %s", n, text)
	}
	kept, err := json.Marshal(m.calls(t)[0].Weighed)
	if err != nil || len(kept) > 4000 {
		t.Errorf("%d bytes are kept, %v", len(kept), err)
	}
}

// TestWhyIsForStewards holds that to anybody else it is no command.
func TestWhyIsForStewards(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
	ref := m.calls(t)[0].Reference
	for i, who := range []notify.Address{walkers[0], walkers[1], walkers[4]} {
		before := len(m.sent)
		m.hear(t, Said{Event: EventID(fmt.Sprint("tw:why", i)), From: who, Text: "WHY " + ref})
		for _, msg := range m.sent[before:] {
			if strings.Contains(msg.Text, "Asked:") {
				t.Errorf("%s reads %q", who, msg.Text)
			}
		}
	}
}
