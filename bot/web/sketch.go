package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"skepline/bot"
)

// homeSketch draws where a swarm is as seen from the catcher's home: rings for the distance
// and a mark in its wind. It is as coarse as the words under it and gives no door away.
func homeSketch(v *bot.OfferView, data page) template.HTML {
	var b strings.Builder
	b.WriteString(`<svg viewBox="-60 -60 120 120" aria-hidden="true" class="rings">`)
	for _, r := range []int{18, 36, 54} {
		fmt.Fprintf(&b, `<circle r="%d"/>`, r)
	}
	b.WriteString(`<path d="M0-54V54M-54 0H54"/><text y="-46">N</text>`)
	label := 13
	if v.Far.Km >= 0 && v.Far.Bearing != "" {
		winds := map[string]float64{"n": 0, "ne": 45, "e": 90, "se": 135, "s": 180, "sw": 225, "w": 270, "nw": 315}
		turn := winds[v.Far.Bearing] * math.Pi / 180
		far := 18 * math.Min(2.6, math.Max(1, math.Log2(1+v.Far.Km/2)))
		x, y := far*math.Sin(turn), -far*math.Cos(turn)
		if y > 0 {
			label = -9 // out of the way
		}
		fmt.Fprintf(&b, `<path class="way" d="M0 0L%.0f %.0f"/><circle class="bees" cx="%.0f" cy="%.0f" r="7"/>`, x, y, x, y)
	}
	fmt.Fprintf(&b, `<path class="home" d="M-5 4V-1L0-6L5-1V4Z"/><text y="%d">%s</text></svg>`, label, html.EscapeString(data.T("page_home")))
	return template.HTML(b.String())
}

// squares is the plain ground of the caller's sketch: 200 m wide, a square 20 m.
var squares = func() template.HTML {
	var b strings.Builder
	b.WriteString(`<path class="squares" d="`)
	for i := -80; i <= 80; i += 20 {
		fmt.Fprintf(&b, "M%d-100V100M-100 %dH100", i, i)
	}
	b.WriteString(`"/>`)
	return template.HTML(b.String())
}()

// deskSketch draws open calls and catchers' homes, as near as shows them all.
func deskSketch(v *bot.DeskView, data page) template.HTML {
	return drawDesk(v, data, "page_desk_map", widest(v))
}

// areaSketch draws the same over the whole area served, with the roster's reach.
func areaSketch(v *bot.DeskView, data page) template.HTML {
	return drawDesk(v, data, "page_desk_area", math.Max(v.Km, 5))
}

// drawDesk draws what lies within so many kilometres of the middle.
func drawDesk(v *bot.DeskView, data page, label string, km float64) template.HTML {
	scale := 100 / km // units a kilometre
	at := func(lat, lon float64) (x, y float64) {
		x, y = kilometres(v, lat, lon)
		return math.Max(-115, math.Min(115, x*scale)), math.Max(-115, math.Min(115, -y*scale))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="-120 -120 240 240" role="img" aria-label="%s"><circle class="bound" r="%.1f"/><text x="0" y="-110">N</text>`, html.EscapeString(data.T(label)), v.Km*scale)
	bar := data.bar(v, km)
	fmt.Fprintf(&b, `<path class="way" d="M-110 112v4h%.1fv-4"/><text x="%.1f" y="110">%s</text>`, bar.km*scale, -110+bar.km*scale/2, bar.words)
	for _, k := range v.Catchers {
		x, y := at(k.Lat, k.Lon)
		fmt.Fprintf(&b, `<circle class="reach" cx="%.1f" cy="%.1f" r="%.1f"/>`, x, y, k.ReachKm*scale)
	}
	for _, k := range v.Catchers {
		x, y := at(k.Lat, k.Lon)
		fmt.Fprintf(&b, `<g class="k-%s" transform="translate(%.1f %.1f)"><rect x="-2.5" y="-2.5" width="5" height="5"/><text y="11">%s</text></g>`, html.EscapeString(k.State), x, y, html.EscapeString(k.Name))
	}
	for _, c := range v.Calls {
		if !c.Pinned {
			continue
		}
		x, y := at(c.Lat, c.Lon)
		hot := ""
		if c.Why != "" {
			hot = " hot"
		}
		fmt.Fprintf(&b, `<g class="c%s" transform="translate(%.1f %.1f)"><circle r="4.5"/><text y="-7">%s</text></g>`, hot, x, y, html.EscapeString(c.Ref))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

// scaleBar is a length that people know, for a sketch's corner.
type scaleBar struct {
	km    float64
	words string
}

// bar picks the length that takes about a third of a sketch so many kilometres to its edge.
func (page) bar(v *bot.DeskView, km float64) scaleBar {
	best := scaleBar{}
	for _, n := range []float64{0.5, 1, 2, 5, 10, 20, 50, 100} {
		b := scaleBar{n, fmt.Sprintf("%g km", n)}
		if !v.Metric {
			b = scaleBar{n * 1.609344, fmt.Sprintf("%g mi", n)}
		}
		if best.km == 0 || b.km <= km*0.8 {
			best = b
		}
	}
	return best
}

// kilometres is how far east and north of the hotline's centre a point is.
func kilometres(v *bot.DeskView, lat, lon float64) (east, north float64) {
	const perDegree = 111.2
	return (lon - v.Lon) * perDegree * math.Cos(v.Lat*math.Pi/180), (lat - v.Lat) * perDegree
}

// widest is how far from the centre, in kilometres, the sketch must reach to show every
// catcher and every swarm, and no farther than the area served.
func widest(v *bot.DeskView) float64 {
	reach := 5.0
	add := func(lat, lon float64) {
		x, y := kilometres(v, lat, lon)
		reach = math.Max(reach, 1.2*math.Hypot(x, y))
	}
	for _, k := range v.Catchers {
		add(k.Lat, k.Lon)
	}
	for _, c := range v.Calls {
		if c.Pinned {
			add(c.Lat, c.Lon)
		}
	}
	return math.Min(reach, math.Max(v.Km, 5))
}
