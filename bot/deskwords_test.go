package bot

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

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
			"desk_held_":  `d\.hold\(c, "([a-z_]+)"`,
		} {
			for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(source), -1) {
				found++
				if !english.Knows(key + m[1]) {
					t.Errorf("%s keeps the code %q; desk.en.toml and desk.es.toml lack %s", file, m[1], key+m[1])
				}
			}
		}
	}
	if found < 45 {
		t.Errorf("only %d codes were found: the patterns do not fit any more", found)
	}
}
