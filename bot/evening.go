package bot

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// evening is when a box is fetched on one local date.
type evening struct {
	Sunset   time.Time // zero: the sun does not set
	From, To time.Time // the last scouts are home; it is still light enough to drive off
	Note     triage.DuskNote
}

// latestReminder is the local hour after which nobody is reminded to go out, however late
// the sun sets (judgement).
const latestReminder = 22

// eveningOf is the evening of day at a call: 20 minutes after sunset until civil dusk. Where
// the sun sets late or not at all it is ten o'clock, and still light.
func (d *decision) eveningOf(c *Call, day time.Time) evening {
	lat, lon := d.point(c)
	return d.eveningAt(lat, lon, day)
}

func (d *decision) eveningAt(lat, lon float64, day time.Time) evening {
	sun := triage.SunOn(day, lat, lon)
	dusk, note := sun.Dusk(day)
	e := evening{Sunset: sun.Set, Note: note}
	late := time.Date(day.Year(), day.Month(), day.Day(), latestReminder, 0, 0, 0, day.Location())
	switch {
	case sun.Set.IsZero() && note == triage.DuskCivil: // polar night: the end of what light there is
		e.From, e.To = dusk, dusk.Add(30*time.Minute)
	case sun.Set.IsZero():
		e.From, e.To = late, late.Add(30*time.Minute)
	case sun.Set.After(late):
		e.From, e.To, e.Note = late, late.Add(30*time.Minute), triage.DuskStillLight
	default:
		e.From, e.To = notify.FetchTimes(sun.Set, dusk)
	}
	return e
}

// homeAfter is how long after sunset the last scouts are home: the box is closed from then
// until civil dusk (common practice; the minutes are judgement).
const homeAfter = 20 * time.Minute

// sunset is what people call sunset today at the call.
func (d *decision) sunset(c *Call) time.Time { return d.sunsetAt(d.point(c)) }

func (d *decision) sunsetAt(lat, lon float64) time.Time {
	e := d.eveningAt(lat, lon, d.now)
	if e.Sunset.IsZero() {
		return e.From
	}
	return e.Sunset
}

// remindAt is when the holder is reminded to fetch the box: at sunset, which is 20 minutes
// before it is closed, or sooner by as much as their drive is longer.
func (d *decision) remindAt(c *Call, day time.Time) time.Time {
	e := d.eveningOf(c, day)
	at := e.From.Add(-homeAfter)
	if !e.Sunset.IsZero() && e.Sunset.Before(at) {
		at = e.Sunset
	}
	if far := d.far(d.catcher(c.Holder.Catcher), c); far.Km >= 0 {
		drive := d.drive(c, c.Holder.Catcher, far).Truncate(time.Minute)
		at = at.Add(-max(0, drive-homeAfter))
	}
	return at.Truncate(time.Minute)
}

// inDrivingOrder puts the boxes of an evening in the order in which one drives: from home to
// the nearest, from there to the nearest, boxes known in words only last.
func (d *decision) inDrivingOrder(k *Catcher, boxes []*Call) []*Call {
	lat, lon := k.Lat, k.Lon
	left := slices.Clone(boxes)
	slices.SortFunc(left, func(a, b *Call) int { return cmp.Compare(a.Reference, b.Reference) })
	var order []*Call
	for len(left) > 0 {
		best, shortest := 0, math.Inf(1)
		for i, c := range left {
			if p := c.Answers.Place; p != nil && d.far(k, c).Km >= 0 {
				if km := notify.DistanceKm(lat, lon, p.Lat, p.Lon); km < shortest {
					best, shortest = i, km
				}
			}
		}
		next := left[best]
		if p := next.Answers.Place; p != nil && !math.IsInf(shortest, 1) {
			lat, lon = p.Lat, p.Lon
		}
		order, left = append(order, next), slices.Delete(left, best, best+1)
	}
	return order
}

