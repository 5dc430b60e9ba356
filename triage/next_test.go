package triage

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

func in(month time.Month) Scene {
	return Scene{At: time.Date(2026, month, 15, 12, 0, 0, 0, time.UTC), Latitude: 40, Longitude: -76.5}
}

// TestNextQuestionStories plays callers who answer each question from a list, and holds the
// questions they get.
func TestNextQuestionStories(t *testing.T) {
	branch := func(a *intake.Answers) { a.Place = &intake.Place{Lat: 40, Lon: -76.5}; a.HeightM = metres(2) }
	for _, story := range []struct {
		name  string
		month time.Month
		told  intake.Answers // before the first question
		knows func(*intake.Answers)
		want  []intake.Question
		route Route
	}{
		{
			"a clear wasp in August is settled by what it looks like", time.August, intake.Answers{},
			func(a *intake.Answers) { a.Stung, a.Shape = "none", "paper_ball" },
			[]intake.Question{intake.AskStung, intake.AskShape}, RouteRedirect,
		},
		{
			"a clear swarm gets the four must-asks and no more", time.May, intake.Answers{},
			func(a *intake.Answers) { a.Stung, a.Shape = "none", "hanging_cluster"; branch(a) },
			[]intake.Question{intake.AskStung, intake.AskShape, intake.AskPlace, intake.AskHeight}, RouteOffer,
		},
		{
			"what was told is not asked again", time.May, intake.Answers{Shape: "hanging_cluster", HeightM: metres(2)},
			func(a *intake.Answers) { a.Stung = "none"; branch(a) },
			[]intake.Question{intake.AskStung, intake.AskPlace}, RouteOffer,
		},
		{
			"in an emergency nothing is asked", time.May, intake.Answers{Stung: "trouble_breathing"},
			func(*intake.Answers) {},
			nil, RouteEmergency,
		},
		{
			"a hole in the ground in July: wasps or bumble bees? their looks tell", time.July, intake.Answers{},
			func(a *intake.Answers) { a.Stung, a.Shape, a.Body = "none", "soil_holes", "big_furry" },
			[]intake.Question{intake.AskStung, intake.AskShape, intake.AskBody}, RouteRedirect,
		},
		{
			"blossom is settled at once: the option says flowers", time.April, intake.Answers{},
			func(a *intake.Answers) { a.Stung, a.Shape, a.Surface = "none", "no_nest", "flowers" },
			[]intake.Question{intake.AskStung, intake.AskShape}, RouteRedirect,
		},
	} {
		a, s := story.told, in(story.month)
		var asked []intake.Question
		for {
			q, more := NextQuestion(a, asked, s)
			if !more {
				break
			}
			asked = append(asked, q)
			know := a
			story.knows(&know)
			a = answered(a, q, know)
		}
		if !slices.Equal(asked, story.want) {
			t.Errorf("%s: asked %v, want %v", story.name, asked, story.want)
		}
		if got := Assess(a, s).Route; got != story.route {
			t.Errorf("%s: route %s, want %s", story.name, got, story.route)
		}
		if !Settled(a, s) {
			t.Errorf("%s: nothing more is asked, yet it is not settled", story.name)
		}
	}
}

// answered returns a with the answer to q as the caller knows it. Where there is no nest,
// the surface comes along with the shape.
func answered(a intake.Answers, q intake.Question, know intake.Answers) intake.Answers {
	switch q {
	case intake.AskStung:
		a.Stung = know.Stung
	case intake.AskShape:
		a.Shape = know.Shape
		if know.Shape == "no_nest" && know.Surface == "flowers" {
			a.Surface = "flowers"
		}
	case intake.AskPlace:
		a.Place = know.Place
	case intake.AskHeight:
		a.HeightM = know.HeightM
	case intake.AskBody:
		a.Body = know.Body
	case intake.AskEntry:
		a.Entry = know.Entry
	case intake.AskCrowd:
		a.Crowd = know.Crowd
	case intake.AskSurface:
		a.Surface = know.Surface
	case intake.AskAge:
		a.AgeH = know.AgeH
	}
	return a
}

func TestSettled(t *testing.T) {
	place := &intake.Place{Lat: 40, Lon: -76.5}
	for _, row := range []struct {
		why   string
		a     intake.Answers
		month time.Month
		want  bool
	}{
		{"nothing is known", intake.Answers{}, time.May, false},
		{"an emergency waits for nothing", intake.Answers{Stung: "trouble_breathing"}, time.May, true},
		{"whether anybody is ill is always asked", intake.Answers{Shape: "paper_ball"}, time.August, false},
		{"a paper nest in August", intake.Answers{Stung: "none", Shape: "paper_ball"}, time.August, true},
		{"an offer needs its place", intake.Answers{Stung: "none", Shape: "hanging_cluster"}, time.May, false},
		{"an offer needs its height", intake.Answers{Stung: "none", Shape: "hanging_cluster", Place: place}, time.May, false},
		{"an offer with all must-asks", intake.Answers{Stung: "none", Shape: "hanging_cluster", Place: place, HeightM: metres(2)}, time.May, true},
		{"comb needs no place to be a specialist's", intake.Answers{Stung: "none", Shape: "wax_comb"}, time.September, true},
		{"a contradiction: a person must look", intake.Answers{Stung: "none", Shape: "hanging_cluster", Entry: "one_hole", Body: "shiny_yellow"}, time.May, true},
		{"a cluster in August may be a swarm", intake.Answers{Stung: "none", Shape: "hanging_cluster"}, time.August, false},
	} {
		if got := Settled(row.a, in(row.month)); got != row.want {
			t.Errorf("%s: Settled is %t", row.why, got)
		}
	}
}

