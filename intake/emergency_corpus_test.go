package intake

import (
	"os"
	"strings"
	"testing"
)

// oneALine reads a file of texts of testdata/utterances.
func oneALine(t *testing.T, file string) []string {
	t.Helper()
	b, err := os.ReadFile("../testdata/utterances/" + file)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(b)) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			out = append(out, line)
		}
	}
	return out
}

// TestSignAlone: some words are an emergency when they are the whole text, and not in a
// report ("they are on the branch, not moving").
func TestSignAlone(t *testing.T) {
	for _, text := range []string{
		"911",
		"autoinyector",
		"breaking out",
		"confundido",
		"confused",
		"emergencia",
		"emergency",
		"epipen",
		"es una emergencia",
		"muchas picaduras",
		"no se mueve",
		"not moving",
		"ronchas",
		"sarpullido",
		"se cayó",
		"this is an emergency",
		"tos y silbido",
	} {
		if !Emergency(text) || !Emergency(strings.ToUpper(text)+"!!") {
			t.Errorf("missed: %q", text)
		}
		if report := "There is a swarm on my fence, " + text; strings.HasPrefix(text, "not moving") && Emergency(report) {
			t.Errorf("false alarm: %q", report)
		}
	}
}

// TestEmergencyCorpus hears every emergency, alone and in the middle of a report, and none in
// the near-misses, nor in any swarm report of the corpora that nobody marked as one.
func TestEmergencyCorpus(t *testing.T) {
	all := oneALine(t, "emergencies.txt")
	for _, text := range all {
		if !Emergency(text) {
			t.Errorf("missed: %q", text)
		}
		if got := Understand(text, quillbrook).Answers.Stung; got != "trouble_breathing" {
			t.Errorf("Understand(%q): stung = %q", text, got)
		}
		for _, whole := range []string{"There is a swarm on my fence. " + text, text + "\nbees are on the tree by the road"} {
			if !Emergency(whole) {
				t.Errorf("missed in a story: %q", whole)
			}
		}
	}
	near := oneALine(t, "near_misses.txt")
	for _, text := range near {
		if Emergency(text) {
			t.Errorf("false alarm: %q %s", text, why(text))
		}
	}
	reports, alarms := 0, 0
	for _, file := range []string{"tuned.txt", "third.txt", "fourth.txt", "fifth.txt", "sixth.txt", "seventh.txt", "eighth.txt", "unseen.txt"} {
		for _, u := range utterances(t, file) {
			if u.want["stung"] == "trouble_breathing" {
				continue
			}
			if reports++; Emergency(u.text) {
				alarms++
				t.Errorf("%s:%d: false alarm: %q %s", file, u.line, u.text, why(u.text))
			}
		}
	}
	t.Logf("%d emergencies heard; %d near-misses and %d reports, %d false alarms", len(all), len(near), reports, alarms)
}