// liftTomorrow is a box that stays out tonight: it is fetched before the bees fly. Nobody is
// woken; whether it is home is asked in the morning.
func (d *decision) liftTomorrow(c *Call) {
	h := c.Holder
	rise := d.sunrise(c)
	d.note(c, "lift_tomorrow")
	c.OnSite.Lift = "morning"
	d.clear(c, "dusk", "lift")
	d.set(c, "lift", d.morning(c))
	h.Nudges = 0
	v := d.about(c, h.Party)
	v["Clock"] = d.clock(h.Party, rise)
	d.tell(h.Party, notify.Claim, "tomorrow_noted", v).Buttons = rows(d.row(h.Party, c, "lifted", "someone_else"))
	v = d.about(c, c.Caller)
	v["Clock"] = d.clock(c.Caller, rise)
	d.tell(c.Caller, notify.News, "tomorrow_caller", v)
}

// sunrise is the next sunrise at the call; where there is none, five o'clock.
func (d *decision) sunrise(c *Call) time.Time {
	lat, lon := d.point(c)
	for days := range 2 {
		day := d.now.AddDate(0, 0, days)
		rise := triage.SunOn(day, lat, lon).Rise
		if rise.IsZero() {
			const early = 5
			rise = time.Date(day.Year(), day.Month(), day.Day(), early, 0, 0, 0, day.Location())
		}
		if rise.After(d.Now) {
			return rise
		}
	}
	return d.now.AddDate(0, 0, 1)
}

// someoneElse gives a box that stands at the site to another catcher, who has it as boxed
// from the moment they take it.
func (d *decision) someoneElse(c *Call) {
	h := c.Holder
	k := d.catcher(h.Catcher)
	c.InBox = true
	d.tell(h.Party, notify.News, "else_noted", d.about(c, h.Party))
	d.tellStewards("steward_box_else", d.about(c, Party{}), h.Party.Person)
	d.drop(c, k, "someone_else")
}

// takesOverBox is a take of a box that waits at a site: it is at once the new holder's.
func (d *decision) takesOverBox(c *Call) {
	if !c.InBox {
		return
	}
	d.move(c, Boxed)
	h := c.Holder
	k := d.catcher(h.Catcher)
	k.Active = without(k.Active, c.ID)
	d.clear(c, "eta", "news")
	d.set(c, "dusk", d.collectAt(c))
	if place := c.Answers.Place; place != nil && place.PrecisionM < intake.InWordsOnly && words(h.Party).Chat {
		pin := d.send(h.Party, notify.Claim, "")
		pin.Pin = &notify.Pin{Lat: place.Lat, Lon: place.Lon, Title: c.Reference, Address: d.exact(h.Party, c)}
		pin.Still = notify.Still{Call: c.ID, Holder: h.Catcher}
	}
	d.tell(h.Party, notify.Claim, "box_yours", d.about(c, h.Party)).Buttons =
		rows(d.row(h.Party, c, "lifted", "tomorrow"), d.row(h.Party, c, "someone_else"))
	d.tell(c.Caller, notify.News, "box_taken_caller", d.about(c, c.Caller))
}

// boxList is the lines of several boxes.
func (d *decision) boxList(p Party, boxes []*Call) string {
	lines := make([]string, len(boxes))
	for i, b := range boxes {
		lines[i] = b.Reference + " " + d.exact(p, b)
		if len(boxes) > 1 {
			lines[i] = itoa(i+1) + " " + lines[i]
		}
	}
	return strings.Join(lines, ", ")
}

// liftedAll is one word for all the boxes of an evening, and gets one answer.
func (d *decision) liftedAll(p *Person) bool {
	k := d.catcher(p.Catcher)
	d.wantCalls(k.Holds)
	var boxes []*Call
	for _, id := range slices.Clone(k.Holds) {
		if c := d.call(id); c.heldBy(k.ID) && c.Stage == Boxed {
			boxes = append(boxes, c)
		}
	}
	switch len(boxes) {
	case 0:
		d.idle(p, "nothing_held", nil)
		return true
	case 1:
		d.lifted(boxes[0])
		return true
	}
	var refs []string
	for _, c := range d.inDrivingOrder(k, boxes) {
		d.takesHome(c)
		refs = append(refs, c.Reference)
	}
	d.tell(p.party(), notify.Claim, "lifted_all_noted", values{"Count": len(refs), "List": strings.Join(refs, ", ")})
	return true
}
