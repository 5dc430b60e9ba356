package bot

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// What a region changes: from how many stings on a doctor is asked, the poison centre, and
// whether bees are more defensive there.
func TestRegions(t *testing.T) {
	for _, row := range []struct {
		why, country string
		bar          int
		want         int
		poison       string
	}{
		{"GB: several stings (an NHS practice)", "GB", 0, 3, ""},
		{"the US: about ten, and the number that Virginia's health department names", "US", 0, 10, "1-800-222-1222"},
		{"the club knows better", "GB", 5, 5, ""},
	} {
		s := &Settings{Country: row.country, ManyStings: row.bar}
		if s.manyStings() != row.want || s.poisonCentre() != row.poison {
			t.Errorf("%s: %d stings, poison centre %q", row.why, s.manyStings(), s.poisonCentre())
		}
	}
}

func TestLearnedFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "hotline.toml")
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("hotline.toml", fixedKeys+"learned = \"learned.json\"\n")
	if _, err := LoadSettings(path); err == nil || !strings.Contains(err.Error(), "learned") {
		t.Errorf("a missing file: %v", err)
	}
	l := triage.NewLearned()
	for range 40 {
		l.Add(triage.Lesson{Answers: intake.Answers{Body: "shiny_yellow"}, Kind: triage.HoneyBeeSwarm})
	}
	var file strings.Builder
	if err := l.Write(&file); err != nil {
		t.Fatal(err)
	}
	write("learned.json", file.String())
	s, err := LoadSettings(path)
	if err != nil {
		t.Fatal(err)
	}
	a := intake.Answers{Body: "shiny_yellow"}
	may := time.Date(2026, 5, 12, 14, 0, 0, 0, time.UTC)
	with := s.Scene(may)
	without := with
	without.Model = nil
	if p, q := triage.Assess(a, with).Likelihood, triage.Assess(a, without).Likelihood; p <= q {
		t.Errorf("forty swarms called yellow move the likelihood from %.3f to %.3f", q, p)
	}
}

// Where Africanized bees live the caller hears it once, before catchers are asked.
func TestMoreDefensiveIsSaid(t *testing.T) {
	m := newModel(t, ledgerDay)
	m.settings.Africanized = true
	from := notify.Address("sms:+16075550142")
	for i, text := range []string{"a ball of bees hanging on a low branch, nobody stung", "14 Mill Ln, Quillbrook", "2", "1", "1"} {
		m.hear(t, Said{Event: EventID("tw:" + itoa(i)), From: from, Text: text})
	}
	n := 0
	for _, msg := range m.sent {
		if strings.Contains(msg.Text, "Bees in this region") {
			n++
		}
	}
	if n != 1 {
		t.Errorf("said %d times", n)
	}
}
