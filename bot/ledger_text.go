package bot

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"skepline/triage"
)

// Write prints the summary as tables for a terminal, in zone.
func (s Summary) Write(w io.Writer, zone *time.Location) error {
	if s.Calls == 0 {
		_, err := fmt.Fprintln(w, "No call ended in that time.")
		return err
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	line := func(format string, a ...any) { _, _ = fmt.Fprintf(table, format+"\n", a...) } // Flush tells
	caught := s.Outcomes[Hived] + s.Outcomes[Lifted]
	line("%d calls from %s to %s, %d caught", s.Calls, s.From.In(zone).Format(time.DateOnly), s.To.In(zone).Format(time.DateOnly), caught)
	line("")
	line("outcome\tcalls")
	for _, stage := range endStages {
		if n := s.Outcomes[stage]; n > 0 {
			line("%s\t%d", stage, n)
		}
	}
	line("")
	if len(s.ToTake) > 0 {
		line("time to take, %d calls: half within %s, nine of ten within %s", len(s.ToTake), minutes(Quantile(s.ToTake, .5)), minutes(Quantile(s.ToTake, .9)))
		line("")
		line("catcher\ttook\tcaught\tflown\tnot a swarm\tin bait boxes\tmedian to take")
		for _, k := range s.Catchers {
			line("%s\t%d\t%d\t%d\t%d\t%d\t%s", k.ID, k.Took, k.Caught, k.Flown, k.NotASwarm, k.Trapped, minutes(k.MedianToTake))
		}
		line("")
	}
	line("week of\tcalls\tcaught\tswarm calls\texpected")
	for _, week := range s.Weeks {
		line("%s\t%d\t%d\t%d\t%.1f", week.Monday.Format(time.DateOnly), week.Calls, week.Caught, week.SwarmCalls, week.ExpectedOut)
	}
	line("(expected: the season's swarm calls spread as swarms are over the year at this latitude)")
	line("")
	s.writeReliability(line)
	return table.Flush()
}

// endStages are the stages a call can end at, the best first.
var endStages = []Stage{Hived, Lifted, Flown, PassedOn, LeftAlone, Withdrawn, Unfinished}

func minutes(d time.Duration) string {
	if d >= 2*time.Hour {
		return fmt.Sprintf("%.1f h", d.Hours())
	}
	return fmt.Sprintf("%.0f min", math.Ceil(d.Minutes()))
}

func (s Summary) writeReliability(line func(string, ...any)) {
	r := s.Reliability
	if r.N == 0 {
		line("Nobody has seen yet what any of these turned out to be.")
		return
	}
	line("likelihood and truth, %d calls that somebody looked at (mostly likely ones); Brier score %.3f", r.N, r.Brier())
	line("likelihood\tcalls\tpredicted\tswarms\t95 %% between")
	for i, b := range r.Bins {
		if b.N > 0 {
			low, high := b.Between()
			line("%d-%d %%\t%d\t%.0f %%\t%.0f %%\t%.0f-%.0f %%", 10*i, 10*i+10, b.N, 100*b.Predicted, 100*b.Observed(), 100*low, 100*high)
		}
	}
	line("")
	var kinds []triage.Kind
	for _, k := range append(slices.Clone(triage.Kinds), NotHoneyBees) {
		if slices.ContainsFunc(routes, func(r triage.Route) bool { return s.Confusion[r][k] > 0 }) {
			kinds = append(kinds, k)
		}
	}
	header := []string{"what was done"}
	for _, k := range kinds {
		header = append(header, "was "+strings.ReplaceAll(string(k), "_", " "))
	}
	line("%s", strings.Join(header, "\t"))
	for _, route := range routes {
		if len(s.Confusion[route]) == 0 {
			continue
		}
		cells := []string{string(route)}
		for _, k := range kinds {
			cells = append(cells, itoa(s.Confusion[route][k]))
		}
		line("%s", strings.Join(cells, "\t"))
	}
}

var routes = []triage.Route{triage.RouteOffer, triage.RouteSpecialist, triage.RouteRedirect, triage.RouteSteward, triage.RouteEmergency}
