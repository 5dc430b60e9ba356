package bot

import (
	"reflect"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// corrected takes in what a caller puts right while a catcher is on the way: the words go to
// the catcher as they are, and what was understood changes the answers. Another place rings,
// and the caller is told what the catcher now has, so that a wrong reading can be mended.
// False means that the text corrects nothing, or that nobody is on the way.
func (d *decision) corrected(p *Person, c *Call, e Said, newer intake.Answers) bool {
	if c.Stage != Taken || c.Holder == nil {
		return false
	}
	if e.Pin == nil && e.Text != "" && !intake.Corrects(e.Text) && !onlyPlace(e.Text, newer) {
		return false
	}
	before := c.Answers
	if newer.Place != nil && before.Place != nil && strings.EqualFold(newer.Place.Text, before.Place.Text) && newer.Place.Text != "" {
		newer.Place = nil
	}
	if e.Pin != nil && e.Pin.Title == "" && near(before.Place, newer.Place) {
		newer.Place.Text = before.Place.Text // the address stands, its point is better
	}
	c.Answers = c.Answers.Merge(newer)
	if reflect.DeepEqual(before, c.Answers) {
		return false
	}
	d.placed(p, c, before, e.Text)
	if d.beyond(p, c) {
		return true
	}
	d.assess(c)
	if text := strings.TrimSpace(e.Text); text != "" {
		d.relay(c, c.Holder.Party, c.Caller, text, d.callerName(c, c.Holder.Party))
	}
	still := notify.Still{Call: c.ID, Holder: c.Holder.Catcher}
	if !moved(c) {
		c.Briefed = c.Answers // the words have just told it
		if e.Pin != nil {
			d.pinHolder(c, still)
			d.tell(c.Caller, notify.News, "got_place", nil)
		}
		return true
	}
	was := d.exactly(c.Holder.Party, c.Briefed.Place)
	c.Briefed = c.Answers
	d.note(c, "place_changed")
	v := d.about(c, c.Holder.Party)
	v["Where"], v["Was"] = d.exact(c.Holder.Party, c), was
	d.tell(c.Holder.Party, notify.Claim, "update_place", v).Still = still
	d.pinHolder(c, still)
	v = d.about(c, c.Caller)
	v["Where"] = d.exact(c.Caller, c)
	d.tell(c.Caller, notify.News, "place_changed", v)
	return true
}

// near reports whether two points are one address: within its precision, or a garden's length.
func near(a, b *intake.Place) bool {
	const garden = 0.15 // km
	return a != nil && b != nil && a.Text != "" && a.PrecisionM < intake.InWordsOnly && intake.Km(*a, *b) <= max(garden, a.PrecisionM/1000)
}

// onlyPlace reports whether a text is nothing but the place that was read in it.
func onlyPlace(text string, a intake.Answers) bool {
	return a.Place != nil && a.Place.Text != "" && len(a.Place.Text)*10 >= len(strings.TrimSpace(text))*9
}
