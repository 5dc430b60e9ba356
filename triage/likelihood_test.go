package triage

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/intake"
)

// told builds answers from the words of the tables; the shape's or surface's word stands
// for itself.
func told(body, shape, surface, entry, crowd string, ageH float64) intake.Answers {
	a := intake.Answers{Body: body, Shape: shape, Surface: surface, Entry: entry, Crowd: crowd}
	if ageH > 0 {
		a.AgeH = &ageH
	}
	return a
}

// The vectors T1 to T15. Source: judgement tables, derived vectors: computed by hand-written
// sums from the tables of weights.toml, with alpha 0.6, at 40 degrees north, to 1e-4.
func TestPosteriorVectors(t *testing.T) {
	for _, row := range []struct {
		name  string
		month int
		a     intake.Answers
		want  map[Kind]float64
	}{
		{"T1 classic", 5, told("fuzzy_brown", "hanging_cluster", "branch", "no_hole", "thousands", 1), map[Kind]float64{HoneyBeeSwarm: .9984}},
		{"T2 wall colony", 6, told("fuzzy_brown", "gap_traffic", "cavity", "one_hole", "hundreds", 400), map[Kind]float64{HoneyBeeColony: .9257, HoneyBeeSwarm: .0014}},
		{"T3 paper ball", 8, told("black_white", "paper_ball", "shrub", "one_hole", "tens", 400), map[Kind]float64{AerialHornet: .8706}},
		{"T4 ground, autumn", 9, told("shiny_yellow", "soil_holes", "ground", "one_hole", "hundreds", 200), map[Kind]float64{Yellowjacket: .9796}},
		{"T5 spring soil", 4, told("fuzzy_brown", "soil_holes", "ground", "many_holes", "tens", 200), map[Kind]float64{GroundBee: .9708}},
		{"T6 umbrella", 7, told("slender", "open_umbrella", "eave", "no_hole", "under_10", 400), map[Kind]float64{PaperWasp: .9889}},
		{"T7 wood", 5, told("big_furry", "wood_holes", "bare_wood", "many_holes", "under_10", 200), map[Kind]float64{CarpenterBee: .9912}},
		{"T8 blossom", 4, told("fuzzy_brown", "no_nest", "flowers", "no_hole", "hundreds", 48), map[Kind]float64{Foragers: .8948, HoneyBeeSwarm: .0665}},
		{"T9 open comb", 9, told("fuzzy_brown", "wax_comb", "fence", "no_hole", "thousands", 400), map[Kind]float64{ExposedComb: .7860, HoneyBeeSwarm: .0811}},
		{"T10 ball, thousands", 5, told("", "hanging_cluster", "", "", "thousands", 0), map[Kind]float64{HoneyBeeSwarm: .9569}},
		{"T11 ball in August", 8, told("", "hanging_cluster", "", "", "", 0), map[Kind]float64{HoneyBeeSwarm: .3712}},
		{"T12 ball for days", 6, told("", "hanging_cluster", "", "", "", 200), map[Kind]float64{HoneyBeeSwarm: .5400}},
		{"T13 nothing told", 5, intake.Answers{}, map[Kind]float64{HoneyBeeSwarm: .5600}},
		{"T14 unsure of the body", 6, told("unsure", "hanging_cluster", "eave", "", "", 1), map[Kind]float64{HoneyBeeSwarm: .9241}},
		{"T15 box nest", 7, told("big_furry", "gap_traffic", "cavity", "one_hole", "tens", 400), map[Kind]float64{BumbleBee: .5258, HoneyBeeColony: .3267}},
	} {
		row.a.Month = row.month
		got := posterior(row.a, Scene{Latitude: 40, Longitude: -76})
		for _, k := range Kinds {
			if want, named := row.want[k]; named && math.Abs(got.of(k)-want) > 1e-4 {
				t.Errorf("%s: p(%s) = %.5f, want %.4f", row.name, k, got.of(k), want)
			}
		}
	}
}

