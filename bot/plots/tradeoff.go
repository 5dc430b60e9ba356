package plots

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Tradeoff is one way to ask around: what share of the swarms it catches, for how many asks.
type Tradeoff struct {
	Name   string
	Asks   float64 // a report; more than 0
	Caught float64 // 0 to 1
	Half   float64 // half width of the interval of Caught
	Kind   TradeoffKind
}

// TradeoffKind says how a point is drawn.
type TradeoffKind int

// The kinds.
const (
	Ours   TradeoffKind = iota // joined by a line, as the club's one knob runs
	Rival                      // what a club would do without
	Seeing                     // what nobody can do who does not see what is hidden
)

// Tradeoffs draws the share of swarms caught against the asks it takes: the higher and the
// farther left, the better.
func Tradeoffs(title string, points []Tradeoff) (Drawing, error) {
	p := plot.New()
	p.BackgroundColor = color.White
	p.Title.Text, p.Title.Padding = title, vg.Points(6)
	p.X.Label.Text, p.Y.Label.Text = "asks a report (each step doubles)", "share of swarms caught"
	p.X.Scale, p.X.Tick.Marker = plot.LogScale{}, doublings{}
	p.Add(plotter.NewGrid())
	p.Legend.Top, p.Legend.Left = false, true
	p.Legend.Padding, p.Legend.XOffs = vg.Points(3), vg.Points(6)
	for _, kind := range []struct {
		kind  TradeoffKind
		name  string
		color color.Color
		shape draw.GlyphDrawer
	}{
		{Seeing, "knows what nobody can know", grey, draw.TriangleGlyph{}},
		{Rival, "without the hotline", red, draw.SquareGlyph{}},
		{Ours, "the hotline, gentle to fast", blue, draw.CircleGlyph{}},
	} {
		some := slices.DeleteFunc(slices.Clone(points), func(t Tradeoff) bool { return t.Kind != kind.kind })
		if len(some) == 0 {
			continue
		}
		if err := addTradeoffs(p, some, kind.name, kind.color, kind.shape); err != nil {
			return Drawing{}, fmt.Errorf("draw tradeoffs: %w", err)
		}
	}
	p.X.Min, p.X.Max = p.X.Min/2, p.X.Max*2.2 // room for the names
	return Drawing{"tradeoffs", p}, nil
}

func addTradeoffs(p *plot.Plot, some []Tradeoff, name string, c color.Color, shape draw.GlyphDrawer) error {
	slices.SortFunc(some, func(a, b Tradeoff) int { return int(math.Copysign(1, a.Asks-b.Asks)) })
	bars := struct {
		plotter.XYs
		plotter.YErrors
	}{make(plotter.XYs, len(some)), make(plotter.YErrors, len(some))}
	labels := plotter.XYLabels{XYs: bars.XYs}
	for i, t := range some {
		bars.XYs[i] = plotter.XY{X: t.Asks, Y: t.Caught}
		bars.YErrors[i].Low, bars.YErrors[i].High = t.Half, t.Half
		labels.Labels = append(labels.Labels, t.Name)
	}
	marks, err := plotter.NewScatter(bars.XYs)
	if err != nil {
		return err
	}
	marks.GlyphStyle = draw.GlyphStyle{Color: c, Radius: vg.Points(3.5), Shape: shape}
	errors, err := plotter.NewYErrorBars(bars)
	if err != nil {
		return err
	}
	errors.Color = c
	names, err := plotter.NewLabels(labels)
	if err != nil {
		return err
	}
	names.Offset.X = vg.Points(6)
	for i := range names.TextStyle {
		style := &names.TextStyle[i]
		style.Color, style.YAlign, style.Font.Size = c, text.YCenter, vg.Points(9)
		if some[i].Kind != Rival { // the better, the farther left
			style.XAlign, names.Offset.X = text.XRight, -vg.Points(6)
		}
	}
	if some[0].Kind == Ours && len(some) > 1 {
		line, err := plotter.NewLine(bars.XYs)
		if err != nil {
			return err
		}
		line.Color, line.Width = c, vg.Points(1.5)
		p.Add(line)
	}
	p.Add(errors, marks, names)
	p.Legend.Add(name, marks)
	return nil
}

// doublings puts ticks at the powers of two.
type doublings struct{}

func (doublings) Ticks(low, high float64) (ticks []plot.Tick) {
	for x := math.Exp2(math.Ceil(math.Log2(low))); x <= high; x *= 2 {
		ticks = append(ticks, plot.Tick{Value: x, Label: strconv.FormatFloat(x, 'g', -1, 64)})
	}
	return ticks
}
