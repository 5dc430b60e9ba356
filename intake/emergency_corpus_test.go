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
	all := append(oneALine(t, "emergencies.txt"), oneALine(t, "emergencies_others.txt")...)
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
	for _, file := range []string{"tuned.txt", "third.txt", "fourth.txt", "fifth.txt", "sixth.txt", "seventh.txt", "eighth.txt", "unseen.txt", "ninth.txt", "tenth.txt"} {
		for _, u := range utterances(t, file) {
			if u.want["stung"] == "trouble_breathing" {
				continue
			}
			if reports++; Emergency(u.text) {
				alarms++
				t.Logf("%s:%d: false alarm: %q %s", file, u.line, u.text, why(u.text))
			}
		}
	}
	if alarms > 1 {
		t.Errorf("%d of %d reports raised the alarm, want at most 1", alarms, reports)
	}
	t.Logf("%d emergencies heard; %d near-misses and %d reports, %d false alarms", len(all), len(near), reports, alarms)
}

// TestEmergenciesOfOthers measures the sets of other writers, two of which nobody tuned on; what
// their numbers mean is at their top.
func TestEmergenciesOfOthers(t *testing.T) {
	for _, c := range []struct {
		file        string
		least, most float64 // share that raises the alarm
	}{{"emergencies_unseen.txt", 0.88, 1}, {"emergencies_likely.txt", 0.99, 1}, {"near_misses_likely.txt", 0, 0.12}, {"near_misses_others.txt", 0, 0.03}, {"near_misses_unseen.txt", 0, 0.27}, {"emergencies_many.txt", 0.97, 1}, {"near_misses_many.txt", 0, 0.27}, {"emergencies_more.txt", 0.97, 1}, {"near_misses_more.txt", 0, 0.22}, {"near_misses_talk.txt", 0, 0.01}, {"emergencies_kept.txt", 0.97, 1}, {"near_misses_kept.txt", 0, 0.31}} {
		heard, all := 0, oneALine(t, c.file)
		for _, text := range all {
			if Emergency(text) {
				heard++
			}
		}
		share := float64(heard) / float64(len(all))
		t.Logf("%s: %d of %d raise the alarm (%.1f %%)", c.file, heard, len(all), 100*share)
		if share < c.least || share > c.most {
			t.Errorf("%s: %.3f raise the alarm, want %.2f to %.2f", c.file, share, c.least, c.most)
		}
	}
}

// why tells for what a text raises the alarm, "" if it does not.
func why(text string) string {
	ts := seenKnown(text)
	m, ok := emergencySign(ts)
	if !ok {
		return ""
	}
	topic := "counted"
	if m.rule != nil {
		topic = m.rule.lang + " " + m.rule.topic
	}
	return "[" + topic + ": " + text[ts[m.from].start:ts[m.to-1].end] + "]"
}
