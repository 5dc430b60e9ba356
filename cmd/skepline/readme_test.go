package main

import (
	"bytes"
	"context"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"skepline/bot/rehearsal"
)

// storyLines is how much of the rehearsal the README shows.
const storyLines = 31

// TestReadmeShowsTheRehearsal holds that what the README says one sees is what one sees.
// With SKEPLINE_UPDATE_README set it writes the lines instead.
func TestReadmeShowsTheRehearsal(t *testing.T) {
	const file, begin, end = "../../README.md", "<!-- story:begin -->\n", "<!-- story:end -->"
	readme, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(readme), begin)
	shown, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("README.md lacks %s and %s", begin, end)
	}
	want := "\n" + indent(story(t), storyLines) + "\n"
	if shown == want {
		return
	}
	if os.Getenv("SKEPLINE_UPDATE_README") == "" {
		t.Fatalf("README.md shows an old story; run this test with SKEPLINE_UPDATE_README=1.\nIt should be:\n%s", want)
	}
	if err := os.WriteFile(file, []byte(before+begin+want+end+after), 0o644); err != nil {
		t.Fatal(err)
	}
}

// story plays the built-in scenario and returns what it prints.
func story(t *testing.T) string {
	t.Helper()
	report, err := rehearsal.Player{}.Run(context.Background(), rehearsal.BuiltIn())
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := report.Print(&out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func indent(text string, lines int) string {
	var b strings.Builder
	for i, line := range strings.Split(text, "\n") {
		if i == lines {
			break
		}
		b.WriteString(strings.TrimRight("    "+line, " ") + "\n")
	}
	return b.String()
}

// TestReadmeCommandsParse holds that every command line the README gives is one. None is run.
func TestReadmeCommandsParse(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	given := regexp.MustCompile("(?:go run \\./cmd/skepline|\\./skepline|`skepline) ([^`#\n]+)").FindAllStringSubmatch(string(readme), -1)
	if len(given) < 8 {
		t.Fatalf("only %d command lines found", len(given))
	}
	for _, line := range given {
		args := []string{}
		for _, arg := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line[1], -1) {
			args = append(args, strings.Trim(arg, `"`))
		}
		parser, err := kong.New(&commands{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parser.Parse(args); err != nil {
			t.Errorf("skepline %s: %v", line[1], err)
		}
	}
}
