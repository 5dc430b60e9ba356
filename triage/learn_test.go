package triage

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/intake"
)

// With W reports of judgement and n counted ones, of which k said so, the number is
// (W p + k) / (W + n): the mean of a Dirichlet posterior (Gelman and others, Bayesian Data
// Analysis, section 3.4; from memory).
func TestLearnedMixesByHand(t *testing.T) {
	l := NewLearned()
	for range 10 {
		l.Add(Lesson{intake.Answers{Body: "shiny_yellow"}, HoneyBeeSwarm})
	}
	got := l.Model().w.Body.row("shiny_yellow").P.of(HoneyBeeSwarm)
	if want := (50*.07 + 10) / 60; math.Abs(got-want) > 1e-12 {
		t.Errorf("p(shiny_yellow | swarm) = %g, want %g", got, want)
	}
	if got := l.Model().w.Body.row("fuzzy_brown").P.of(HoneyBeeSwarm); math.Abs(got-50*.55/60) > 1e-12 {
		t.Errorf("p(fuzzy_brown | swarm) = %g", got)
	}
	if got := l.Model().w.Body.row("shiny_yellow").P.of(PaperWasp); got != .28 {
		t.Errorf("a kind that nobody saw moved to %g", got)
	}
}

// However much is counted, half of every number stays judgement.
func TestLearnedNeverOutweighsJudgement(t *testing.T) {
	l := NewLearned()
	for range 5000 {
		l.Add(Lesson{intake.Answers{Body: "fuzzy_brown"}, Yellowjacket})
	}
	if got, want := l.Model().w.Body.row("fuzzy_brown").P.of(Yellowjacket), .5*.08+.5; math.Abs(got-want) > .01 {
		t.Errorf("p(fuzzy_brown | yellowjacket) = %g, want about %g", got, want)
	}
}

func anyLesson() *rapid.Generator[Lesson] {
	return rapid.Custom(func(t *rapid.T) Lesson {
		return Lesson{anyAnswers().Draw(t, "answers"), rapid.SampledFrom(Kinds).Draw(t, "kind")}
	})
}

// Counting is reversible, forgets the order, keeps every column's sum and survives its JSON.
func TestLearnedProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lessons := rapid.SliceOfN(anyLesson(), 0, 30).Draw(t, "lessons")
		extra := anyLesson().Draw(t, "extra")
		l, back := NewLearned(), NewLearned()
		for i := range lessons {
			l.Add(lessons[i])
			back.Add(lessons[len(lessons)-1-i])
		}
		if diff := cmp.Diff(l, back); diff != "" {
			t.Fatalf("the order matters: %s", diff)
		}
		back.Add(extra)
		back.Remove(extra)
		if diff := cmp.Diff(l, back); diff != "" {
			t.Fatalf("taking back leaves a trace: %s", diff)
		}
		var file bytes.Buffer
		if err := l.Write(&file); err != nil {
			t.Fatal(err)
		}
		read, err := ReadLearned(&file)
		if err != nil || cmp.Diff(l, read) != "" {
			t.Fatalf("the JSON does not come back: %v", err)
		}
		m := l.Model()
		for _, name := range tableNames {
			for k := range Kinds {
				var before, after float64
				for i, r := range m.w.table(name) {
					before, after = before+tables.table(name)[i].P[k], after+r.P[k]
					if r.P[k] <= 0 || r.P[k] > 1 {
						t.Fatalf("%s=%s: %g", name, r.Says, r.P[k])
					}
				}
				if math.Abs(before-after) > 1e-9 {
					t.Fatalf("%s: a column sums to %g, before to %g", name, after, before)
				}
			}
		}
	})
}

// Nothing counted is nothing changed, and what is learned never opens the road of a nest to
// catchers.
func TestLearnedAndRoutes(t *testing.T) {
	empty := NewLearned().Model()
	misled := NewLearned()
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		want := Assess(a, s)
		s.Model = empty
		if diff := cmp.Diff(want, Assess(a, s)); diff != "" {
			t.Fatalf("empty counts moved something: %s", diff)
		}
	})
	for range 500 {
		misled.Add(Lesson{told("black_white", "paper_ball", "branch", "no_hole", "thousands", 1), HoneyBeeSwarm})
	}
	s := at40(time.May)
	s.Model = misled.Model()
	for _, shape := range []string{"paper_ball", "open_umbrella", "wax_comb", "wood_holes", "soil_holes"} {
		if as := Assess(told("black_white", shape, "branch", "no_hole", "thousands", 1), s); as.Route == RouteOffer {
			t.Errorf("%s was offered after misleading lessons", shape)
		}
	}
}

func TestReadLearnedRefuses(t *testing.T) {
	for _, row := range []struct{ file, says string }{
		{`{"schema":2,"weight":50}`, "schema"},
		{`{"schema":1,"weight":0}`, "weight"},
		{`{"schema":1,"weight":50,"counts":{"colour":{}}}`, "no table"},
		{`{"schema":1,"weight":50,"counts":{"shape":{}}}`, "no table"},
		{`{"schema":1,"weight":50,"counts":{"body":{"purple":{}}}}`, "no answer"},
		{`{"schema":1,"weight":50,"counts":{"body":{"slender":{"moth":1}}}}`, "moth"},
		{`{"schema":1,"weight":50,"counts":{"body":{"slender":{"foragers":-1}}}}`, "-1"},
		{`{"schema":1,"weight":50,"extra":1}`, "unknown field"},
	} {
		if _, err := ReadLearned(strings.NewReader(row.file)); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: %v", row.file, err)
		}
	}
}

// Callers whose ways differ from our tables: after two hundred looked-at reports the learned
// tables predict new callers of that kind better than judgement alone (Brier score).
func TestLearningHelpsWhereJudgementIsOff(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2026))
	yellow := func(c caller) caller { // in this county half of the swarms' callers say "yellow"
		if c.kind == HoneyBeeSwarm && r.Float64() < .5 {
			c.knows.Body = "shiny_yellow"
		}
		return c
	}
	l := NewLearned()
	for range 200 {
		c := yellow(simulatedCaller(r))
		l.Add(Lesson{c.knows, c.kind})
	}
	model := l.Model()
	var judged, learned float64
	const callers = 3000
	for range callers {
		c := yellow(simulatedCaller(r))
		s := in(c.month)
		c.knows.Month = int(c.month)
		judged += brier(Assess(c.knows, s).Likelihood, c.kind) / callers
		s.Model = model
		learned += brier(Assess(c.knows, s).Likelihood, c.kind) / callers
	}
	t.Logf("Brier score: judgement %.4f, with 200 lessons %.4f", judged, learned)
	if learned >= judged {
		t.Errorf("200 lessons made the Brier score %.4f, judgement alone has %.4f", learned, judged)
	}
	if moves := l.Moves(1.5); len(moves) == 0 || moves[0].N == 0 {
		t.Errorf("nothing moved: %v", moves)
	}
}

func brier(p float64, k Kind) float64 {
	if k == HoneyBeeSwarm {
		p = 1 - p
	}
	return p * p
}
