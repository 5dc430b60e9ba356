package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"skepline/notify"
)

// sensitivity plays worlds in which one assumption is another.
func (s seasonCmd) sensitivity(ctx context.Context, t *terminal, base notify.World, d notify.Dispatch) error {
	policies := []string{"skepline", "phone_tree", "nearest3", "broadcast", "broadcast_best_eta", "insider", "oracle"}
	table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "change\tskepline\tphone tree\tnearest 3\tbroadcast\tbroadcast, best ETA\tinsider\toracle\tless phone tree\tasks\tof broadcast\tmedian\t")
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
		over, half := c.Paired(0, 1, caught)
		_, _ = fmt.Fprintf(table, "%+.4f ±%.4f\t", over, half)
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