// With the answers counted fully the same tables give the sharper numbers of the plain
// method. Source: judgement tables, derived vectors, alpha 1.
func TestPosteriorVectorsUntempered(t *testing.T) {
	for _, row := range []struct {
		name  string
		month int
		a     intake.Answers
		kind  Kind
		want  float64
	}{
		{"T1", 5, told("fuzzy_brown", "hanging_cluster", "vehicle", "no_hole", "thousands", 1), HoneyBeeSwarm, .9999},
		{"T2", 6, told("fuzzy_brown", "gap_traffic", "cavity", "one_hole", "hundreds", 400), HoneyBeeColony, .9864},
		{"T11", 8, told("", "hanging_cluster", "", "", "", 0), HoneyBeeSwarm, .6531},
		{"T12", 6, told("", "hanging_cluster", "", "", "", 200), HoneyBeeSwarm, .5881},
		{"T15", 7, told("big_furry", "gap_traffic", "cavity", "one_hole", "tens", 400), BumbleBee, .7042},
	} {
		row.a.Month = row.month
		p := prior(row.a, Scene{Latitude: 40, Longitude: -76})
		for _, f := range tables.facts(row.a) {
			p = p.times(f.row.P)
		}
		if got := p.normal().of(row.kind); math.Abs(got-row.want) > 1e-4 {
			t.Errorf("%s: %.5f, want %.4f", row.name, got, row.want)
		}
	}
}

func TestTablesAddUp(t *testing.T) {
	for n, question := range tables.questions() {
		if len(question) < 3 {
			t.Fatalf("table %d has %d rows", n, len(question))
		}
		var sums chances
		for _, r := range question {
			for i, p := range r.P {
				if p <= 0 || p >= 1 {
					t.Errorf("%s of %s is %g", r.Says, Kinds[i], p)
				}
				if r.Says != "flying_cloud" { // stands beside the table
					sums[i] += p
				}
			}
		}
		for i, sum := range sums {
			if math.Abs(sum-1) > 1e-9 {
				t.Errorf("table %d, %s: the column sums to %g", n, Kinds[i], sum)
			}
		}
	}
	for month := 1; month <= 12; month++ {
		if sum := tables.month(month).P.dot(chances{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}); math.Abs(sum-1) > 1e-9 {
			t.Errorf("the prior of month %d sums to %g", month, sum)
		}
	}
}

// Every value that an answer may take is in its table, or is one that says nothing.
func TestTablesKnowEveryAnswer(t *testing.T) {
	neutral := []string{"unsure", "other"}
	for _, q := range []struct {
		values []string
		row    func(string) *row
	}{
		{intake.BodyValues, tables.Body.row},
		{intake.ShapeValues, tables.Shape.row},
		{intake.EntryValues, tables.Entry.row},
		{intake.CrowdValues, tables.Crowd.row},
		{intake.SurfaceValues, func(v string) *row { return tables.surfaceRow(intake.Answers{Surface: v}) }},
	} {
		for _, v := range q.values {
			if q.row(v) == nil && !slices.Contains(neutral, v) {
				t.Errorf("no table knows %q", v)
			}
		}
	}
}

func TestAgeRows(t *testing.T) {
	for _, row := range []struct {
		hours float64
		want  string
	}{
		{0, "under_3h"}, {2.9, "under_3h"}, {3, "3_to_24h"}, {23, "3_to_24h"}, {24, "1_to_3_days"},
		{72, "1_to_3_days"}, {96, "4_to_14_days"}, {336, "4_to_14_days"}, {500, "over_14_days"}, {24 * 366, "over_14_days"},
	} {
		if got := tables.ageRow(&row.hours); got == nil || got.Says != row.want {
			t.Errorf("%g h: got %v, want %s", row.hours, got, row.want)
		}
	}
}

func TestReadWeightsRefuses(t *testing.T) {
	for _, row := range []struct{ why, file string }{
		{"not TOML", "alpha = "},
		{"a field that nobody reads", "alphabet = 3"},
		{"a row without a source", `body = [ { says = "x", p = [1,1,1,1,1,1,1,1,1,1,1] } ]`},
		{"too few kinds", `body = [ { says = "x", source = "judgement", p = [1,1] } ]` + "\n[sources]\njudgement = 'ours'"},
	} {
		if _, err := readWeights(row.file); err == nil {
			t.Errorf("%s was accepted", row.why)
		}
	}
}

func TestPosteriorProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		p := posterior(a, s)
		if sum := p.dot(chances{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}); math.Abs(sum-1) > 1e-9 {
			t.Fatalf("the kinds sum to %g", sum)
		}
		if p.ours() < 0 || p.wasps() < 0 || p.ours()+p.wasps() > 1+1e-9 {
			t.Fatalf("ours %g, wasps %g", p.ours(), p.wasps())
		}

		cluster := a
		cluster.Shape = "hanging_cluster"
		if q := posterior(cluster, s).of(HoneyBeeSwarm); a.Shape != "flying_cloud" && q < p.of(HoneyBeeSwarm)-1e-12 {
			t.Fatalf("a hanging cluster lowered the swarm from %g to %g", p.of(HoneyBeeSwarm), q)
		}

		fresh, old := a, a
		fresh.AgeH, old.AgeH = metres(1), metres(500)
		if posterior(old, s).of(HoneyBeeSwarm) >= posterior(fresh, s).of(HoneyBeeSwarm) {
			t.Fatal("two weeks on one spot did not lower the swarm")
		}
	})
}

// The order in which answers arrive makes no difference, and "not told" is no answer.
func TestPosteriorForgetsOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, s := anyAnswers().Draw(t, "answers"), anyScene().Draw(t, "scene")
		parts := rapid.Permutation([]intake.Answers{
			{Body: a.Body}, {Shape: a.Shape}, {Surface: a.Surface}, {Entry: a.Entry}, {Crowd: a.Crowd},
			{AgeH: a.AgeH}, {Month: a.Month}, {Latitude: a.Latitude}, {Place: a.Place}, {},
		}).Draw(t, "order")
		var merged intake.Answers
		for _, part := range parts {
			merged = merged.Merge(part)
		}
		if diff := cmp.Diff(posterior(a, s), posterior(merged, s)); diff != "" {
			t.Fatalf("order made a difference: %s", diff)
		}
	})
}

func TestUnansweredAndUnsureChangeNothing(t *testing.T) {
	s := Scene{Latitude: 40, Longitude: -76, At: time.Date(2026, 6, 16, 0, 0, 0, 0, time.UTC)}
	base := posterior(intake.Answers{Shape: "hanging_cluster"}, s)
	for _, a := range []intake.Answers{
		{Shape: "hanging_cluster", Entry: "unsure"},
		{Shape: "hanging_cluster", Crowd: "unsure"},
		{Shape: "hanging_cluster", Surface: "other"},
		{Shape: "hanging_cluster", Surface: "unsure"},
		{Shape: "hanging_cluster", HeightM: metres(30), Allergic: "yes", Owner: "no", Hazards: []string{"road"}},
	} {
		if diff := cmp.Diff(base, posterior(a, s)); diff != "" {
			t.Errorf("%+v changed the kinds: %s", a, diff)
		}
	}
	if base == posterior(intake.Answers{Shape: "hanging_cluster", Body: "unsure"}, s) {
		t.Error(`body "unsure" has a row of its own, and did not count`)
	}
}

// A gap in a wall leads into it; a cluster on a wall hangs outside.
func TestWallIsAHollowOnlyBehindAGap(t *testing.T) {
	for _, row := range []struct{ shape, surface, want string }{
		{"gap_traffic", "wall", "cavity"}, {"gap_traffic", "eave", "cavity"}, {"gap_traffic", "branch", "open_object"},
		{"hanging_cluster", "wall", "open_object"}, {"hanging_cluster", "eave", "eave"}, {"", "wall", "open_object"},
	} {
		if got := tables.surfaceRow(intake.Answers{Shape: row.shape, Surface: row.surface}); got.Says != row.want {
			t.Errorf("%s on %s counts as %s, want %s", row.shape, row.surface, got.Says, row.want)
		}
	}
}

func TestShown(t *testing.T) {
	for _, row := range []struct {
		p    float64
		want int
	}{
		{0, 0}, {.004, 0}, {.5, 50}, {.934, 93}, {.95, 95}, {.9999, 95}, {1, 95}, {-1, 0}, {2, 95}, {math.NaN(), 0},
	} {
		if got := Shown(row.p); got != row.want {
			t.Errorf("Shown(%g) = %d, want %d", row.p, got, row.want)
		}
	}
}
