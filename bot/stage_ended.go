package bot

import (
	"time"

	"skepline/intake"
	"skepline/notify"
)

// move takes the call to its next stage.
func (d *decision) move(c *Call, next Stage) {
	if c.Stage == next {
		return
	}
	if !c.Stage.MayMove(next) {
		panic("a call cannot go from " + string(c.Stage) + " to " + string(next))
	}
	c.Stage = next
	d.note(c, string(next))
	c.Reached = append(c.Reached, Line{At: d.now.UTC().Truncate(time.Second), What: string(next)})
}

// end closes the call: no timer is left, its caller is free to report another one, and it
// goes into the ledger.
func (d *decision) end(c *Call, last Stage) {
	d.move(c, last)
	c.Ended, c.Held = d.Now, ""
	d.clear(c)
	d.change.Closed = append(d.change.Closed, Closed{c.ID, d.Now})
	p := d.personByID(c.Caller.Person)
	d.willScrub(c, p)
	if p.Call != c.ID {
		return
	}
	p.Call = ""
	p.Last = LastCall{ID: c.ID, Ended: d.Now, Place: area(c)}
	if last != Unfinished {
		p.Talk = Talk{}
	}
}

// gone is the caller's word that the swarm left. Its catcher hears at once, by a message
// that rings.
func (d *decision) gone(p *Person, cmd intake.Command) bool {
	c := d.openCall(p)
	if c == nil {
		return false
	}
	if c.Joined != "" {
		d.alsoGone(c)
		return true
	}
	if h := c.Holder; h != nil {
		if c.Stage == Lifted || c.Stage == Boxed {
			// In the box or on the way home: the catcher knows better what flies there.
			d.tell(h.Party, notify.Claim, "caller_says_gone", d.about(c, h.Party))
			d.tell(c.Caller, notify.News, "gone_boxed", d.about(c, c.Caller))
			return true
		}
		d.tell(h.Party, notify.Claim, "gone_holder", d.about(c, h.Party))
		d.release(c)
	}
	d.lapseOffers(c, "gone")
	d.tell(c.Caller, notify.News, "gone_caller", d.about(c, c.Caller))
	d.end(c, Flown)
	return true
}

// status says how the caller's swarm stands.
func (d *decision) status(p *Person, c *Call) {
	if c.Joined != "" {
		d.wordOf(c, d.call(c.Joined), "also")
		return
	}
	key := "status_looking"
	switch {
	case c.Held != "" || c.Stage == Asking:
		key = "status_held"
	case c.Holder != nil && c.Holder.ETA.IsZero() && c.Stage == Taken:
		key = "status_taken"
	case c.Stage == Taken:
		key = "status_eta"
	case c.Holder != nil:
		key = "status_there"
	case c.kept() != nil:
		key = "status_kept"
	case c.Referred || c.Thin:
		key = "status_nobody"
	}
	d.tell(c.Caller, notify.News, key, d.about(c, c.Caller))
}

// news is the timer of a promise to a waiting caller: they hear how it stands, and when
// they hear again.
func (d *decision) news(c *Call) {
	switch {
	case c.Stage == Looking && !c.Thin:
		d.promise(c, d.newsAgain(c.Opened))
		d.tell(c.Caller, notify.News, "still_looking", d.about(c, c.Caller))
	case c.Stage == Taken && c.Holder.ETA.IsZero():
		d.promise(c, d.newsAgain(c.Holder.Taken))
		d.tell(c.Caller, notify.News, "no_eta_yet", d.about(c, c.Caller))
	}
}

// newsAgain is how long until the next word that nothing is new: longer and longer, for a
// holder who never says when would otherwise have the caller told so sixty times a day; and
// not by night.
func (d *decision) newsAgain(since time.Time) time.Duration {
	wait := newsEvery
	if waited := d.Now.Sub(since); waited > 2*time.Hour {
		wait = min(waited, 12*time.Hour)
	}
	at, quiet := d.now.Add(wait), d.Settings.dispatch()
	if notify.Quiet(at, quiet.QuietFrom, quiet.QuietTo) {
		at = quiet.QuietTo.Next(at)
	}
	return at.Sub(d.now)
}

// lapse lets a call go that nobody took in time.
func (d *decision) lapse(c *Call) {
	if c.Holder != nil || !c.Ended.IsZero() {
		return
	}
	v := d.about(c, c.Caller)
	v["Help"] = d.Settings.Refer(d.purpose(c))
	d.tell(c.Caller, notify.News, "lapsed", v)
	d.lapseOffers(c, "offer_withdrawn")
	if c.Stage == Asking {
		d.end(c, PassedOn)
		return
	}
	d.end(c, LeftAlone)
}
