package triage

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

// at40 is a scene in the middle of a month at 40 degrees north, in the morning.
func at40(month time.Month) Scene {
	return Scene{At: time.Date(2026, month, 15, 10, 0, 0, 0, time.UTC), Latitude: 40, Longitude: -1}
}

var allYear = []time.Month{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}

// One textbook caller of each kind, in that kind's season: the likeliest kind is the right
// one and the route leads to whoever can help.
func TestTextbookCases(t *testing.T) {
	for _, row := range []struct {
		kind  Kind
		month time.Month
		a     intake.Answers
		route Route
		words string
	}{
		{HoneyBeeSwarm, 5, told("fuzzy_brown", "hanging_cluster", "branch", "no_hole", "thousands", 1), RouteOffer, "redirect_honey_bee_swarm"},
		{HoneyBeeColony, 6, told("fuzzy_brown", "gap_traffic", "wall", "one_hole", "hundreds", 400), RouteSpecialist, "redirect_specialist"},
		{ExposedComb, 9, told("fuzzy_brown", "wax_comb", "branch", "no_hole", "thousands", 400), RouteSpecialist, "redirect_specialist"},
		{BumbleBee, 7, told("big_furry", "gap_traffic", "cavity", "one_hole", "tens", 400), RouteRedirect, "redirect_bumble_bee"},
		{CarpenterBee, 5, told("big_furry", "wood_holes", "bare_wood", "many_holes", "under_10", 200), RouteRedirect, "redirect_carpenter_bee"},
		{GroundBee, 4, told("fuzzy_brown", "soil_holes", "ground", "many_holes", "tens", 200), RouteRedirect, "redirect_ground_bee"},
		{Yellowjacket, 9, told("shiny_yellow", "soil_holes", "ground", "one_hole", "hundreds", 200), RouteRedirect, "redirect_yellowjacket"},
		{PaperWasp, 7, told("slender", "open_umbrella", "eave", "no_hole", "under_10", 400), RouteRedirect, "redirect_paper_wasp"},
		{AerialHornet, 8, told("black_white", "paper_ball", "branch", "one_hole", "tens", 400), RouteRedirect, "redirect_aerial_hornet"},
		{EuropeanHornet, 9, told("black_white", "gap_traffic", "cavity", "one_hole", "tens", 400), RouteRedirect, "redirect_european_hornet"},
		{Foragers, 4, told("fuzzy_brown", "no_nest", "flowers", "no_hole", "hundreds", 48), RouteRedirect, "redirect_foragers"},
	} {
		as := Assess(row.a, at40(row.month))
		t.Logf("%-17s %-9s p %.2f  swarm %.2f  %-10s urgency %3d %-9s %v", row.kind, row.month, as.Kinds[0].P, as.Likelihood, as.Route, as.Urgency, as.Pace, as.Advice)
		if as.Kinds[0].Kind != row.kind || as.Route != row.route || as.Subject() != row.kind || as.RedirectKey() != row.words {
			t.Errorf("%s: got %s, %s, subject %s, words %s", row.kind, as.Kinds[0].Kind, as.Route, as.Subject(), as.RedirectKey())
		}
	}
}

// What one or two answers alone lead to, in which months.
func TestRoutesOfFewAnswers(t *testing.T) {
	spring := []time.Month{4, 5, 6}
	for _, row := range []struct {
		why    string
		a      intake.Answers
		months []time.Month
		want   Route
	}{
		{"a hanging cluster in swarm time", intake.Answers{Shape: "hanging_cluster"}, spring, RouteOffer},
		{"a cloud of bees in swarm time", intake.Answers{Shape: "flying_cloud"}, spring, RouteOffer},
		{"a cluster out of season needs one more fact", intake.Answers{Shape: "hanging_cluster"}, []time.Month{1, 8, 9, 10, 12}, RouteSteward},
		{"paper is wasps, even where the season says swarm", intake.Answers{Shape: "paper_ball"}, allYear, RouteRedirect},
		{"an open umbrella is paper wasps", intake.Answers{Shape: "open_umbrella"}, allYear, RouteRedirect},
		{"holes in soil", intake.Answers{Shape: "soil_holes"}, allYear, RouteRedirect},
		{"holes in wood", intake.Answers{Shape: "wood_holes"}, allYear, RouteRedirect},
		{"big furry ones at a gap", intake.Answers{Shape: "gap_traffic", Body: "big_furry"}, allYear, RouteRedirect},
		{"big furry ones in soil", intake.Answers{Shape: "soil_holes", Body: "big_furry"}, allYear, RouteRedirect},
		{"bees on flowers", intake.Answers{Shape: "no_nest", Surface: "flowers"}, allYear, RouteRedirect},
		{"wax comb", intake.Answers{Shape: "wax_comb"}, allYear, RouteSpecialist},
		{"a gap in a cavity", intake.Answers{Shape: "gap_traffic", Surface: "cavity"}, allYear, RouteSpecialist},
		{"a gap in a wall", intake.Answers{Shape: "gap_traffic", Surface: "wall"}, allYear, RouteSpecialist},
		{"a gap under an eave", intake.Answers{Shape: "gap_traffic", Surface: "eave"}, allYear, RouteSpecialist},
		{"a gap in a wall, fuzzy brown ones", intake.Answers{Shape: "gap_traffic", Surface: "wall", Body: "fuzzy_brown"}, allYear, RouteSpecialist},
		{"a gap in a wall, shiny yellow ones in wasp time", intake.Answers{Shape: "gap_traffic", Surface: "wall", Body: "shiny_yellow"}, []time.Month{7, 8, 9, 10}, RouteRedirect},
		{"nothing told", intake.Answers{}, allYear, RouteSteward},
		{"seen, but not made out", intake.Answers{Shape: "unsure"}, allYear, RouteSteward},
		{"allergic signs, whatever hangs there", intake.Answers{Stung: "trouble_breathing", Shape: "paper_ball"}, allYear, RouteEmergency},
	} {
		for _, month := range row.months {
			if as := Assess(row.a, at40(month)); as.Route != row.want {
				t.Errorf("%s, %s: got %s (swarm %.2f), want %s", row.why, month, as.Route, as.Likelihood, row.want)
			}
		}
	}
}

