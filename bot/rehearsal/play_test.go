package rehearsal

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, `write what was really sent into the "<" lines of the transcripts; look at the diff before you keep it`)

// folder holds the transcripts that every build must hold.
const folder = "../../testdata/transcripts"

// TestTranscripts plays every transcript on the real hotline.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(folder, "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Fatalf("no transcript in %s: nothing was tested", folder)
	}
	t.Logf("%d transcripts", len(files))
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			t.Parallel()
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			playFile(t, file, string(text))
		})
	}
}

// playFile plays one transcript and reports what did not hold; with -update it writes what
// was sent instead, and plays that.
func playFile(t *testing.T, file, text string) {
	t.Helper()
	transcript, report := play(t, file, text)
	if filled := report.Refilled(transcript); *update && filled != text {
		if err := os.WriteFile(file, []byte(filled), 0o644); err != nil {
			t.Fatal(err)
		}
		transcript, report = play(t, file, filled)
	}
	if len(report.Failures) == 0 {
		return
	}
	var story strings.Builder
	if err := report.Print(&story); err != nil {
		t.Fatal(err)
	}
	t.Errorf("\n%s\n%s", story.String(), report.Failed(transcript.Name))
}

func play(t *testing.T, file, text string) (Transcript, Report) {
	t.Helper()
	transcript, err := Parse(filepath.Base(file), text)
	if err != nil {
		t.Fatal(err)
	}
	report, err := Player{}.Run(t.Context(), transcript)
	if err != nil {
		t.Fatal(err)
	}
	return transcript, report
}

func TestBuiltInScenario(t *testing.T) {
	const file = "quillbrook.txt"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	playFile(t, file, string(text))
}

// The same lines give the same story, to the letter: ids, order and clock.
func TestPlayingTwiceIsTheSame(t *testing.T) {
	text, err := os.ReadFile("quillbrook.txt")
	if err != nil {
		t.Fatal(err)
	}
	var stories [2]strings.Builder
	for i := range stories {
		_, report := play(t, "quillbrook.txt", string(text))
		if err := report.Print(&stories[i]); err != nil {
			t.Fatal(err)
		}
	}
	if stories[0].String() != stories[1].String() {
		t.Errorf("first\n%s\nthen\n%s", stories[0].String(), stories[1].String())
	}
}

func TestRefilledChangesOnlyWholeMessages(t *testing.T) {
	const text = "# kept\nphone gwen sms\n\ngwen <   old\ngwen <~ old"
	transcript, err := Parse("t.txt", text)
	if err != nil {
		t.Fatal(err)
	}
	var r Report
	r.heard(4, "gwen", "new\nwords")
	if got, want := r.Refilled(transcript), "# kept\nphone gwen sms\n\ngwen < new\\nwords\ngwen <~ old"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestExpectationsThatFailSayWhatCame(t *testing.T) {
	_, report := play(t, "t.txt", `phone gwen sms +16075550142
gwen > There is a swarm on my fence
gwen < Nobody ever says this
gwen taps Take it
gwen <~ nor this
`)
	if len(report.Failures) != 3 {
		t.Fatalf("got %v, want one failure each for lines 3, 4 and 5", report.Failures)
	}
	for i, line := range []int{3, 4, 5} {
		if f := report.Failures[i]; f.Line != line || f.Want == "" || f.Got == "" {
			t.Errorf("failure %d is %v, want one of line %d that says what was there", i, f, line)
		}
	}
}
