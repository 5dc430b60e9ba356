package bot

import (
	"reflect"
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// corrected takes in what a caller puts right while a catcher is on the way: the words go to
// the catcher as they are, and what was understood changes the answers. Another place rings,
// and the caller is told what the catcher now has, so that a wrong reading can be mended.
// False means that the text corrects nothing, or that nobody is on the way.
func (d *decision) corrected(p *Person, c *Call, e Said, heard intake.Heard) bool {
	newer := &heard.Answers
	if c.Stage != Taken || c.Holder == nil {
		return false
	}
	if e.Pin == nil && e.Text != "" && !intake.Corrects(e.Text) && !onlyPlace(e.Text, *newer) {
		return false
	}
	before := c.Answers
	if newer.Place != nil && before.Place != nil && strings.EqualFold(newer.Place.Text, before.Place.Text) && newer.Place.Text != "" {
		newer.Place = nil
	}
	if e.Pin != nil && e.Pin.Title == "" && near(before.Place, newer.Place) {
		newer.Place.Text = before.Place.Text // the address stands, its point is better
	}
	c.Answers = heard.Over(c.Answers)
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

// correctsBefore reads "sorry, nobody" as an answer to the question before q, and asks q
// again.
func (d *decision) correctsBefore(p *Person, c *Call, e Said, q intake.Question) bool {
	at := slices.Index(p.Talk.Asked, q)
	if at < 1 || !intake.Corrects(e.Text) {
		return false
	}
	before := p.Talk.Asked[at-1]
	s := d.setting(p)
	s.Waiting = before
	heard, ok := intake.ReadAnswer(before, e.Text, s)
	if !ok || len(intake.Options(before)) == 0 {
		return false
	}
	d.hear(p, c, heard, "", e.Text)
	return true
}

// asksAgain lets a must-ask be put again that the caller passed over to tell or to correct
// something else; twice, then we go on without it.
func (p *Person) asksAgain(c *Call) {
	const most = 2
	q := p.Talk.Waiting
	if c.Stage == Asking && slices.Contains(intake.MustAsk, q) && !c.Answers.Told(q) && p.Talk.Passed < most {
		p.Talk.Passed++
		p.Talk.Asked = without(p.Talk.Asked, q)
	}
}

// gotLater says thanks for a place that comes after catchers were asked.
func (d *decision) gotLater(c *Call, before intake.Answers, q intake.Question) string {
	if c.Stage == Asking || before.Place != nil || c.Answers.Place == nil || q == intake.AskPlace {
		return ""
	}
	return d.say(c.Caller, "got_place", nil)
}

// addsToPlace keeps a point that we have when the words that came later name no other: they
// are kept beside it, as words for the way in.
func (d *decision) addsToPlace(p *Person, c *Call, old *intake.Place, text string) {
	s, now := d.setting(p), c.Answers.Place
	if old == nil || c.Area || s.Unlocated(old) || !s.Unlocated(now) || now.Text == "" || len(p.Talk.Spots) > 0 {
		return
	}
	if _, named := intake.ReadPlace(text, s); named {
		return
	}
	if words := now.Text; c.Answers.Access == "" || c.Answers.Access == intake.NothingSpecial {
		c.Answers.Access = clip(words)
	} else {
		c.Answers.Access = clip(c.Answers.Access + "; " + words)
	}
	c.Answers.Place, c.LookedUp = old, old.Text
}
