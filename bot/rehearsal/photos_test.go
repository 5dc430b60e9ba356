package rehearsal

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"skepline/bot"
)

// A picture that a caller added on their page is in no provider's hands but ours: it goes a
// day after the call's end, or when its caller asks.
func TestPicturesAreLetGo(t *testing.T) {
	const play = `clock 2026-05-12 14:05
phone gwen sms +16075550142
catcher ada telegram 42.451,-76.482 reach 15 height 4
gwen > There's a ball of bees hanging on my apple tree
gwen > 1
`
	for _, row := range []struct {
		why, then string
		wait      time.Duration
		left      int // pictures
	}{
		{"while the call is open", "", 25 * time.Hour, 2},
		{"within a day after its end", "gwen > GONE", 23 * time.Hour, 2},
		{"a day after its end", "gwen > GONE", 25 * time.Hour, 0},
		{"at once, on request", "gwen > DELETE\ngwen > DELETE", 2 * time.Minute, 0},
	} {
		s := staged(t, play)
		token := regexp.MustCompile(`/w/([\w-]{22})`).FindStringSubmatch(strings.Join(s.phones.byName["gwen"].waiting, " "))
		if token == nil {
			t.Fatal("Gwen was sent no link")
		}
		for _, id := range []bot.EventID{"web:first", "web:second"} {
			e := bot.Paged{Event: id, Token: bot.LinkHash(token[1]), Does: "photo", Photo: []byte("\xFF\xD8\xFFpicture " + id)}
			if outcome, err := s.hotline.Hear(t.Context(), e); err != nil || outcome != bot.OutcomeNoted {
				t.Fatalf("%s: a picture came to %q, %v", row.why, outcome, err)
			}
		}
		if err := s.settle(t.Context()); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(row.then) {
			s.does(t, strings.TrimSpace(line))
		}
		s.setTime(s.clock.now.Add(row.wait))
		if err := s.later(t.Context(), 0); err != nil {
			t.Fatal(err)
		}
		if got := strings.Count(strings.Join(s.redis.Keys(), "\n"), ":d:photo:"); got != row.left {
			t.Errorf("%s: %d pictures are left, want %d", row.why, got, row.left)
		}
	}
}

// staged plays a transcript on a stage with pages.
func staged(t *testing.T, text string) *stage {
	t.Helper()
	play, err := Parse("staged", text)
	if err != nil {
		t.Fatal(err)
	}
	settings := bot.DefaultSettings()
	settings.PublicURL = "https://bees.example.org"
	s, err := Player{Settings: settings}.stage(play)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.store.Close() }) // an embedded store has nothing to lose
	for _, a := range play.acts {
		if err := s.perform(t.Context(), a); err != nil {
			t.Fatalf("line %d: %v", a.lineNo(), err)
		}
	}
	return s
}

// does performs one more line.
func (s *stage) does(t *testing.T, line string) {
	t.Helper()
	known := map[string]person{}
	for name, h := range s.phones.byName {
		known[name] = h.person
	}
	a, err := reader{line: 1, words: strings.Fields(line), raw: line, known: known}.read()
	if err == nil {
		err = s.perform(t.Context(), a)
	}
	if err != nil {
		t.Fatalf("%s: %v", line, err)
	}
}
