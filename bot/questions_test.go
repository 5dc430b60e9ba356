package bot

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"

	"skepline/intake"
)

// replies are what a simulated caller answers when asked.
var replies = map[intake.Question]string{
	intake.AskStung: "1", intake.AskShape: "1", intake.AskPlace: "14 Mill Ln", intake.AskHeight: "1", intake.AskSurface: "1",
	intake.AskAge: "2", intake.AskCrowd: "4", intake.AskAllergic: "1", intake.AskOwner: "1", intake.AskName: "Gwen", intake.AskAccess: "1",
	intake.AskBody: "1", intake.AskEntry: "3", intake.AskPhoto: "1", askWhich: "1",
}

// reported is what one report took.
type reported struct {
	before, all int // questions until catchers were asked, and in all
	completed   bool
}

// report lets a caller begin with a text and then answer what they are asked.
func report(t *testing.T, first string) reported {
	m := crewed(t)
	m.says(t, walkers[0], first)
	var r reported
	for range 30 {
		var p Person
		decode(t, m.docs[Key{KindPerson, PersonID(testSecret, walkers[0])}].Body, &p)
		calls := m.calls(t)
		if len(calls) != 1 || p.Talk.Waiting == "" {
			break
		}
		asking := calls[0].Stage == Asking
		answer, known := replies[p.Talk.Waiting]
		if !known {
			t.Fatalf("nobody answers %s", p.Talk.Waiting)
		}
		r.all++
		if asking {
			r.before++
		}
		m.says(t, walkers[0], answer)
	}
	for _, c := range m.calls(t) {
		r.completed = c.Stage == Looking && len(c.Offers) > 0
	}
	return r
}

// TestQuestionsPerReport counts what reading ahead spares. The callers' first texts are the
// swarm reports of the corpora; without reading ahead each begins with "hi".
func TestQuestionsPerReport(t *testing.T) {
	plain := report(t, "hi")
	if !plain.completed || plain.before < 4 {
		t.Fatalf("a caller who only answers: %+v", plain)
	}
	t.Logf("without reading ahead: %d questions before catchers are asked, %d in all", plain.before, plain.all)
	mean := func(sum, n int) string { return fmt.Sprintf("%.2f", float64(sum)/float64(max(n, 1))) }
	var n, before, all int
	for _, file := range []string{"tuned.txt", "third.txt", "fourth.txt", "fifth.txt", "sixth.txt", "seventh.txt", "unseen.txt", "twentyfirst.txt", "twentyfifth.txt"} {
		in, b, a := 0, 0, 0
		for _, text := range swarmReports(t, file) {
			r := report(t, text)
			if r.completed { // a report of a swarm that catchers are asked for
				in, b, a = in+1, b+r.before, a+r.all
			}
		}
		t.Logf("%s: %d completed reports, on average %s questions before catchers are asked, %s in all", file, in, mean(b, in), mean(a, in))
		n, before, all = n+in, before+b, all+a
	}
	t.Logf("together: %d completed reports, on average %s and %s", n, mean(before, n), mean(all, n))
	if n < 70 || before >= plain.before*n*3/4 || all >= plain.all*n*3/4 {
		t.Errorf("reading ahead spares too little: %s and %s of %d and %d", mean(before, n), mean(all, n), plain.before, plain.all)
	}
}

// swarmReports are the texts of a corpus that tell of a hanging cluster and no emergency.
func swarmReports(t *testing.T, file string) []string {
	f, err := os.Open("../testdata/utterances/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var texts []string
	for scan := bufio.NewScanner(f); scan.Scan(); {
		parts := strings.Split(scan.Text(), " | ")
		if len(parts) == 3 && strings.Contains(parts[2], "shape=hanging_cluster") && !strings.Contains(parts[2], "stung=trouble") {
			texts = append(texts, parts[1])
		}
	}
	return texts
}
