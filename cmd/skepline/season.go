package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"sync/atomic"
	"text/tabwriter"

	"skepline/notify"
)

type seasonCmd struct {
	Seeds       int     `default:"20" help:"How many seasons are played."`
	From        uint64  `default:"1" help:"Seed of the first."`
	JSON        bool    `name:"json" help:"Print the means as JSON."`
	Pace        string  `help:"gentle, normal or fast. Without it as the hotline's settings say." enum:",gentle,normal,fast" default:""`
	Catchers    int     `default:"40" help:"How many catchers are drawn."`
	Reports     int     `default:"300" help:"How many reports a season brings."`
	StayHours   float64 `default:"10" help:"How long swarms stay after the report, on average, in hours in which bees can fly."`
	Tiring      float64 `default:"0.03" help:"How much each fruitless ask a week, beyond two, takes from the chance of a yes."`
	Declared    float64 `default:"0" help:"Share of absences that catchers tell the hotline of (OUT)."`
	Sensitivity bool    `help:"Change one assumption at a time instead, and print a line for each."`
}

// Run plays seasons of the hotline's own dispatch against what a club would do without it.
func (s seasonCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	settings, err := t.settings(c.Hotline)
	if err != nil {
		return err
	}
	d := settings.AsksAround()
	if s.Pace != "" {
		d.Pace = notify.Pace(s.Pace)
	}
	w := notify.DefaultWorld()
	w.Catchers, w.Reports, w.StayHours, w.Tiring, w.Declared = s.Catchers, s.Reports, s.StayHours, s.Tiring, s.Declared
	if err := s.check(w); err != nil {
		return err
	}
	if s.Sensitivity {
		return s.sensitivity(ctx, t, w, d)
	}
	policies := notify.SeasonPolicies
	compared, err := s.compare(ctx, t, w, d, policies)
	if err != nil {
		return err
	}
	if s.JSON {
		return printSeasonJSON(t, compared)
	}
	return printSeasonTable(t, w, compared)
}

func (s seasonCmd) check(w notify.World) error {
	for _, bound := range []struct {
		what      string
		value     float64
		low, high float64
	}{
		{"--seeds", float64(s.Seeds), 1, 100000}, {"--catchers", float64(w.Catchers), 1, 1000}, {"--reports", float64(w.Reports), 1, 100000},
		{"--stay-hours", w.StayHours, 0.1, 1000}, {"--tiring", w.Tiring, 0, 1}, {"--declared", w.Declared, 0, 1},
	} {
		if !(bound.value >= bound.low && bound.value <= bound.high) {
			return fmt.Errorf("%s cannot be %g; allowed is %g to %g", bound.what, bound.value, bound.low, bound.high)
		}
	}
	return nil
}

// compare plays the seasons and shows how far it is, when a person watches.
func (s seasonCmd) compare(ctx context.Context, t *terminal, w notify.World, d notify.Dispatch, policies []string) (*notify.Comparison, error) {
	file, _ := t.errs.(*os.File)
	watched := false
	if file != nil {
		if info, err := file.Stat(); err == nil {
			watched = info.Mode()&os.ModeCharDevice != 0
		}
	}
	var done atomic.Int64
	all := int64(s.Seeds * len(policies))
	step := func() {
		if n := done.Add(1); watched && (n == all || n%max(1, all/100) == 0) {
			_, _ = fmt.Fprintf(file, "\r%3d %% of %d seasons", 100*n/all, all)
		}
	}
	c, err := notify.CompareSeasons(ctx, w, d, policies, s.From, s.Seeds, step)
	if watched {
		_, _ = fmt.Fprint(file, "\r                              \r")
	}
	return c, err
}

// The figures of a season.
var (
	caught = func(s notify.Season) float64 { return s.Caught }
	pings  = func(s notify.Season) float64 { return s.Pings }
	median = func(s notify.Season) float64 { return s.Median }
	p90    = func(s notify.Season) float64 { return s.P90 }
	gini   = func(s notify.Season) float64 { return s.Gini }
	wasted = func(s notify.Season) float64 { return s.Wasted }
)

// seasonFigures is one policy in the JSON that the command prints.
type seasonFigures struct {
	Caught float64 `json:"caught"`
	Pings  float64 `json:"pings_per_report"`
	Median float64 `json:"median_min"`
	P90    float64 `json:"p90_min"`
	Gini   float64 `json:"gini"`
}

func printSeasonJSON(t *terminal, c *notify.Comparison) error {
	out := map[string]seasonFigures{}
	for p, policy := range c.Policies {
		mean := func(figure func(notify.Season) float64) float64 { m, _ := c.Mean(p, figure); return m }
		out[policy] = seasonFigures{mean(caught), mean(pings), mean(median), mean(p90), mean(gini)}
	}
	return json.NewEncoder(t.out).Encode(map[string]any{"policies": out})
}

