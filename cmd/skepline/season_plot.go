package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"skepline/bot/plots"
	"skepline/notify"
)

// plot draws every policy of c, and the hotline's at all paces, caught against asks.
func (s seasonCmd) plot(ctx context.Context, t *terminal, w notify.World, d notify.Dispatch, c *notify.Comparison) error {
	var points []plots.Tradeoff
	point := func(c *notify.Comparison, p int, name string, kind plots.TradeoffKind) {
		mean, half := c.Mean(p, caught)
		asks, _ := c.Mean(p, pings)
		points = append(points, plots.Tradeoff{Name: name, Asks: asks, Caught: mean, Half: half, Kind: kind})
	}
	for p, policy := range c.Policies {
		switch policy {
		case "skepline": // drawn at all paces
		case "insider", "oracle", "told_willing", "told_away":
			point(c, p, strings.ReplaceAll(policy, "_", " "), plots.Seeing)
		default:
			point(c, p, strings.ReplaceAll(policy, "_", " "), plots.Rival)
		}
	}
	for _, pace := range []notify.Pace{notify.Gentle, notify.Normal, notify.Fast} {
		d.Pace = pace
		paced, err := s.compare(ctx, t, w, d, []string{"skepline"})
		if err != nil {
			return err
		}
		point(paced, 0, string(pace), plots.Ours)
	}
	title := fmt.Sprintf("%d seasons of %d reports, %d catchers", len(c.Seeds), w.Reports, len(w.Club.Roster)+w.Catchers)
	drawing, err := plots.Tradeoffs(title, points)
	if err != nil {
		return err
	}
	file, err := os.Create(s.Plot)
	if err != nil {
		return fmt.Errorf("write the plot: %w", err)
	}
	if err := drawing.Write(file, strings.TrimPrefix(filepath.Ext(s.Plot), ".")); err != nil {
		_ = file.Close()
		return fmt.Errorf("write the plot: %w", err)
	}
	return file.Close()
}
