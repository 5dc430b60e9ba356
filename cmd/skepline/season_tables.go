package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"text/tabwriter"

	"skepline/notify"
)

// The figures of a season.
var (
	caught   = func(s notify.Season) float64 { return s.Caught }
	pings    = func(s notify.Season) float64 { return s.Pings }
	median   = func(s notify.Season) float64 { return s.Median }
	p90      = func(s notify.Season) float64 { return s.P90 }
	gini     = func(s notify.Season) float64 { return s.Gini }
	wasted   = func(s notify.Season) float64 { return s.Wasted }
	onTheWay = func(s notify.Season) float64 { return s.OnTheWay }
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
		len(c.Seeds), c.Seeds[0], c.Seeds[len(c.Seeds)-1], len(w.Club.Roster)+w.Catchers, w.Reports, w.Days, w.StayHours)
	oracle := slices.Index(c.Policies, "oracle")
	table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "policy\tcaught\tof oracle\tasks a report\tmedian min\tp90 min\tGini of jobs\ttoo late\ton the way\t")
	for p, policy := range c.Policies {
		best, _ := c.Mean(oracle, caught)
		mine, _ := c.Mean(p, caught)
		_, _ = fmt.Fprintf(table, "%s\t%s\t%.3f\t%s\t%s\t%s\t%s\t%s\t%s\t\n", policy, plusMinus(c, p, caught, 3), mine/best,
			plusMinus(c, p, pings, 2), plusMinus(c, p, median, 1), plusMinus(c, p, p90, 0), plusMinus(c, p, gini, 3), plusMinus(c, p, wasted, 3), plusMinus(c, p, onTheWay, 3))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	bound, _ := c.Mean(oracle, func(s notify.Season) float64 { return s.UpperBound })
	_, _ = fmt.Fprintf(t.out, `
Told_willing and told_away ask as skepline does and are told how willing everybody is, or who is away just now; the
insider is told both; the oracle knows the future as well.
Too late: takes a report whose swarm had left when the catcher came; on the way: of these, had set out by then.
No dispatcher could have caught more than %.3f. Caught by skepline less caught by another, season by season:
`, bound)
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

// printWhatIf says what the change is worth to the hotline, season by season.
func printWhatIf(t *terminal, before, after *notify.Comparison) error {
	both := &notify.Comparison{Seeds: after.Seeds, Policies: []string{"after", "before"}, Seasons: [][]notify.Season{after.Seasons[0], before.Seasons[0]}}
	_, _ = fmt.Fprintln(t.out, "\nWhat the change is worth to skepline, season by season:")
	table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "\tas it is\twith the change\tdifference\t")
	for _, row := range []struct {
		name   string
		figure func(notify.Season) float64
		digits int
	}{{"caught", caught, 3}, {"asks a report", pings, 2}, {"median min to a yes", median, 1}, {"Gini of jobs", gini, 3}} {
		mean, half := both.Paired(0, 1, row.figure)
		_, _ = fmt.Fprintf(table, "%s\t%s\t%s\t%+.*f ±%.*f\t\n", row.name, plusMinus(both, 1, row.figure, row.digits), plusMinus(both, 0, row.figure, row.digits),
			row.digits+1, mean, row.digits+1, half)
	}
	return table.Flush()
}