func printSeasonTable(t *terminal, w notify.World, c *notify.Comparison) error {
	_, _ = fmt.Fprintf(t.out, "%d seasons, seeds %d to %d: %d catchers, %d reports in %d days; swarms stay %g flying hours on average\n\n",
		len(c.Seeds), c.Seeds[0], c.Seeds[len(c.Seeds)-1], w.Catchers, w.Reports, w.Days, w.StayHours)
	oracle := slices.Index(c.Policies, "oracle")
	table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "policy\tcaught\tof oracle\tasks a report\tmedian min\tp90 min\tGini of jobs\twasted trips\t")
	for p, policy := range c.Policies {
		best, _ := c.Mean(oracle, caught)
		mine, _ := c.Mean(p, caught)
		_, _ = fmt.Fprintf(table, "%s\t%s\t%.3f\t%s\t%s\t%s\t%s\t%s\t\n", policy, plusMinus(c, p, caught, 3), mine/best,
			plusMinus(c, p, pings, 2), plusMinus(c, p, median, 1), plusMinus(c, p, p90, 0), plusMinus(c, p, gini, 3), plusMinus(c, p, wasted, 3))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	bound, _ := c.Mean(oracle, func(s notify.Season) float64 { return s.UpperBound })
	_, _ = fmt.Fprintf(t.out, "\nNo dispatcher could have caught more than %.3f.\nCaught by skepline less caught by another, season by season:\n", bound)
	for p := 1; p < len(c.Policies); p++ {
		mean, half := c.Paired(0, p, caught)
		_, _ = fmt.Fprintf(t.out, "  %-20s %+.4f ±%.4f\n", c.Policies[p], mean, half)
	}
	return nil
}

func plusMinus(c *notify.Comparison, policy int, figure func(notify.Season) float64, digits int) string {
	mean, half := c.Mean(policy, figure)
	return fmt.Sprintf("%.*f ±%.*f", digits, mean, digits, half)
}

// sensitivity plays worlds in which one assumption is another.
func (s seasonCmd) sensitivity(ctx context.Context, t *terminal, base notify.World, d notify.Dispatch) error {
	policies := []string{"skepline", "phone_tree", "nearest3", "broadcast", "broadcast_best_eta", "oracle"}
	table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "change\tskepline\tphone tree\tnearest 3\tbroadcast\tbroadcast, best ETA\toracle\tasks\tof broadcast\tmedian\t")
	for _, change := range worldChanges {
		w := base
		change.to(&w)
		c, err := s.compare(ctx, t, w, d, policies)
		if err != nil {
			return err
		}
		_, _ = fmt.Fprintf(table, "%s\t", change.name)
		for p := range policies {
			_, _ = fmt.Fprintf(table, "%s\t", plusMinus(c, p, caught, 3))
		}
		mine, _ := c.Mean(0, pings)
		all, _ := c.Mean(3, pings)
		wait, _ := c.Mean(0, median)
		_, _ = fmt.Fprintf(table, "%.1f\t%.1f\t%.1f\t\n", mine, all, wait)
	}
	return table.Flush()
}

var worldChanges = []struct {
	name string
	to   func(*notify.World)
}{
	{"base", func(*notify.World) {}},
	{"stay 3 h", func(w *notify.World) { w.StayHours = 3 }},
	{"stay 5 h", func(w *notify.World) { w.StayHours = 5 }},
	{"stay 20 h", func(w *notify.World) { w.StayHours = 20 }},
	{"stay of gamma shape 2", func(w *notify.World) { w.StayShape = 2 }},
	{"willing 0.35", func(w *notify.World) { w.WillingYes, w.WillingNo = 1.4, 2.6 }},
	{"willing 0.80", func(w *notify.World) { w.WillingYes, w.WillingNo = 3.2, 0.8 }},
	{"15 catchers", func(w *notify.World) { w.Catchers = 15 }},
	{"80 catchers", func(w *notify.World) { w.Catchers = 80 }},
	{"100 reports", func(w *notify.World) { w.Reports = 100 }},
	{"900 reports", func(w *notify.World) { w.Reports = 900 }},
	{"replies in 2 min", func(w *notify.World) { w.ReplyMinutes = 2 }},
	{"replies in 15 min", func(w *notify.World) { w.ReplyMinutes = 15 }},
	{"no tiring", func(w *notify.World) { w.Tiring = 0 }},
	{"tiring 0.06", func(w *notify.World) { w.Tiring = 0.06 }},
	{"tiring 0.10", func(w *notify.World) { w.Tiring = 0.10 }},
	{"halfway 12 km", func(w *notify.World) { w.HalfwayKm = 12 }},
	{"30 km/h", func(w *notify.World) { w.SpeedKmh = 30 }},
	{"80 % of absences declared", func(w *notify.World) { w.Declared = 0.8 }},
	{"15 % drop out", func(w *notify.World) { w.DropsOut = 0.15 }},
	{"county of 100 x 80 km", func(w *notify.World) { w.WidthKm, w.HeightKm = 100, 80 }},
}
