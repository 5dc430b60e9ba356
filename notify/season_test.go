package notify

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// Four seasons are enough to tell the policies apart, few enough for every test run. The world
// is DefaultWorld; its numbers are judgement, so this holds the order of things, not the
// absolute figures.
func TestSeasonHoldsWhatItIsFor(t *testing.T) {
	policies := []string{"skepline", "broadcast", "phone_tree", "oracle"}
	c, err := CompareSeasons(context.Background(), DefaultWorld(), DefaultDispatch(), policies, 501, 4, nil)
	if err != nil {
		t.Fatal(err)
	}
	mean := func(p int, figure func(Season) float64) float64 { m, _ := c.Mean(p, figure); return m }
	caught, pings := func(s Season) float64 { return s.Caught }, func(s Season) float64 { return s.Pings }
	if share := mean(0, caught) / mean(3, caught); share < 0.955 {
		t.Errorf("caught %.3f of what the oracle catches", share)
	}
	gini := func(s Season) float64 { return s.Gini }
	if mean(0, pings) > 7.3 || mean(0, gini) > 0.36 {
		t.Errorf("%.2f asks a report, Gini of jobs %.3f", mean(0, pings), mean(0, gini))
	}
	if mean(0, caught) <= mean(2, caught) || mean(0, caught) <= mean(1, caught) {
		t.Errorf("caught %.3f, phone tree %.3f, broadcast %.3f", mean(0, caught), mean(2, caught), mean(1, caught))
	}
	if times := mean(1, pings) / mean(0, pings); times < 4.5 {
		t.Errorf("broadcast asks only %.1f times as often", times)
	}
}

// With very touchy volunteers, few of them or three times the swarms, a rule that asks more
// the less it hears drives itself into the ground. This one stays near the phone tree, far
// above the broadcast.
func TestTheRuleDoesNotSpiral(t *testing.T) {
	for name, change := range map[string]func(*World){
		"tiring":    func(w *World) { w.Tiring = 0.10 },
		"900":       func(w *World) { w.Reports = 900 },
		"15 people": func(w *World) { w.Catchers = 15 },
	} {
		w := DefaultWorld()
		change(&w)
		c, err := CompareSeasons(context.Background(), w, DefaultDispatch(), []string{"skepline", "phone_tree", "broadcast"}, 601, 2, nil)
		if err != nil {
			t.Fatal(err)
		}
		caught := func(s Season) float64 { return s.Caught }
		mine, _ := c.Mean(0, caught)
		tree, _ := c.Mean(1, caught)
		all, _ := c.Mean(2, caught)
		if mine < tree-0.04 || mine < all {
			t.Errorf("%s: caught %.3f, phone tree %.3f, broadcast %.3f", name, mine, tree, all)
		}
	}
}

// The rivals and the oracle against another simulation, written from the same assumptions by
// itself: its figures of seasons 1 to 100. Its chance falls differently, so few seasons here
// come within three standard errors of it.
func TestSeasonAgreesWithAnotherSimulation(t *testing.T) {
	reference := []struct {
		policy        string
		caught, pings float64
	}{
		{"broadcast", 0.859, 37.2}, {"phone_tree", 0.881, 4.8}, {"nearest3", 0.908, 6.7}, {"oracle", 0.944, 0.94},
	}
	var policies []string
	for _, r := range reference {
		policies = append(policies, r.policy)
	}
	c, err := CompareSeasons(context.Background(), DefaultWorld(), DefaultDispatch(), policies, 701, 6, nil)
	if err != nil {
		t.Fatal(err)
	}
	for p, r := range reference {
		mean, half := c.Mean(p, func(s Season) float64 { return s.Caught })
		near(t, r.policy+" caught", mean, r.caught, 1.5*half+0.005)
		asks, _ := c.Mean(p, func(s Season) float64 { return s.Pings })
		near(t, r.policy+" asks", asks, r.pings, 0.08*r.pings)
	}
	bound, half := c.Mean(3, func(s Season) float64 { return s.UpperBound })
	near(t, "bound", bound, 0.947, 1.5*half+0.002)
}

func TestNobodyBeatsTheBound(t *testing.T) {
	for seed := range uint64(1) {
		bound := PlaySeason(DefaultWorld(), "oracle", seed, DefaultDispatch()).UpperBound
		for _, policy := range SeasonPolicies {
			for _, tiring := range []float64{0, 0.03} {
				w := DefaultWorld()
				w.Tiring = tiring
				if got := PlaySeason(w, policy, seed, DefaultDispatch()); got.Caught > bound+1e-9 {
					t.Errorf("seed %d: %s caught %.4f, above the bound of %.4f", seed, policy, got.Caught, bound)
				}
			}
		}
	}
}

