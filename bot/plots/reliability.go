package plots

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"skepline/bot"
)

// reliability draws the share of swarms found against the likelihood predicted.
func reliability(p *plot.Plot, s bot.Summary) error {
	ideal, err := plotter.NewLine(plotter.XYs{{X: 0, Y: 0}, {X: 100, Y: 100}})
	if err != nil {
		return err
	}
	ideal.Color, ideal.Dashes = grey, []vg.Length{vg.Points(4), vg.Points(3)}
	var points binned
	labels := plotter.XYLabels{}
	for _, b := range s.Reliability.Bins {
		if b.N == 0 {
			continue
		}
		low, high := b.Between()
		points.XYs = append(points.XYs, plotter.XY{X: 100 * b.Predicted, Y: 100 * b.Observed()})
		points.YErrors = append(points.YErrors, struct{ Low, High float64 }{100 * (b.Observed() - low), 100 * (high - b.Observed())})
		labels.XYs = append(labels.XYs, plotter.XY{X: 100 * b.Predicted, Y: 100 * b.Observed()})
		labels.Labels = append(labels.Labels, fmt.Sprintf("%d", b.N))
	}
	dots, err := plotter.NewScatter(points.XYs)
	if err != nil {
		return err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: blue, Shape: draw.CircleGlyph{}, Radius: vg.Points(4)}
	spans, err := plotter.NewYErrorBars(points)
	if err != nil {
		return err
	}
	spans.Color = blue
	text, err := plotter.NewLabels(labels)
	if err != nil {
		return err
	}
	text.Offset = vg.Point{X: -vg.Points(16), Y: vg.Points(4)}
	p.Add(grid(), ideal, spans, dots, text)
	p.Legend.Add("found, with the number of calls and 95 %", dots)
	p.Legend.Add("as it should be", ideal)
	p.Legend.Left, p.Legend.XOffs = true, vg.Points(4)
	p.Title.Text = fmt.Sprintf("likelihood and truth (n = %d), Brier score %.3f", s.Reliability.N, s.Reliability.Brier())
	p.X.Label.Text = "% likelihood of a swarm that was predicted"
	p.Y.Label.Text = "% that were swarms"
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 102, 0, 102
	return nil
}

// binned are points with their error bars.
type binned struct {
	plotter.XYs
	plotter.YErrors
}
