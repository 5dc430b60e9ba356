package plots

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"skepline/bot"
)

// Drawing is one picture of a season.
type Drawing struct {
	Name string // for its file, without an ending: "weeks"
	plot *plot.Plot
}

// The colours are Okabe and Ito's, which people with any colour vision tell apart (Color
// Universal Design, 2008).
var (
	orange  = color.RGBA{230, 159, 0, 255}
	blue    = color.RGBA{0, 114, 178, 255}
	green   = color.RGBA{0, 158, 115, 255}
	red     = color.RGBA{213, 94, 0, 255}
	purple  = color.RGBA{204, 121, 167, 255}
	skyBlue = color.RGBA{86, 180, 233, 255}
	grey    = color.RGBA{150, 150, 150, 255}
)

// painters draw the pictures that a Summary names.
var painters = map[string]func(*plot.Plot, bot.Summary) error{
	"weeks": weeks, "time_to_take": toTake, "outcomes": outcomes, "map": places, "reliability": reliability,
}

// Season draws a season: the calls by week, the time to take, what came of the calls, where
// they were, and how well the likelihoods held. A picture that has nothing to show is left
// out.
func Season(title string, s bot.Summary) ([]Drawing, error) {
	var all []Drawing
	for _, name := range s.Pictures() {
		d, err := drawing(title, s, name)
		if err != nil {
			return nil, err
		}
		all = append(all, d)
	}
	return all, nil
}

// Draw writes one picture of a season as PNG, by its name.
func Draw(w io.Writer, title string, s bot.Summary, name string) error {
	if !slices.Contains(s.Pictures(), name) {
		return fmt.Errorf("the season has nothing to show as %q", name)
	}
	d, err := drawing(title, s, name)
	if err != nil {
		return err
	}
	return d.Write(w, "png")
}

func drawing(title string, s bot.Summary, name string) (Drawing, error) {
	p := plot.New()
	p.Title.Padding = vg.Points(6)
	p.BackgroundColor = color.White
	p.Legend.Top = true
	p.Legend.Padding, p.Legend.XOffs = vg.Points(3), -vg.Points(4)
	if err := painters[name](p, s); err != nil {
		return Drawing{}, fmt.Errorf("draw %s: %w", name, err)
	}
	p.Title.Text = title + ": " + p.Title.Text
	return Drawing{name, p}, nil
}

// Write writes the drawing as "png" or "svg", 18 by 12 cm.
func (d Drawing) Write(w io.Writer, format string) error {
	const margin = 3 * vg.Millimeter
	canvas, err := draw.NewFormattedCanvas(18*vg.Centimeter, 12*vg.Centimeter, format)
	if err != nil {
		return fmt.Errorf("draw %s as %s: %w", d.Name, format, err)
	}
	whole := draw.New(canvas)
	whole.FillPolygon(color.White, []vg.Point{whole.Min, {X: whole.Max.X, Y: whole.Min.Y}, whole.Max, {X: whole.Min.X, Y: whole.Max.Y}})
	d.plot.Draw(draw.Crop(whole, margin, -margin, margin, -margin))
	_, err = canvas.WriteTo(w)
	return err
}

// weeks draws the calls of each week, those caught in front, against the expected season.
func weeks(p *plot.Plot, s bot.Summary) error {
	all, caught, expected := make(plotter.Values, len(s.Weeks)), make(plotter.Values, len(s.Weeks)), make(plotter.XYs, len(s.Weeks))
	names := make([]string, len(s.Weeks))
	every := 1 + len(s.Weeks)/14
	for i, w := range s.Weeks {
		all[i], caught[i] = float64(w.Calls), float64(w.Caught)
		expected[i] = plotter.XY{X: float64(i), Y: w.ExpectedOut}
		if i%every == 0 {
			names[i] = w.Monday.Format("2 Jan")
		}
	}
	wide := vg.Points(min(22, 320/float64(len(s.Weeks))))
	back, err := bars(all, wide, skyBlue)
	if err != nil {
		return err
	}
	front, err := bars(caught, wide*0.6, blue)
	if err != nil {
		return err
	}
	line, err := plotter.NewLine(expected)
	if err != nil {
		return err
	}
	line.Color, line.Width = red, vg.Points(2)
	p.Add(grid(), back, front, line)
	p.Legend.Add("calls", back)
	p.Legend.Add("caught", front)
	p.Legend.Add("swarm calls expected", line)
	p.NominalX(names...)
	p.X.Label.Text = "week beginning on Monday"
	p.Y.Label.Text = "calls"
	p.Title.Text = "calls by week"
	p.Y.Min = 0
	p.Y.Max *= 1.25 // room for the legend
	p.Y.Tick.Marker = whole{}
	return nil
}

