package bot

import (
	"time"

	"skepline/notify"
	"skepline/triage"
)

// there is the holder on site, by their own word or the caller's.
func (d *decision) there(c *Call, byCaller bool) {
	if c.Stage != Taken {
		d.change.Outcome = OutcomeStale
		return
	}
	d.move(c, There)
	// From here on nothing is released by silence; a steward is told instead.
	d.set(c, "eta", d.Now.Add(3*time.Hour))
	d.clear(c, "news")
	h := c.Holder
	d.tell(h.Party, notify.Claim, "there_noted", d.about(c, h.Party)).Buttons =
		rows(d.row(h.Party, c, "boxed", "not_bees"), d.row(h.Party, c, "too_high", "unsafe"), d.row(h.Party, c, "colony", "flown"), d.row(h.Party, c, "drop"))
	p := d.personByID(c.Caller.Person)
	if p.Talk.Waiting == askArrived || p.Talk.Waiting == askPhone {
		p.Talk.Waiting = ""
	}
	key := "there_caller"
	if byCaller {
		key = "arrived_thanks"
	}
	d.tell(c.Caller, notify.News, key, d.about(c, c.Caller))
}

// stuck is the timer of a holder who has been at the swarm for hours without a word.
func (d *decision) stuck(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != There {
		return
	}
	h.Nudges++
	d.tell(h.Party, notify.Reminder, "nudge_there", d.about(c, h.Party)).Buttons =
		rows(d.row(h.Party, c, "boxed", "not_bees"), d.row(h.Party, c, "flown", "drop"))
	d.tellStewards("steward_stuck", d.about(c, Party{}), "")
	d.set(c, "eta", d.Now.Add(12*time.Hour))
}

// boxed is the cluster in a box. It stays until dusk, so that the last ones come home; the
// catcher is free for another call meanwhile.
func (d *decision) boxed(c *Call) {
	again := c.Stage == Boxed
	d.move(c, Boxed)
	h := c.Holder
	k := d.catcher(h.Catcher)
	c.OnSite.Triage = "right"
	d.clear(c, "try")
	k.Active = without(k.Active, c.ID)
	d.doneAt(c, k)
	d.clear(c, "eta", "news")
	d.set(c, "dusk", d.collectAt(c))
	d.tell(h.Party, notify.Claim, "boxed_noted", d.about(c, h.Party)).Buttons = rows(d.sizeButtons(h.Party, c), d.row(h.Party, c, "lifted", "retry"))
	if again {
		return // out and in once more: the caller knows the rest
	}
	c.Told = append(c.Told, triage.BoxStays)
	d.tell(c.Caller, notify.News, "boxed_caller", d.about(c, c.Caller))
	d.freed(k)
}

// collectAt is when the dusk reminder goes out; soon, when the sun is down already.
func (d *decision) collectAt(c *Call) time.Time {
	at := d.remindAt(c, d.now)
	if !at.After(d.Now.Add(10 * time.Minute)) {
		at = d.Now.Add(10 * time.Minute)
	}
	return at
}

// point is where the call is, the hotline's centre when nobody said.
func (d *decision) point(c *Call) (lat, lon float64) {
	if p := c.Answers.Place; p != nil {
		return p.Lat, p.Lon
	}
	return d.Settings.Latitude, d.Settings.Longitude
}

// flown is the swarm gone, as the holder sees it.
func (d *decision) flown(c *Call) {
	h := c.Holder
	d.tell(h.Party, notify.News, "flown_noted", d.about(c, h.Party))
	d.tell(c.Caller, notify.News, "flown_caller", d.about(c, c.Caller))
	c.OnSite.Triage = "flown"
	d.standDown(c)
	d.release(c)
	d.end(c, Flown)
}

// notBees is what the holder found: not honey bees after all. A kind that they named is not
// asked again.
func (d *decision) notBees(c *Call, kind triage.Kind) {
	c.OnSite.Triage = "wrong_kind"
	if kind == "" {
		d.asksFound(c)
	} else {
		c.Found = kind
		d.note(c, "found "+string(kind))
		d.tell(c.Holder.Party, notify.News, "found_noted", d.about(c, c.Holder.Party))
	}
	if kind == triage.BumbleBee || kind == triage.GroundBee { // nobody needs to come for these
		d.tell(c.Caller, notify.News, "redirect_"+string(kind), d.help(""))
	} else {
		d.tell(c.Caller, notify.News, "not_bees_caller", d.help("wasps"))
	}
	d.turnDown(c, "not_bees", PassedOn)
}

// release takes the call off its holder's list.
func (d *decision) release(c *Call) {
	if c.Holder == nil {
		return
	}
	if k := d.catcher(c.Holder.Catcher); k.ID != "" {
		k.let(c.ID)
		if c.Stage == There {
			d.doneAt(c, k)
		}
		d.freed(k)
	}
}
