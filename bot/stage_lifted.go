package bot

import (
	"slices"
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
		d.set(b, "lift", d.askLifted(c)) // at one time, so that it is one question
	}
	v := d.about(c, h.Party)
	v["Count"], v["Boxes"] = len(boxes), d.boxList(h.Party, boxes)
	key := "dusk"
	if d.eveningOf(c, d.now).Note != triage.DuskCivil {
		key = "dusk_light"
	}
	text := d.say(h.Party, key, v)
	if d.warmEvening(c) {
		text += " " + d.say(h.Party, "dusk_warm", nil)
	}
	m := d.send(h.Party, notify.Reminder, text)
	m.Still = notify.Still{Call: c.ID, Stages: []string{string(Boxed)}}
	m.NotAfter = d.Now.Add(6 * time.Hour)
	m.Buttons = rows(d.row(h.Party, c, "lifted", "tomorrow"), d.row(h.Party, c, "someone_else"))
	if len(boxes) > 1 && len(m.Buttons) > 0 {
		m.Buttons = d.liftedAllButton(h.Party)
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
	next := d.morning(c)
	if d.now.Hour() >= 5 && d.now.Hour() < 12 {
		next = d.Now.Add(3 * time.Hour) // the morning of the day after: they fly by now
	}
	asked := slices.DeleteFunc(d.boxesTonight(c), func(b *Call) bool {
		return b != c && b.timer("lift").At.After(d.Now) // another evening's, or asked about later
	})
	asked = d.inDrivingOrder(d.catcher(h.Catcher), asked)
	v := d.about(c, h.Party)
	v["Count"], v["Boxes"] = len(asked), d.boxList(h.Party, asked)
	m := d.tell(h.Party, notify.Reminder, "nudge_lift", v)
	m.Buttons = rows(d.row(h.Party, c, "lifted", "tomorrow"), d.row(h.Party, c, "someone_else"))
	if len(asked) > 1 && len(m.Buttons) > 0 {
		m.Buttons = d.liftedAllButton(h.Party)
	}
	for _, b := range asked {
		if b.Holder.Nudges++; b.Holder.Nudges > 1 {
			d.tellStewards("steward_box_out", d.about(b, Party{}), "")
		}
		d.set(b, "lift", next)
	}
}

func (d *decision) liftedAllButton(p Party) [][]notify.Button {
	return [][]notify.Button{{{Label: d.say(p, "button_lifted_all", nil), Says: "LIFTED ALL"}}}
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

// lifted is the box on its way home. Closed bees overheat by day, so that comes first; and the
// next morning goes one way with frames and another without.
func (d *decision) lifted(c *Call) {
	d.takesHome(c)
	p := c.Holder.Party
	v := d.about(c, p)
	key, byDay := "lifted_noted", d.hotByDay(c)
	if byDay {
		key = "lifted_by_day"
	}
	text := d.say(p, key, v)
	if c.OnSite.Frames == "" {
		text += " " + d.say(p, "frames_ask", v)
	}
	if c.OnSite.Size == "" && !words(p).Chat && !byDay { // in chat there were buttons
		text += " " + d.say(p, "size_ask", v)
	}
	m := d.send(p, notify.Claim, text)
	if c.OnSite.Frames == "" {
		m.Buttons = rows(d.row(p, c, "frames", "no_frames"))
	}
}

// takesHome notes that a box is on its way, and tells the caller.
func (d *decision) takesHome(c *Call) {
	d.move(c, Lifted)
	h := c.Holder
	h.Nudges = 0
	k := d.catcher(h.Catcher)
	busy := slices.Contains(k.Active, c.ID)
	k.Active = without(k.Active, c.ID)
	if c.OnSite.Lift == "" {
		c.OnSite.Lift = "evening"
	}
	d.clear(c, "eta", "dusk", "lift", "news", "try")
	if c.OnSite.Frames == "" {
		c.OnSite.Frames = framesByKit(k)
	}
	d.set(c, "hive", d.morning(c))
	d.tell(c.Caller, notify.News, "lifted_caller", d.about(c, c.Caller))
	if busy {
		d.freed(k)
	}
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
	key := "hive"
	if c.OnSite.Frames != "" {
		key = "hive_frames_" + c.OnSite.Frames
	}
	m := d.tell(h.Party, notify.Reminder, key, d.about(c, h.Party))
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