func TestSeasonsRepeat(t *testing.T) {
	for _, policy := range []string{"skepline", "radius", "oracle"} {
		one, two := PlaySeason(DefaultWorld(), policy, 7, DefaultDispatch()), PlaySeason(DefaultWorld(), policy, 7, DefaultDispatch())
		if diff := cmp.Diff(one, two); diff != "" {
			t.Errorf("%s (-one +two):\n%s", policy, diff)
		}
	}
}

func TestSceneIsDrawnAsItSays(t *testing.T) {
	w := DefaultWorld()
	w.Reports, w.Catchers = 4000, 2000
	s := drawScene(w, 3)
	var stay, willing, dry float64
	for _, r := range s.reports {
		if h := math.Mod(r.at, dayMinutes) / 60; h < 8 || h >= 20 {
			t.Fatalf("a report at %.1f", h)
		}
		for day := int(r.at / dayMinutes); day <= int(r.leaves/dayMinutes); day++ {
			if s.isDry(day) {
				from := max(r.at, float64(day)*dayMinutes+9*60)
				stay += max(0, min(r.leaves, float64(day)*dayMinutes+18*60)-from) / 60 / float64(len(s.reports))
			}
		}
	}
	for _, p := range s.people {
		willing += p.willing / float64(len(s.people))
	}
	near(t, "stay in flying hours", stay, w.StayHours, 0.5)
	near(t, "willing: Beta(2.4, 1.6)", willing, 0.6, 0.02)
	days := 0.0
	for seed := range uint64(40) {
		for _, fair := range drawScene(World{Days: 84, RainyDays: 0.25}, seed).dry {
			days++
			if fair {
				dry++
			}
		}
	}
	near(t, "dry days", dry/days, 0.75, 0.03)
}

// Worked by hand: of nobody's, alike, and one of four who has all, (2*4-4-1)/4 = 3/4.
func TestGiniAndQuantile(t *testing.T) {
	near(t, "none", Gini([]float64{0, 0}), 0, 0)
	near(t, "alike", Gini([]float64{3, 3, 3}), 0, 1e-12)
	near(t, "one has all", Gini([]float64{0, 8, 0, 0}), 0.75, 1e-12)
	near(t, "median", quantile([]float64{1, 2, 10, 20}, 0.5), 6, 1e-12)
	near(t, "of none", quantile(nil, 0.5), 0, 0)
}

// Worked by hand: a third of the time until they set out, within bounds.
func TestFallbackHold(t *testing.T) {
	now := clock(t, "13:00")
	for starts, want := range map[time.Duration]time.Duration{
		time.Hour: 20 * time.Minute, 55 * time.Minute: 20 * time.Minute, 3 * time.Hour: time.Hour, 20 * time.Hour: 2 * time.Hour,
	} {
		if got := FallbackHold(now, now.Add(starts)); got != want {
			t.Errorf("who sets out in %v is the fallback for %v, want %v", starts, got, want)
		}
	}
}

func TestNightsAreNoWait(t *testing.T) {
	near(t, "through a night", wakingMinutes(20*60, dayMinutes+8*60), 120, 1e-9)
	near(t, "within a day", wakingMinutes(9*60, 10*60), 60, 1e-9)
	near(t, "in the morning", awakeAt(5*60), 7*60, 1e-9)
	near(t, "in the evening", awakeAt(22*60), dayMinutes+7*60, 1e-9)
}

func TestAYesThatStartsLate(t *testing.T) {
	place := branch().Place
	for _, test := range []struct {
		now   string
		after time.Duration
		want  bool
		why   string
	}{
		{"13:00", time.Hour, true, "an hour at noon"},
		{"13:00", 50 * time.Minute, false, "less than an hour"},
		{"19:30", 2 * time.Hour, false, "no bee leaves in the evening"},
	} {
		now := clock(t, test.now)
		if got := StartsLate(place, now, now.Add(test.after)); got != test.want {
			t.Errorf("%s: %v", test.why, got)
		}
	}
}

// BenchmarkSeason is one season of 300 reports under the hotline's own policy.
func BenchmarkSeason(b *testing.B) {
	for b.Loop() {
		PlaySeason(DefaultWorld(), "skepline", 1, DefaultDispatch())
	}
}
