package bot

import (
	"time"

	"skepline/intake"
	"skepline/notify"
)

// A yes that can only start in an hour or more is no end of the search while bees may fly:
// it is kept as the fallback, and others are asked for a while. Whoever is sooner wins; when
// nobody is, the call is the fallback's. Until then nobody holds it, and nobody was told
// that it is theirs.

// kept returns the offer whose yes is the call's fallback, nil when there is none.
func (c *Call) kept() *Offer {
	for i := range c.Offers {
		if c.Offers[i].State == notify.AskFallback {
			return &c.Offers[i]
		}
	}
	return nil
}

// yes is a yes of k, to set out at starts, zero for now, when nobody holds c.
func (d *decision) yes(p *Person, c *Call, k *Catcher, starts time.Time) {
	f := c.kept()
	late := !starts.IsZero() && !c.heldBy(k.ID) && !c.InBox && notify.StartsLate(d.needs(c).Place, d.now, starts.In(d.now.Location()))
	switch {
	case !late:
		d.win(p, c, k, starts)
	case k.takesOn(d.now) >= k.JobsADay:
		d.change.Outcome = OutcomeFull
		d.tell(p.party(), notify.News, "enough_today", d.about(c, p.party()))
	case f == nil || f.Catcher == k.ID:
		d.keep(c, k, starts)
	case d.comes(c, c.offer(k.ID), starts).Before(d.comes(c, f, f.Starts)):
		d.inLine(c, f)
		to := f.Party
		d.keep(c, k, starts)
		key := "kept_behind"
		if c.Holder != nil {
			key = "kept_outrun" // nobody else was left to ask, and so it is k's already
		}
		d.tell(to, notify.Taken, key, d.about(c, to))
	default:
		d.standbyBehind(c, k, starts)
	}
}

// keep makes k's yes the fallback of c. The hour of decision never moves away when there was a
// fallback before: the caller has been told of it.
func (d *decision) keep(c *Call, k *Catcher, starts time.Time) {
	d.change.Outcome = OutcomeKept
	o := c.offer(k.ID)
	if o.State != notify.AskStandby && o.State != notify.AskFallback {
		k.Habits = k.Habits.SaidYes(o.Weight, o.State == notify.AskLapsed, d.now)
	}
	until := d.Now.Add(notify.FallbackHold(d.Now, starts) + time.Minute - time.Nanosecond).Truncate(time.Minute)
	if before := c.timer("fallback").At; !before.IsZero() && before.Before(until) {
		until = before
	}
	o.State, o.Answered, o.Starts, o.Until = notify.AskFallback, d.Now, starts, until
	k.Asks = append(without(k.Asks, c.ID), c.ID)
	k.Kept = append(without(k.Kept, c.ID), c.ID)
	d.note(c, "fallback "+k.ID)
	d.set(c, "fallback", until)
	d.clear(c, "news", "steward")
	c.Thin, c.Promised = false, until
	d.round(c)
	if o = c.kept(); o == nil {
		return // there was nobody else to ask, and it is theirs
	}
	v := d.about(c, o.Party)
	if o.Party.Address.Channel() == notify.Telegram && o.Message != "" {
		m := d.tell(o.Party, notify.Taken, "kept_edit", v)
		m.Edits, m.Silent = o.Message, true
	}
	key := "kept"
	if o.Next {
		key = "kept_next"
	}
	m := d.tell(o.Party, notify.Taken, key, v)
	m.Still = notify.Still{Call: c.ID, Stages: stageNames([]Stage{Looking})}
	m.Buttons = d.keptButtons(c, o)
	d.tell(c.Caller, notify.News, "kept_caller", d.about(c, c.Caller))
}

func (d *decision) keptButtons(c *Call, o *Offer) [][]notify.Button {
	if o.Party.Address.Channel() != notify.Telegram {
		return nil
	}
	return [][]notify.Button{{
		{Label: d.say(o.Party, "button_now", nil), Says: "TAKE " + c.Reference},
		{Label: d.say(o.Party, "button_pass_kept", nil), Says: "PASS " + c.Reference},
	}}
}

