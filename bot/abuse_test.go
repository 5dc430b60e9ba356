package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// TestFloods lets one address send three hundred texts in ten minutes, of every sort that gets
// an answer: what it costs is bounded, and an emergency is still answered first.
func TestFloods(t *testing.T) {
	for _, row := range []struct {
		why   string
		texts []string
		most  int // answers to the flooder
	}{
		{"one word that is answered", []string{"AGAIN"}, 50},
		{"switching languages", []string{"ES", "EN"}, 50},
		{"back and forth", []string{"bees", "1", "BACK"}, 60},
		{"reports taken back at once", []string{oneSwarm, "GONE"}, 50},
		{"another machine's one text", []string{"Thank you for your message. We are closed."}, 10},
		{"another machine's two texts", []string{"Thank you for your message. We are closed.", "Your call is important to us."}, 50},
		{"insults", []string{"fuck you", "you idiots", "stupid bot"}, 2},
		{"starting over", []string{"START"}, 7},
		{"takes of nothing", []string{"TAKE"}, 8},
		{"letters at random", []string{"qwerty asdf", "zxcv uiop", "hjkl bnm"}, 20},
	} {
		m := crewed(t)
		for n := range 300 {
			m.hear(t, Said{Event: EventID(fmt.Sprintf("tw:f%d", n)), From: walkers[0], Text: row.texts[n%len(row.texts)]})
			m.now = m.now.Add(2 * time.Second)
		}
		answers, others := 0, 0
		for _, msg := range m.sent {
			if msg.To == walkers[0] {
				answers++
			} else {
				others++
			}
		}
		t.Logf("%s: %d answers, %d messages to others", row.why, answers, others)
		if answers > row.most || others > 60 {
			t.Errorf("%s: three hundred texts got %d answers and made %d messages to others", row.why, answers, others)
		}
		before := len(m.sent)
		m.says(t, walkers[0], "my throat is swelling and i cant breathe")
		if got := m.sent[before]; got.Class != notify.Safety || got.To != walkers[0] {
			t.Errorf("%s: an emergency got %q first", row.why, got.Text)
		}
	}
}

// TestManyReports holds that a prankster's reports are looked at by a person before anybody
// drives, and that a steward may enter as many as they like.
func TestManyReports(t *testing.T) {
	m := crewed(t)
	for n := range reportsFree + 1 {
		if n > 0 {
			m.says(t, walkers[0], "more bees again", "2")
		}
		m.says(t, walkers[0], fmt.Sprintf("hanging cluster of bees on the fence, nobody stung, %d Orchard Road, I can reach it", 20*n+1))
		if n < reportsFree {
			m.says(t, walkers[0], "GONE")
			m.wait(t, 20*time.Minute)
		}
	}
	held := 0
	for _, c := range m.calls(t) {
		if c.Held == "many_reports" {
			held++
		}
	}
	if held != 1 {
		t.Errorf("%d calls are held", held)
	}
	m = crewed(t)
	for n := range reportsRead + 2 {
		m.says(t, "telegram:5550199", "NEW", fmt.Sprintf("hanging cluster of bees on the fence, nobody stung, %d Orchard Road, I can reach it", 20*n+1))
	}
	if n := len(m.calls(t)); n != reportsRead+2 {
		t.Errorf("a steward entered %d calls", n)
	}
}

// TestRudeAndStung holds that rude words hide nothing.
func TestRudeAndStung(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], "fuck you", "fuck you")
	if got := m.says(t, walkers[0], "fuck you all he cant breathe"); !strings.HasPrefix(got[0], "CALL 911 NOW") {
		t.Errorf("got %q", got)
	}
	m = crewed(t)
	m.says(t, walkers[0], "you idiots")
	if got := m.says(t, walkers[0], "you idiots there is a swarm on my fence"); len(got) == 0 || !strings.Contains(got[0], "911") {
		t.Errorf("a report with a rude word got %q", got)
	}
}
