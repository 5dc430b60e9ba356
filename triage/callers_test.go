package triage

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"skepline/intake"
)

// wrongOften is how often a simulated caller gives an answer at random instead of the one
// that the tables have them give: judgement, a tenth.
const wrongOften = 0.1

// muddled is a simulated caller some of whose answers are wrong and some missing.
func muddled(r *rand.Rand) caller {
	c := simulatedCaller(r)
	slip := func(field *string, t table) {
		if r.Float64() < wrongOften {
			row := t[r.IntN(len(t))]
			*field = row.Says
			if len(row.StandsFor) > 0 {
				*field = row.StandsFor[0]
			}
		}
	}
	slip(&c.knows.Body, tables.Body)
	slip(&c.knows.Shape, tables.Shape[:8])
	slip(&c.knows.Entry, tables.Entry)
	slip(&c.knows.Crowd, tables.Crowd)
	slip(&c.knows.Surface, tables.Surface)
	if r.Float64() < wrongOften {
		c.knows.AgeH = justBelow(tables.Age[r.IntN(len(tables.Age))].BelowH)
	}
	return c
}

// Ten thousand muddled callers, asked as the hotline asks: in every tenth of the likelihood
// the share of swarms is near what was said, and hardly a pest is offered as a swarm.
func TestCalibrationOnMuddledCallers(t *testing.T) {
	const callers = 10_000
	type bin struct {
		n, swarms int
		said      float64
	}
	var bins [10]bin
	var score, off float64
	questions, offers, offersWrong, pests, pestsOffered := 0, 0, 0, 0, 0
	r := rand.New(rand.NewPCG(2026, 12))
	for range callers {
		c := muddled(r)
		n, as := c.ask(NextQuestion)
		questions += n
		b := &bins[min(int(as.Likelihood*10), 9)]
		b.n++
		b.said += as.Likelihood
		swarm := c.kind == HoneyBeeSwarm
		if swarm {
			b.swarms++
		}
		score += brier(as.Likelihood, c.kind) / callers
		pest := c.kind.Wasp() || c.kind == BumbleBee
		if pest {
			pests++
		}
		if as.Route == RouteOffer {
			offers++
			if !swarm {
				offersWrong++
			}
			if pest {
				pestsOffered++
			}
		}
	}
	for i, b := range bins {
		if b.n == 0 {
			continue
		}
		said, was := b.said/float64(b.n), float64(b.swarms)/float64(b.n)
		t.Logf("%3d-%3d %%: %5d callers, said %.3f, was %.3f", 10*i, 10*i+10, b.n, said, was)
		off += math.Abs(said-was) * float64(b.n) / callers
	}
	t.Logf("questions %.2f; Brier %.4f; expected calibration error %.4f; offers %d, not a swarm %d (%.1f %%); pests offered %d of %d",
		float64(questions)/callers, score, off, offers, offersWrong, 100*float64(offersWrong)/float64(offers), pestsOffered, pests)
	if score > .10 || off > .06 {
		t.Errorf("Brier score %.4f, calibration off by %.4f", score, off)
	}
	if pestsOffered*50 > pests {
		t.Errorf("%d of %d wasps, hornets and bumble bees were offered", pestsOffered, pests)
	}
}

// What moves when one table is wrong by a factor of two: for each table, every caller's odds
// are drawn from tables whose numbers are each doubled or halved by chance, and ours stay. The
// routes that change are counted.
func TestOneTableWrongByTwo(t *testing.T) {
	const callers = 1500
	for _, name := range append(slices.Clone(tableNames), "prior") {
		r := rand.New(rand.NewPCG(2026, 13))
		bent := bend(r, name)
		moved, lost, gained := 0, 0, 0
		for range callers {
			c := simulatedCaller(r)
			s := in(c.month)
			c.knows.Month = int(c.month)
			as := Assess(c.knows, s)
			s.Model = bent
			bs := Assess(c.knows, s)
			if as.Route == bs.Route {
				continue
			}
			moved++
			if as.Route == RouteOffer {
				lost++
			}
			if bs.Route == RouteOffer {
				gained++
			}
		}
		t.Logf("%-8s %4.1f %% of the routes move; %.1f %% leave the offers, %.1f %% come to them", name,
			100*float64(moved)/callers, 100*float64(lost)/callers, 100*float64(gained)/callers)
		if moved*100 > 12*callers {
			t.Errorf("with the table %s off by a factor of two %d of %d routes change", name, moved, callers)
		}
	}
}

// bend returns the tables with one of them wrong: each number doubled or halved, columns
// scaled to their sums.
func bend(r *rand.Rand, name string) *Model {
	w := *tables
	factor := func() float64 { return []float64{.5, 2}[r.IntN(2)] }
	if name == "prior" {
		w.Prior = slices.Clone(w.Prior)
		for i := range w.Prior {
			for k := range Kinds {
				w.Prior[i].P[k] *= factor()
			}
			w.Prior[i].P = w.Prior[i].P.normal()
		}
		return &Model{&w}
	}
	bent := slices.Clone(w.table(name))
	for k := range Kinds {
		var before, after float64
		for i := range bent {
			before += bent[i].P[k]
			bent[i].P[k] *= factor()
			after += bent[i].P[k]
		}
		for i := range bent {
			bent[i].P[k] *= before / after
		}
	}
	bent.temper(w.Alpha)
	*w.tableAt(name) = bent
	return &Model{&w}
}

// A hanging cluster of insects that look like wasps is no offer in any month, and one whose
// insects were not described is asked about where wasps are likely: the deciding feature.
func TestWaspLikeBodiesAreAskedAbout(t *testing.T) {
	for _, body := range []string{"shiny_yellow", "black_white", "slender", "big_furry"} {
		for _, month := range []int{7, 8, 9, 10} {
			s := at40(allYear[month-1])
			a := intake.Answers{Stung: "none", Shape: "hanging_cluster", Body: body, Month: month}
			if as := Assess(a, s); as.Route == RouteOffer {
				t.Errorf("month %d: a cluster of %s was offered at %.2f", month, body, as.Likelihood)
			}
		}
	}
	a := intake.Answers{Stung: "none", Shape: "hanging_cluster", Place: &intake.Place{Lat: 40, Lon: -76.5}, HeightM: metres(2), Month: 8}
	q, more := NextQuestion(a, nil, at40(8))
	if !more || q != intake.AskBody && q != intake.AskCrowd {
		t.Errorf("a cluster in August is followed by %q, not by what tells wasps from bees", q)
	}
}
