package bot

import (
	"time"

	"skepline/notify"
	"skepline/triage"
)

// dusk is the reminder to collect the box. Several boxes of one catcher's evening are one
// message.
func (d *decision) dusk(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Boxed {
		return
	}
	boxes := d.inDrivingOrder(d.catcher(h.Catcher), d.boxesTonight(c))
	for _, b := range boxes {
		d.clear(b, "dusk")
		d.set(b, "lift", d.askLifted(b))
	}
	v := d.about(c, h.Party)
	v["Count"], v["Boxes"] = len(boxes), d.boxList(h.Party, boxes)
	key := "dusk"
	if d.eveningOf(c, d.now).Note != triage.DuskCivil {
		key = "dusk_light"
	}
	m := d.tell(h.Party, notify.Reminder, key, v)
	m.Still = notify.Still{Call: c.ID, Stages: []string{string(Boxed)}}
	m.NotAfter = d.Now.Add(6 * time.Hour)
	m.Buttons = rows(d.row(h.Party, c, "lifted", "tomorrow"), d.row(h.Party, c, "someone_else"))
	if len(boxes) > 1 && len(m.Buttons) > 0 {
		m.Buttons = [][]notify.Button{{{Label: d.say(h.Party, "button_lifted_all", nil), Says: "LIFTED ALL"}}}
	}
}

// boxesTonight returns the boxes that the call's holder has out, this one first.
func (d *decision) boxesTonight(c *Call) []*Call {
	k := d.catcher(c.Holder.Catcher)
	d.wantCalls(k.Holds)
	boxes := []*Call{c}
	for _, id := range k.Holds {
		if b := d.call(id); id != c.ID && b.heldBy(k.ID) && b.Stage == Boxed {
			boxes = append(boxes, b)
		}
	}
	return boxes
}

// notLifted is the timer of a box that should have been collected: a nudge tonight, one in
// the morning before the bees fly, then a steward.
func (d *decision) notLifted(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Boxed {
		return
	}
	h.Nudges++
	d.tell(h.Party, notify.Reminder, "nudge_lift", d.about(c, h.Party)).Buttons = rows(d.row(h.Party, c, "lifted", "tomorrow"), d.row(h.Party, c, "someone_else"))
	if h.Nudges > 1 {
		d.tellStewards("steward_box_out", d.about(c, Party{}), "")
	}
	d.set(c, "lift", d.morning(c))
	if d.now.Hour() >= 5 && d.now.Hour() < 12 {
		d.set(c, "lift", d.Now.Add(3*time.Hour)) // the morning of the day after: they fly by now
	}
}

// askLifted is when a holder is asked whether the box is home: half an hour after it should
// have been closed, in the morning where that is late at night.
func (d *decision) askLifted(c *Call) time.Time {
	at := d.eveningOf(c, d.now).To.Add(30 * time.Minute)
	if at.Hour() >= latestReminder || at.Hour() < 5 || !at.After(d.Now.Add(10*time.Minute)) {
		return d.morning(c)
	}
	return at
}

// morning is when a catcher is written to on the day after: soon after sunrise, never
// before the quiet hours end.
func (d *decision) morning(c *Call) time.Time {
	lat, lon := d.point(c)
	day := d.now
	if day.Hour() >= 5 {
		day = day.AddDate(0, 0, 1)
	}
	at := d.Settings.dispatch().QuietTo.Next(time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, day.Location()))
	if s := triage.SunOn(day, lat, lon); s.Rise.Add(30 * time.Minute).After(at) {
		at = s.Rise.Add(30 * time.Minute)
	}
	return at
}

// lifted is the box on its way home.
func (d *decision) lifted(c *Call) {
	d.move(c, Lifted)
	h := c.Holder
	h.Nudges = 0
	k := d.catcher(h.Catcher)
	k.Active = without(k.Active, c.ID)
	if c.OnSite.Lift == "" {
		c.OnSite.Lift = "evening"
	}
	d.clear(c, "eta", "dusk", "lift", "news", "try")
	d.set(c, "hive", d.morning(c))
	d.tell(h.Party, notify.Claim, "lifted_noted", d.about(c, h.Party))
	d.tell(c.Caller, notify.News, "lifted_caller", d.about(c, c.Caller))
}

// hive is the morning reminder to give the bees a home; later ones come in the evening.
func (d *decision) hive(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Lifted {
		return
	}
	h.Nudges++
	const reminders = 4
	if h.Nudges > reminders {
		d.note(c, "hiving_not_told")
		d.release(c)
		d.end(c, Lifted)
		return
	}
	m := d.tell(h.Party, notify.Reminder, "hive", d.about(c, h.Party))
	m.Buttons = rows(d.row(h.Party, c, "hived"))
	m.NotAfter = d.Now.Add(10 * time.Hour)
	d.set(c, "hive", d.Now.Add(11*time.Hour))
	if h.Nudges > 1 {
		d.set(c, "hive", d.Now.Add(24*time.Hour))
	}
}

// hived is the good end.
func (d *decision) hived(c *Call) {
	h := c.Holder
	d.move(c, Hived)
	d.tell(h.Party, notify.News, "hived_noted", d.about(c, h.Party))
	d.tell(c.Caller, notify.News, "hived_caller", d.about(c, c.Caller))
	if k := d.catcher(h.Catcher); k.ID != "" {
		d.planCare(c, k)
	}
	d.release(c)
	d.end(c, Hived)
}