func TestContradictionsGoToASteward(t *testing.T) {
	for _, row := range []struct {
		why   string
		a     intake.Answers
		month time.Month
	}{
		{"a cluster with one hole and shiny yellow bodies is a nest", intake.Answers{Shape: "hanging_cluster", Entry: "one_hole", Body: "shiny_yellow"}, 5},
		{"the same, black and white", intake.Answers{Shape: "hanging_cluster", Entry: "one_hole", Body: "black_white"}, 6},
		{"it stays so however much else fits a swarm", told("shiny_yellow", "hanging_cluster", "branch", "one_hole", "thousands", 1), 5},
		{"hornets in January", intake.Answers{Body: "black_white"}, 1},
		{"a live paper nest in January", intake.Answers{Body: "shiny_yellow", Shape: "paper_ball"}, 1},
		{"paper, but thousands of fuzzy bees", intake.Answers{Shape: "paper_ball", Body: "fuzzy_brown", Crowd: "thousands"}, 5},
		{"paper without a hole, and fuzzy bees", intake.Answers{Shape: "paper_ball", Body: "fuzzy_brown", Entry: "no_hole"}, 8},
		{"a cluster of fewer than ten", intake.Answers{Shape: "hanging_cluster", Crowd: "under_10"}, 5},
	} {
		as := Assess(row.a, at40(row.month))
		named := slices.ContainsFunc(as.Why, func(b Because) bool { return strings.HasPrefix(b.Because, "route:contradiction ") })
		if as.Route != RouteSteward || !named {
			t.Errorf("%s: got %s, reason named: %t", row.why, as.Route, named)
		}
	}
}

// Wires and heights change what people are told, not what hangs there. Near a wire nobody is
// sent unseen: the text says so.
func TestDangerDoesNotChangeTheKind(t *testing.T) {
	a := told("fuzzy_brown", "hanging_cluster", "branch", "no_hole", "thousands", 1)
	plain := Assess(a, at40(5))
	for _, row := range []struct {
		why    string
		danger func(*intake.Answers)
		route  Route
		advice Advice
	}{
		{"7 m up", func(a *intake.Answers) { a.HeightM = metres(7) }, RouteOffer, TooHigh},
		{"15 m up", func(a *intake.Answers) { a.HeightM = metres(15) }, RouteOffer, LeaveAlone},
		{"near a wire", func(a *intake.Answers) { a.Hazards = []string{"power_line"} }, RouteSteward, PowerLine},
	} {
		b := a
		row.danger(&b)
		as := Assess(b, at40(5))
		if as.Likelihood != plain.Likelihood || as.Route != row.route || !slices.Contains(as.Advice, row.advice) {
			t.Errorf("%s: likelihood %v, route %s, advice %v", row.why, as.Likelihood, as.Route, as.Advice)
		}
	}
	if plain.Route != RouteOffer {
		t.Errorf("the plain case: %s", plain.Route)
	}
}

func TestManyStingsAreAnEmergency(t *testing.T) {
	stings := func(n int) intake.Answers {
		return intake.Answers{Stung: "someone", Stings: &n, Shape: "hanging_cluster"}
	}
	if got := Assess(stings(49), at40(5)).Route; got != RouteOffer {
		t.Errorf("49 stings: %s", got)
	}
	if got := Assess(stings(50), at40(5)).Route; got != RouteEmergency {
		t.Errorf("50 stings: %s", got)
	}
}

