package bot

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"skepline/intake"
)

// TestEveryCodeHasItsWords reads the codes that calls keep out of the sources: each one must
// have words for the desk.
func TestEveryCodeHasItsWords(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 40 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	english := intake.Words{Language: "en"}
	found := 0
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		source, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for key, pattern := range map[string]string{
			"desk_story_": `(?:d\.note\(\S+|d\.drop\(c, k|d\.turnDown\(c|d\.catcherLeft\(\S+), "([a-z_]+)`,
			"reason_":     `d\.hold\(c, "([a-z_]+)"`,
		} {
			for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(source), -1) {
				found++
				if !english.Knows(key + m[1]) {
					t.Errorf("%s keeps the code %q; the wording lacks %s", file, m[1], key+m[1])
				}
			}
		}
	}
	if found < 45 {
		t.Errorf("only %d codes were found: the patterns do not fit any more", found)
	}
}

func TestWhoCouldNotBeReachedNeedsAPerson(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2026, 5, 12, 14, minute, 0, 0, time.UTC) }
	for _, row := range []struct {
		why   string
		story []Line
		words []Spoken
		want  bool
	}{
		{"all arrived", []Line{{at(1), "round first_round"}}, nil, false},
		{"a question did not", []Line{{at(5), "undelivered question"}}, []Spoken{{At: at(1), Who: "caller"}}, true},
		{"they wrote since", []Line{{at(5), "undelivered question"}}, []Spoken{{At: at(6), Who: "caller"}}, false},
		{"an offer is the rounds' affair", []Line{{at(5), "undelivered offer"}}, nil, false},
		{"what we say is no sign of them", []Line{{at(5), "undelivered news"}}, []Spoken{{At: at(6), Who: "us"}}, true},
	} {
		if got := unheard(&Call{Story: row.story, Words: row.words}); got != row.want {
			t.Errorf("%s: got %t", row.why, got)
		}
	}
}