func bars(v plotter.Values, wide vg.Length, c color.Color) (*plotter.BarChart, error) {
	b, err := plotter.NewBarChart(v, wide)
	if err != nil {
		return nil, err
	}
	b.Color, b.LineStyle.Width = c, 0
	return b, nil
}

func grid() *plotter.Grid {
	g := plotter.NewGrid()
	g.Vertical.Width = 0
	g.Horizontal.Color = color.Gray{225}
	return g
}

// whole puts ticks at whole numbers only.
type whole struct{}

// Ticks returns at most about six, at steps of 1, 2 or 5 and their tenfolds.
func (whole) Ticks(low, high float64) []plot.Tick {
	step := 1.0
	for _, next := range []float64{2, 2.5, 2} {
		if (high-low)/step > 6 {
			step *= next
		}
	}
	for (high-low)/step > 6 {
		step *= 2
	}
	var ticks []plot.Tick
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		ticks = append(ticks, plot.Tick{Value: v, Label: fmt.Sprintf("%g", v)})
	}
	return ticks
}

// hundredths names the ticks to a hundredth of a degree, as the ledger does.
type hundredths struct{}

// Ticks returns those that plots have by themselves, with two digits.
func (hundredths) Ticks(low, high float64) []plot.Tick {
	ticks := plot.DefaultTicks{}.Ticks(low, high)
	for i := range ticks {
		if ticks[i].Label != "" {
			ticks[i].Label = fmt.Sprintf("%.2f", ticks[i].Value)
		}
	}
	return ticks
}

// toTake draws what share of the taken calls was taken within so many minutes.
func toTake(p *plot.Plot, s bot.Summary) error {
	half, most := bot.Quantile(s.ToTake, 0.5), bot.Quantile(s.ToTake, 0.9)
	const legendFrom = 0.62 // of the width: the last line stands left of the legend
	limit := math.Ceil(max(bot.Quantile(s.ToTake, 0.95).Minutes(), most.Minutes()/legendFrom, 10)/10) * 10
	steps := plotter.XYs{{X: 0, Y: 0}}
	n := float64(len(s.ToTake))
	for i, took := range s.ToTake {
		x := took.Minutes()
		if x > limit {
			break
		}
		steps = append(steps, plotter.XY{X: x, Y: 100 * float64(i) / n}, plotter.XY{X: x, Y: 100 * float64(i+1) / n})
	}
	steps = append(steps, plotter.XY{X: limit, Y: steps[len(steps)-1].Y})
	line, err := plotter.NewLine(steps)
	if err != nil {
		return err
	}
	line.Color, line.Width = blue, vg.Points(2)
	p.Add(grid(), line)
	for _, mark := range []struct {
		at    time.Duration
		share float64
		c     color.Color
		name  string
	}{{half, 50, green, "half"}, {most, 90, red, "nine of ten"}} {
		if mark.at.Minutes() > limit {
			continue
		}
		down, err := plotter.NewLine(plotter.XYs{{X: mark.at.Minutes(), Y: 0}, {X: mark.at.Minutes(), Y: mark.share}})
		if err != nil {
			return err
		}
		down.Color, down.Width, down.Dashes = mark.c, vg.Points(1.5), []vg.Length{vg.Points(4), vg.Points(3)}
		p.Add(down)
		p.Legend.Add(fmt.Sprintf("%s within %.0f min", mark.name, math.Ceil(mark.at.Minutes())), down)
	}
	p.Legend.Top, p.Legend.YOffs = false, vg.Points(4)
	p.Title.Text = fmt.Sprintf("time to take (n = %d)", len(s.ToTake))
	p.X.Label.Text = "minutes from the first text to the one who took it last"
	p.Y.Label.Text = "% taken"
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, limit, 0, 100
	return nil
}

// end is one way in which a call ends.
type end struct {
	stage bot.Stage
	name  string
	c     color.Color
}

// bestOnTop returns the end of row i, from below.
func bestOnTop(i int) end { return ends[len(ends)-1-i] }

// ends are the ends of a call in the order in which they are drawn, with words and colours.
var ends = []end{
	{bot.Hived, "hived", blue}, {bot.Lifted, "taken home", skyBlue}, {bot.Flown, "flown on", orange},
	{bot.PassedOn, "passed on", green}, {bot.LeftAlone, "left alone", purple},
	{bot.Withdrawn, "withdrawn", grey}, {bot.Unfinished, "unfinished", grey},
}