// The promise: no wasp, hornet or bumble bee call is offered to catchers as a swarm. A nest
// that somebody saw is never offered, whatever else they say; and where the kinds that are
// not a swarm hold more than a fifth, nothing is.
func TestNoNestIsEverOffered(t *testing.T) {
	nests := []string{"paper_ball", "open_umbrella", "wood_holes", "soil_holes", "wax_comb"}
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		as := Assess(a, s)
		if as.Route != RouteOffer {
			return
		}
		p := posterior(a, s)
		if slices.Contains(nests, a.Shape) || as.Kinds[0].Kind != HoneyBeeSwarm ||
			as.Likelihood < 0.8-1e-9 || p.wasps()+p.of(BumbleBee) > 0.2 {
			t.Fatalf("offered: %+v, swarm %.2f, wasps %.2f, bumble %.2f", a, as.Likelihood, p.wasps(), p.of(BumbleBee))
		}
	})
}

// The same, where it is hardest: everything but the nest speaks for a swarm.
func TestANestIsNotOfferedWhenAllElseFits(t *testing.T) {
	for _, shape := range []string{"paper_ball", "open_umbrella", "wood_holes", "soil_holes", "wax_comb"} {
		for _, month := range allYear {
			as := Assess(told("fuzzy_brown", shape, "branch", "no_hole", "thousands", 1), at40(month))
			if as.Route == RouteOffer {
				t.Errorf("%s in %s was offered", shape, month)
			}
		}
	}
}

// An offer begins at 0.80 exactly: there the expected cost is a steward's look.
func TestOfferBeginsAtEighty(t *testing.T) {
	share := func(p float64) chances {
		c := chances{p}
		for i := 1; i < len(c); i++ {
			c[i] = (1 - p) / 10
		}
		return c
	}
	a := intake.Answers{Shape: "hanging_cluster"}
	for _, row := range []struct {
		p    float64
		want Route
	}{{.7999, RouteSteward}, {.80, RouteOffer}, {.95, RouteOffer}} {
		if got := decide(a, at40(5), share(row.p)).route; got != row.want {
			t.Errorf("p %.4f: %s, want %s", row.p, got, row.want)
		}
	}
}

func TestNeedsPhoto(t *testing.T) {
	for _, row := range []struct {
		why  string
		as   Assessment
		want bool
	}{
		{"in the middle", Assessment{Likelihood: .5, Route: RouteSteward}, true},
		{"at the lower edge", Assessment{Likelihood: .3, Route: RouteSteward}, true},
		{"below", Assessment{Likelihood: .29, Route: RouteSteward}, false},
		{"at the upper edge", Assessment{Likelihood: .8, Route: RouteSteward}, false},
		{"in the middle, but the nest is plain to see", Assessment{Likelihood: .5, Route: RouteRedirect}, false},
	} {
		if got := NeedsPhoto(row.as); got != row.want {
			t.Errorf("%s: %t", row.why, got)
		}
	}
	if !NeedsPhoto(Assess(intake.Answers{Shape: "hanging_cluster"}, at40(8))) {
		t.Error("a cluster in August wants a picture")
	}
}

// A redirect never speaks of honey bees, and always of a kind there are words for.
func TestSubject(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		as := Assess(a, s)
		subject := as.Subject()
		if !slices.Contains(Kinds, subject) {
			t.Fatalf("subject %q", subject)
		}
		if as.Route == RouteRedirect && subject.HoneyBee() {
			t.Fatalf("redirected as %s", subject)
		}
		if as.Route == RouteRedirect && subject.group() != decide(a, s, posterior(a, s)).to {
			t.Fatalf("the words are %s's, the decision's %s's", subject.group(), decide(a, s, posterior(a, s)).to)
		}
	})
}

func TestWhy(t *testing.T) {
	a := told("fuzzy_brown", "hanging_cluster", "", "", "", 0)
	as := Assess(a, at40(5))
	if as.Why[0].Because != "shape=hanging_cluster" || as.Why[0].Weight < 1.5 {
		t.Errorf("the first reason is %+v", as.Why[0])
	}
	// Taking an answer away must undo exactly what Why says it did.
	b := a
	b.Shape = ""
	logit := func(p float64) float64 { return math.Log(p / (1 - p)) }
	want := logit(as.Likelihood) - logit(Assess(b, at40(5)).Likelihood)
	if math.Abs(as.Why[0].Weight-want) > 1e-9 {
		t.Errorf("hanging_cluster weighs %g, and %g by taking it away", as.Why[0].Weight, want)
	}
	month := slices.IndexFunc(as.Why, func(b Because) bool { return b.Because == "month=5" })
	if month < 0 || as.Why[month].Weight <= 0 {
		t.Errorf("May does not speak for a swarm: %+v", as.Why)
	}
}
