package bot

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// Roads knows how long a drive takes. bot/maps fills it.
type Roads interface {
	// Drives returns the minutes on the road from each of from to to, below 0 where there is no
	// way.
	Drives(ctx context.Context, from []Point, to Point) ([]float64, error)
}

// RoadsAsked is an errand for the drives to one call.
type RoadsAsked struct {
	To   Point     `json:"to"`
	From []SetsOut `json:"from"`
}

// SetsOut is where one catcher would set out.
type SetsOut struct {
	Catcher string `json:"catcher"`
	Point
}

// Drive is how long one catcher is on the road to a call.
type Drive struct {
	Catcher string  `json:"catcher"`
	Minutes float64 `json:"min"`
}

const (
	mostDrives = 99 // looked up for a call: OSRM answers tables of up to 100 places, unless told otherwise
	homeTo     = 3  // decimals of a degree of a home that a road server is told: about 100 m
)

// askRoads sends for the drives to c, once for each place it is said to be at, and reports
// whether it did.
func (d *decision) askRoads(c *Call) bool {
	place := c.Answers.Place
	if d.Settings.Travel.OSRM == "" || d.setting(&Person{}).Unlocated(place) || c.Joined != "" {
		return false
	}
	to := Point{Lat: place.Lat, Lon: place.Lon}
	mark := derive(d.Secret, "roads to", fmt.Sprintf("%.5f,%.5f", to.Lat, to.Lon), 8)
	if c.RoadsTo == mark {
		return false
	}
	c.RoadsTo, c.Roads = mark, nil
	from := d.whereFrom(c)
	if len(from) == 0 {
		return false
	}
	e := Errand{
		ID: derive(d.Secret, "errand "+mark, string(d.Event.ID()), 16), Call: c.ID, Until: d.Now.Add(errandWithin),
		Roads: &RoadsAsked{To: to, From: from},
	}
	c.RoadsErrand = e.ID
	d.change.Errands = append(d.change.Errands, e)
	return true
}

// whereFrom are the nearest of those who could do it, and where they would set out.
func (d *decision) whereFrom(c *Call) []SetsOut {
	needs := d.needs(c)
	near := d.around(needs.Place)
	var able []notify.Catcher
	for _, k := range near.Roster {
		if _, ok := notify.Able(k, needs); ok {
			able = append(able, k.Start(near.Board.Catchers[k.ID].Stand, d.now))
		}
	}
	km := func(k notify.Catcher) float64 {
		return notify.DistanceKm(k.Lat, k.Lon, needs.Place.Lat, needs.Place.Lon)
	}
	slices.SortStableFunc(able, func(a, b notify.Catcher) int { return cmp.Compare(km(a), km(b)) })
	var from []SetsOut
	for _, k := range able[:min(len(able), mostDrives)] {
		from = append(from, SetsOut{k.ID, Point{Lat: roundedTo(k.Lat, homeTo), Lon: roundedTo(k.Lon, homeTo)}})
	}
	return from
}

// drivesCame takes in the answer. A first round that waited begins.
func (d *decision) drivesCame(e Returned) {
	c := d.call(e.Errand.Call)
	if c.ID == "" || !c.Ended.IsZero() || c.RoadsErrand != e.Errand.ID {
		d.change.Outcome = OutcomeStale
		return
	}
	c.RoadsErrand = ""
	for i, from := range e.Errand.Roads.From {
		if i < len(e.Minutes) && e.Minutes[i] >= 0 {
			c.Roads = append(c.Roads, Drive{from.Catcher, math.Round(10*e.Minutes[i]) / 10})
		}
	}
	if c.Waits && c.Errand == "" {
		d.clear(c, "round")
		d.firstRound(d.personByID(c.Caller.Person), c)
	}
}

// onRoad returns what is known of the drives to c.
func (c *Call) onRoad() map[string]float64 {
	if len(c.Roads) == 0 {
		return nil
	}
	known := make(map[string]float64, len(c.Roads))
	for _, r := range c.Roads {
		known[r.Catcher] = r.Minutes
	}
	return known
}

// usualDrive is what a drive of unknown length is taken for, in minutes (judgement).
const usualDrive = 20

// drive is how long a catcher takes to c, from the yes to arrival.
func (d *decision) drive(c *Call, catcher string, far notify.Far) time.Duration {
	minutes := float64(usualDrive)
	if far.Km >= 0 {
		minutes = d.Settings.travel().Minutes(far.Km)
	}
	if road, known := c.onRoad()[catcher]; known {
		minutes = notify.OnRoad(road)
	}
	return time.Duration(minutes * float64(time.Minute))
}

const (
	standFor  = 3 * time.Hour    // how long a place that a catcher shares stands for where they are (judgement)
	afterSite = 45 * time.Minute // how long they are taken to be near a swarm that they are done with (judgement)
)

// here notes where a catcher says they are: from there they set out until it is old.
func (d *decision) here(p *Person, pin *Point) {
	k := d.catcher(p.Catcher)
	k.Stand = notify.Stand{Lat: roundedTo(pin.Lat, homeTo), Lon: roundedTo(pin.Lon, homeTo), Until: d.Now.Add(standFor)}
	d.tell(p.party(), notify.News, "here_noted", values{"Until": d.clock(p.party(), k.Stand.Until)})
}

// doneAt notes that k is about where c was, with the kit in the car. It is kept no more
// exactly than the ledger keeps places.
func (d *decision) doneAt(c *Call, k *Catcher) {
	if place := c.Answers.Place; place != nil && place.PrecisionM < intake.InWordsOnly {
		k.Stand = notify.Stand{Lat: roundedTo(place.Lat, placesTo), Lon: roundedTo(place.Lon, placesTo), Until: d.Now.Add(afterSite)}
	}
}