// outcomes draws how many calls ended in each way.
func outcomes(p *plot.Plot, s bot.Summary) error {
	names := make([]string, len(ends))
	for i := range ends {
		e := bestOnTop(i)
		v := make(plotter.Values, len(ends))
		v[i] = float64(s.Outcomes[e.stage])
		b, err := bars(v, vg.Points(16), e.c)
		if err != nil {
			return err
		}
		b.Horizontal = true
		p.Add(b)
		names[i] = e.name
	}
	labels := plotter.XYLabels{}
	most := 1
	for i := range ends {
		n := s.Outcomes[bestOnTop(i).stage]
		most = max(most, n)
		labels.XYs = append(labels.XYs, plotter.XY{X: float64(n), Y: float64(i)})
		labels.Labels = append(labels.Labels, fmt.Sprintf(" %d", n))
	}
	text, err := plotter.NewLabels(labels)
	if err != nil {
		return err
	}
	for i := range text.TextStyle {
		text.TextStyle[i].YAlign = draw.YCenter
	}
	p.Add(text)
	p.NominalY(names...)
	p.Title.Text = fmt.Sprintf("what came of the calls (n = %d)", s.Calls)
	p.X.Label.Text = "calls"
	p.X.Min, p.X.Max = 0, float64(most)*1.12
	p.X.Tick.Marker = whole{}
	return nil
}

// places draws where the calls were: the larger a dot, the more calls of that end in that
// kilometre.
func places(p *plot.Plot, s bot.Summary) error {
	type at struct{ lat, lon float64 }
	middle := 0.0
	for _, spot := range s.Places {
		middle += spot.Lat / float64(len(s.Places))
	}
	for _, e := range ends {
		counts := map[at]int{}
		for _, spot := range s.Places {
			if spot.Outcome == e.stage {
				counts[at{spot.Lat, spot.Lon}]++
			}
		}
		if len(counts) == 0 {
			continue
		}
		var dots plotter.XYs
		var sizes []int
		for _, spot := range s.Places {
			k := at{spot.Lat, spot.Lon}
			if n := counts[k]; n > 0 && spot.Outcome == e.stage {
				dots, sizes = append(dots, plotter.XY{X: k.lon, Y: k.lat}), append(sizes, n)
				delete(counts, k)
			}
		}
		scatter, err := plotter.NewScatter(dots)
		if err != nil {
			return err
		}
		c := color.NRGBAModel.Convert(e.c).(color.NRGBA)
		c.A = 170
		scatter.GlyphStyleFunc = func(i int) draw.GlyphStyle {
			return draw.GlyphStyle{Color: c, Shape: draw.CircleGlyph{}, Radius: vg.Points(3 * math.Sqrt(float64(sizes[i])))}
		}
		scatter.GlyphStyle = draw.GlyphStyle{Color: c, Shape: draw.CircleGlyph{}, Radius: vg.Points(4)}
		p.Add(scatter)
		p.Legend.Add(e.name, scatter)
	}
	evenScale(p, s.Places, middle)
	p.Legend.Left, p.Legend.XOffs = true, vg.Points(4)
	p.Title.Text = fmt.Sprintf("where the calls were, to about 1 km (n = %d)", len(s.Places))
	p.X.Label.Text, p.Y.Label.Text = "degrees east", "degrees north"
	p.X.Tick.Marker, p.Y.Tick.Marker = hundredths{}, hundredths{}
	return nil
}

// evenScale widens the narrower side, so that a kilometre is as long up as across on a
// drawing of 18 by 12 cm, and leaves room for the legend.
func evenScale(p *plot.Plot, spots []bot.Spot, middle float64) {
	const ratio = 1.55 // of the drawn area, axes off
	byLat := func(a, b bot.Spot) int { return compare(a.Lat, b.Lat) }
	byLon := func(a, b bot.Spot) int { return compare(a.Lon, b.Lon) }
	south, north := slices.MinFunc(spots, byLat).Lat, slices.MaxFunc(spots, byLat).Lat
	west, east := slices.MinFunc(spots, byLon).Lon, slices.MaxFunc(spots, byLon).Lon
	squeeze := max(math.Cos(middle*math.Pi/180), 0.05)
	high := max(north-south, 0.05) * 1.1
	wide := max(max(east-west, 0.05)*squeeze*1.4, high*ratio)
	high = max(high, wide/ratio)
	y, x := (north+south)/2, (east+west)/2
	p.Y.Min, p.Y.Max = y-high/2, y+high/2
	p.X.Min, p.X.Max = x-wide/squeeze*0.6, x+wide/squeeze*0.4
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

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
