package bot

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// TestEveryReasonHasItsWords: nobody reads a code. The sentences are those of triage's file
// and of its route, the evidence what its weighing can name.
func TestEveryReasonHasItsWords(t *testing.T) {
	weights, err := os.ReadFile("../triage/weights.toml")
	if err != nil {
		t.Fatal(err)
	}
	reasons := []string{"unclear", "nothing told about the bees", "outside_area", "many_reports", unreadable, "wants_person", "steward", takenOver, "power_line near the bees"}
	for _, m := range regexp.MustCompile(`because = "([^"]+)"`).FindAllStringSubmatch(string(weights), -1) {
		reasons = append(reasons, m[1], "contradiction "+m[1], "not offered, "+m[1])
	}
	if len(reasons) < 40 {
		t.Fatalf("only %d reasons: is the file read?", len(reasons))
	}
	d := &decision{Facts: Facts{Settings: DefaultSettings()}}
	for _, lang := range intake.Languages() {
		p := Party{Language: lang, Address: notify.Address("sms:+16075550142")}
		for _, code := range reasons {
			if said := d.reasonWords(p, code); said == "" || strings.Contains(said, "_") || strings.Contains(said, "reason") {
				t.Errorf("%s: %q is said as %q", lang, code, said)
			}
		}
		for _, code := range evidence() {
			if said := d.evidenceWords(p, code); said == "" || strings.Contains(said, "_") {
				t.Errorf("%s: %q is said as %q", lang, code, said)
			}
		}
	}
}

// evidence is every fact that triage's weighing names.
func evidence() []string {
	var answers []intake.Answers
	for _, v := range intake.BodyValues {
		answers = append(answers, intake.Answers{Body: v})
	}
	for _, v := range intake.ShapeValues {
		answers = append(answers, intake.Answers{Shape: v})
	}
	for _, v := range intake.SurfaceValues {
		answers = append(answers, intake.Answers{Surface: v})
	}
	for _, v := range intake.CrowdValues {
		answers = append(answers, intake.Answers{Crowd: v})
	}
	for _, v := range intake.EntryValues {
		answers = append(answers, intake.Answers{Entry: v})
	}
	for _, h := range []float64{1, 10, 48, 200, 1000} {
		answers = append(answers, intake.Answers{AgeH: &h, Month: 5})
	}
	var all []string
	for _, a := range answers {
		for _, w := range triage.Assess(a, triage.Scene{}).Why {
			if strings.Contains(w.Because, "=") {
				all = append(all, w.Because)
			}
		}
	}
	return all
}
