package store

import "math"

// grid files things by where they matter: each in all cells that its circle touches, so that
// what matters at a point is in that point's cell.
type grid struct {
	degrees float64 // a cell's side
	cells   map[cell]map[string]struct{}
	wide    map[string]struct{} // whose circle has more cells than are worth it: they matter everywhere
}

type cell struct{ north, east int32 }

func newGrid(degrees float64) grid {
	return grid{degrees: degrees, cells: map[cell]map[string]struct{}{}, wide: map[string]struct{}{}}
}

// mostCells is how many cells a circle is filed in.
const mostCells = 512

// circle calls each for every cell that a circle of km around a point touches. False means
// that these are too many, or that the circle holds a pole.
func (g grid) circle(lat, lon, km float64, each func(cell)) bool {
	const kmPerDegree = 111.1 // a little less than on the earth, for a little more room
	up := km / kmPerDegree
	shrink := math.Cos(min(math.Abs(lat)+up, 90) * math.Pi / 180)
	if shrink < 0.01 {
		return false
	}
	across := up / shrink
	s, n := int32(math.Floor((lat-up)/g.degrees)), int32(math.Floor((lat+up)/g.degrees))
	w, e := int32(math.Floor((lon-across)/g.degrees)), int32(math.Floor((lon+across)/g.degrees))
	if (float64(n-s)+1)*(float64(e-w)+1) > mostCells {
		return false
	}
	around := int32(math.Round(360 / g.degrees))
	for y := s; y <= n; y++ {
		for x := w; x <= e; x++ {
			each(cell{y, ((x % around) + around) % around})
		}
	}
	return true
}

func (g grid) add(lat, lon, km float64, id string) {
	ok := g.circle(lat, lon, km, func(c cell) {
		if g.cells[c] == nil {
			g.cells[c] = map[string]struct{}{}
		}
		g.cells[c][id] = struct{}{}
	})
	if !ok {
		g.wide[id] = struct{}{}
	}
}

func (g grid) remove(lat, lon, km float64, id string) {
	g.circle(lat, lon, km, func(c cell) {
		if delete(g.cells[c], id); len(g.cells[c]) == 0 {
			delete(g.cells, c)
		}
	})
	delete(g.wide, id)
}

// near calls each for everything whose circle may touch the circle of km around a point, in
// no order, perhaps more than once. False means that everything may.
func (g grid) near(lat, lon, km float64, each func(id string)) bool {
	ok := g.circle(lat, lon, km, func(c cell) {
		for id := range g.cells[c] {
			each(id)
		}
	})
	for id := range g.wide {
		each(id)
	}
	return ok
}