// Whatever a caller says, the questions end, none is asked twice, none is asked that was
// told, and the must-asks keep their order.
func TestNextQuestionEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "told"), anyScene().Draw(t, "scene")
		know := anyAnswers().Draw(t, "knows")
		var asked []intake.Question
		for {
			q, more := NextQuestion(a, asked, s)
			if !more {
				break
			}
			if slices.Contains(asked, q) || a.Told(q) {
				t.Fatalf("asked %s again after %v", q, asked)
			}
			asked = append(asked, q)
			a = answered(a, q, know)
		}
		var must []int
		for _, q := range asked {
			if i := slices.Index(intake.MustAsk, q); i >= 0 {
				must = append(must, i)
			}
		}
		if !slices.IsSorted(must) {
			t.Fatalf("the must-asks came out of order: %v", asked)
		}
	})
}

// caller is a simulated caller: what is really there, and what the tables have them say.
type caller struct {
	kind  Kind
	knows intake.Answers
	month time.Month
}

func simulatedCaller(r *rand.Rand) caller {
	var months chancesOf
	for month := 1; month <= 12; month++ {
		months = append(months, tables.month(month).Reports)
	}
	c := caller{month: time.Month(months.draw(r) + 1)}
	p := prior(intake.Answers{Month: int(c.month)}, in(c.month))
	k := chancesOf(p[:]).draw(r)
	c.kind = Kinds[k]
	says := func(t table) *row {
		var column chancesOf
		for _, row := range t {
			column = append(column, row.P[k])
		}
		return &t[column.draw(r)]
	}
	c.knows = intake.Answers{
		Stung: "none", Place: &intake.Place{Lat: 40, Lon: -76.5}, HeightM: metres(2),
		Body:  says(tables.Body).Says,
		Shape: says(tables.Shape[:8]).Says, // without flying_cloud, whose row stands beside the table
		Entry: says(tables.Entry).Says, Crowd: says(tables.Crowd).Says,
		Surface: says(tables.Surface).StandsFor[0],
		AgeH:    justBelow(says(tables.Age).BelowH),
	}
	return c
}

// chancesOf draws an index in proportion to its weights.
type chancesOf []float64

func (w chancesOf) draw(r *rand.Rand) int {
	var sum float64
	for _, v := range w {
		sum += v
	}
	at := r.Float64() * sum
	for i, v := range w {
		if at -= v; at < 0 {
			return i
		}
	}
	return len(w) - 1
}

// ask plays one policy on a caller: how many questions, and what was done.
func (c caller) ask(next func(intake.Answers, []intake.Question, Scene) (intake.Question, bool)) (questions int, as Assessment) {
	a, s := intake.Answers{Month: int(c.month)}, in(c.month)
	var asked []intake.Question
	for {
		q, more := next(a, asked, s)
		if !more {
			return len(asked), Assess(a, s)
		}
		asked = append(asked, q)
		a = answered(a, q, c.knows)
	}
}

// fixedOrder asks the must-asks of everybody and then the rest in one order until the route
// is settled.
func fixedOrder(a intake.Answers, asked []intake.Question, s Scene) (intake.Question, bool) {
	for i, q := range slices.Concat(intake.MustAsk, aboutTheBees) {
		if slices.Contains(asked, q) {
			continue
		}
		return q, i < len(intake.MustAsk) || !Settled(a, s)
	}
	return "", false
}

// costOf returns what a route cost, now that the kind is known.
func costOf(as Assessment, truth Kind) float64 {
	for _, row := range tables.Route.Costs {
		if row.Route == as.Route && row.To == as.Subject().group() || row.Route == as.Route && row.To == "" {
			return row.P.of(truth)
		}
	}
	return 0
}

// Ten thousand simulated callers, who answer as the judgement tables say: choosing the
// questions must beat asking them in a fixed order, and must not buy that with mistakes.
func TestNextQuestionBeatsFixedOrder(t *testing.T) {
	const callers = 10_000
	var ours, fixed struct{ questions, cost float64 }
	routes := map[Route]int{}
	var pests, pestsOffered, swarms, swarmsOffered int
	r := rand.New(rand.NewPCG(2026, 5))
	for range callers {
		c := simulatedCaller(r)
		n, as := c.ask(NextQuestion)
		ours.questions += float64(n) / callers
		ours.cost += costOf(as, c.kind) / callers
		m, bs := c.ask(fixedOrder)
		fixed.questions += float64(m) / callers
		fixed.cost += costOf(bs, c.kind) / callers
		routes[as.Route]++
		switch {
		case c.kind == HoneyBeeSwarm:
			swarms++
			if as.Route == RouteOffer {
				swarmsOffered++
			}
		case c.kind.Wasp() || c.kind == BumbleBee:
			pests++
			if as.Route == RouteOffer {
				pestsOffered++
			}
		}
	}
	t.Logf("questions: chosen %.3f, fixed order %.3f; cost of the outcome: %.3f, %.3f", ours.questions, fixed.questions, ours.cost, fixed.cost)
	t.Logf("routes: %v; swarms offered %d of %d; wasps, hornets and bumble bees offered %d of %d", routes, swarmsOffered, swarms, pestsOffered, pests)
	if ours.questions > fixed.questions-0.5 {
		t.Errorf("choosing asks %.3f questions, a fixed order %.3f", ours.questions, fixed.questions)
	}
	if ours.cost > fixed.cost+0.01 {
		t.Errorf("choosing costs %.3f a report, a fixed order %.3f", ours.cost, fixed.cost)
	}
	if pestsOffered*100 > pests {
		t.Errorf("%d of %d wasps, hornets and bumble bees were offered as swarms", pestsOffered, pests)
	}
}

func metres(m float64) *float64 { return &m }