// settle is the end of the wait: the call is the fallback's, with everything that goes with
// it, and the caller hears the time.
func (d *decision) settle(c *Call) {
	o := c.kept()
	if o == nil || c.Stage != Looking {
		return
	}
	k := d.catcher(o.Catcher)
	if k.takesOn(d.now) >= k.JobsADay {
		// They have taken another one meanwhile, and that was enough for them.
		d.tell(o.Party, notify.News, "enough_today", d.about(c, o.Party))
		d.notComing(c, o, notify.AskPassed)
		return
	}
	starts := o.Starts
	if free := d.freeFrom(k); free.After(starts) { // another job came between, or takes longer
		starts = free
	}
	d.win(d.personByID(o.Party.Person), c, k, starts)
}

// outrun tells the fallback that w was sooner: thanks, and first in line.
func (d *decision) outrun(c *Call, w *Catcher) {
	o := c.kept()
	if o == nil || o.Catcher == w.ID {
		return
	}
	d.inLine(c, o)
	if o.Party.Address.Channel() == notify.Telegram && o.Message != "" {
		m := d.tell(o.Party, notify.Taken, "taken_edit", d.about(c, o.Party))
		m.Edits, m.Silent = o.Message, true
	}
	d.tell(o.Party, notify.Taken, "kept_outrun", d.about(c, o.Party))
}

// inLine makes a fallback a standby.
func (d *decision) inLine(c *Call, o *Offer) {
	k := d.catcher(o.Catcher)
	o.State, o.Until = notify.AskStandby, time.Time{}
	k.Asks, k.Kept = without(k.Asks, c.ID), without(k.Kept, c.ID)
}

// standbyBehind is a late yes behind a fallback who will be there sooner.
func (d *decision) standbyBehind(c *Call, k *Catcher, starts time.Time) {
	d.change.Outcome = OutcomeLate
	o := c.offer(k.ID)
	if o.State != notify.AskStandby {
		k.Habits = k.Habits.SaidYes(o.Weight, o.State == notify.AskLapsed, d.now)
	}
	o.State, o.Answered, o.Starts = notify.AskStandby, d.Now, starts
	k.Asks = without(k.Asks, c.ID)
	d.tell(o.Party, notify.Taken, "kept_behind", d.about(c, o.Party))
}

// notComing notes that an open offer, or a yes that was kept, comes to nothing. Others are
// asked; a caller who was told of a fallback hears.
func (d *decision) notComing(c *Call, o *Offer, state notify.AskState) {
	kept, name := o.State == notify.AskFallback, o.Name
	k := d.catcher(o.Catcher)
	o.State, o.Answered, o.Starts, o.Until = state, d.Now, time.Time{}, time.Time{}
	k.Asks, k.Kept = without(k.Asks, c.ID), without(k.Kept, c.ID)
	if !kept {
		d.round(c)
		return
	}
	d.clear(c, "fallback")
	asked := d.round(c)
	switch {
	case c.Thin || c.Holder != nil:
		// The caller has heard how it stands.
	case asked > 0 || c.openOffers() > 0:
		d.promise(c, newsEvery)
		v := d.about(c, c.Caller)
		v["Holder"] = name
		d.tell(c.Caller, notify.News, "dropped_caller", v)
	default:
		d.waits(c)
	}
}

// comes is when o's catcher would be there, setting out at starts.
func (d *decision) comes(c *Call, o *Offer, starts time.Time) time.Time {
	if starts.Before(d.Now) {
		starts = d.Now
	}
	return roundUp(starts.Add(d.drive(c, o.Catcher, o.Far)).In(d.now.Location()))
}

// minutesTo is how many whole minutes away t is, at least one.
func (d *decision) minutesTo(t time.Time) int { return max(1, int(t.Sub(d.Now).Minutes()+0.5)) }

// startOf is when a TAKE says that its catcher sets out, zero for now.
func (d *decision) startOf(cmd intake.Command) time.Time {
	if cmd.Minutes == 0 {
		return time.Time{}
	}
	return d.Now.Add(time.Duration(cmd.Minutes) * time.Minute)
}
