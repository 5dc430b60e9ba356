package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// taken is a swarm of walkers[0] that a catcher by SMS has taken.
func taken(t *testing.T, settings func(*Settings)) (*model, Call) {
	t.Helper()
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	settings(m.settings)
	m.hear(t, Enrolled{Event: "ro:1", Catcher: notify.Catcher{ID: "chidi", Name: "Chidi", Address: walkers[6], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	m.hear(t, Said{Event: "tw:2", From: walkers[6], Text: "TAKE"})
	c := m.calls(t)[0]
	if c.Stage != Taken {
		t.Fatalf("the swarm is %s", c.Stage)
	}
	return m, c
}

// A holder by SMS gets a link to the page that shows a caller's picture, and the page shows it;
// where there are no pages they are told to ask.
func TestPictureForAHolderBySMS(t *testing.T) {
	for _, row := range []struct{ why, url, has string }{
		{"with pages", "https://bees.example.org", "sent a photo: https://bees.example.org/o/" + linkMask},
		{"without", "", "Ask what is on it"},
	} {
		m, _ := taken(t, func(s *Settings) { s.PublicURL = row.url })
		m.sent = nil
		m.hear(t, Said{Event: "tw:3", From: walkers[0], Photos: []string{"tw:MM1/ME1"}})
		i := -1
		for j, msg := range m.sent {
			if msg.To == walkers[6] {
				i = j
			}
		}
		if i < 0 || !strings.Contains(m.sent[i].Text, row.has) {
			t.Fatalf("%s: sent %+v", row.why, m.sent)
		}
		if row.url == "" {
			continue
		}
		link := m.sent[i].Link
		f := Facts{Settings: m.settings, Secret: testSecret, Now: m.now, Event: Kicked{Event: "x"}, Finds: []Find{{"tok:" + link.Hash, m.finds["tok:"+link.Hash]}}}
		for _, doc := range m.docs {
			f.Documents = append(f.Documents, doc)
		}
		if o := newDecision(f).opens(link.Hash); o == nil || o.Newer || o.Who != "chidi" {
			t.Errorf("the link opens %+v", o)
		}
	}
}

// "Boxed" is news of the swarm one stands at, "lifted" of the box that waits: no question is
// asked where only one makes sense.
func TestWordsMeanTheLikeliestCall(t *testing.T) {
	at := func(ref string, s Stage) *Call { return &Call{Reference: ref, Stage: s} }
	all := []*Call{at("WAIT", Boxed), at("HERE", There), at("HOME", Lifted)}
	for word, want := range map[intake.Word]string{
		intake.WordBoxed: "HERE", intake.WordLifted: "WAIT", intake.WordHived: "HOME", intake.WordNoFrames: "HOME", intake.WordFlown: "WAIT HERE HOME",
	} {
		var got []string
		for _, c := range likeliest(all, word) {
			got = append(got, c.Reference)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s means %v, want %s", word, got, want)
		}
	}
	if got := likeliest(all[:1], intake.WordBoxed); len(got) != 1 {
		t.Errorf("a second try is not heard: %v", got)
	}
}
