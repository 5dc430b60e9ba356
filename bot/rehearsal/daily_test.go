package rehearsal

import (
	"strings"
	"testing"
	"time"

	"skepline/bot"
)

const aDay = `clock 2026-05-12 14:05
phone gwen sms +16075550142
catcher ada telegram 42.451,-76.482 reach 15 height 3
steward sam telegram
gwen > hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it
`

// The stewards' line of the day before comes once, at eight or when the quiet hours end, with
// what it cost where the club told the price; a program that was down at that hour sends it
// when it is back.
func TestMorningLine(t *testing.T) {
	for _, row := range []struct {
		why     string
		change  func(*bot.Settings)
		down    time.Duration // at one go, from 14:05
		at, has string
	}{
		{"at eight", nil, 0, "08:00", "1 swarm reported, 0 caught"},
		{"when the quiet hours end", func(s *bot.Settings) { s.Hours.QuietTo = "09:30" }, 0, "09:30", "1 swarm reported"},
		{"with its price", func(s *bot.Settings) { s.Limits.SegmentPrice, s.Limits.Currency = 0.5, "USD" }, 0, "08:00", "3.00 USD"},
		{"after a night and a morning down", nil, 20*time.Hour + time.Minute, "10:06", "1 swarm reported"},
	} {
		t.Run(row.why, func(t *testing.T) {
			settings := bot.DefaultSettings()
			if row.change != nil {
				row.change(settings)
			}
			play, err := Parse("a day", aDay)
			if err != nil {
				t.Fatal(err)
			}
			s, err := Player{Settings: settings}.stage(play)
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = s.store.Close() }() // an embedded store has nothing to lose
			for _, a := range play.acts {
				if err := s.perform(t.Context(), a); err != nil {
					t.Fatal(err)
				}
			}
			if _, _, err := s.hotline.Daily(t.Context()); err != nil { // it begins
				t.Fatal(err)
			}
			s.setTime(s.clock.now.Add(row.down))
			other := &bot.Hotline{Settings: s.hotline.Settings, Secrets: s.hotline.Secrets, Store: s.hotline.Store, Clock: s.hotline.Clock, Log: s.hotline.Log} // another replica
			for range 24 {
				if err := s.later(t.Context(), time.Hour); err != nil {
					t.Fatal(err)
				}
				if _, _, err := other.Daily(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			var at []string
			clock := ""
			for line := range strings.Lines(s.report.story.text.String()) {
				if !strings.HasPrefix(line, " ") && strings.Index(line, ":") == 2 {
					clock = line[:5]
				}
				if strings.Contains(line, "Yesterday:") {
					at = append(at, clock)
				}
			}
			if len(at) != 1 || at[0] != row.at || !strings.Contains(s.report.story.text.String(), row.has) {
				t.Errorf("the line came at %v, want once at %s with %q:\n%s", at, row.at, row.has, s.report.story.text.String())
			}
		})
	}
}
