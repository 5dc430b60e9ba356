package bot

import (
	"slices"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// late is the timer of a holder who has not said when they come, or has not come: one nudge,
// then the caller is asked. Only the caller's "not yet", or silence of both sides, releases
// the call; whoever may be there is found by a person.
func (d *decision) late(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Taken {
		return
	}
	h.Nudges++
	switch {
	case h.ETA.IsZero() && h.Nudges == 1:
		d.tell(h.Party, notify.Claim, "nudge_eta", d.about(c, h.Party)).Buttons = d.etaButtons(h.Party, c)
		d.set(c, "eta", d.Now.Add(lateAfter))
	case h.Nudges == 1:
		d.tell(h.Party, notify.Claim, "nudge_late", d.about(c, h.Party)).Buttons =
			append(rows(d.row(h.Party, c, "there", "not_bees")), d.etaButtons(h.Party, c)...)
		d.set(c, "eta", d.Now.Add(askCaller))
	case h.Nudges == 2:
		q := d.personByID(c.Caller.Person)
		d.tell(c.Caller, notify.News, "has_arrived", d.about(c, c.Caller)).Buttons = d.answerButtons(c.Caller, askArrived)
		q.Talk.Waiting, h.Heard = askArrived, q.Stopped // who cannot be asked is not silent
		d.set(c, "eta", d.Now.Add(wellLate))
	case h.Nudges == 3 && !h.Heard:
		d.releaseSilent(c)
	case h.Nudges == 3:
		d.tellStewards("steward_late", d.about(c, Party{}), "")
		d.set(c, "eta", d.Now.Add(time.Hour))
	case h.Nudges < 12:
		d.tell(h.Party, notify.Claim, "nudge_late", d.about(c, h.Party))
		d.set(c, "eta", d.Now.Add(2*time.Hour))
	default:
		d.tellStewards("steward_late", d.about(c, Party{}), "")
		d.set(c, "eta", d.Now.Add(24*time.Hour))
	}
}

// releaseSilent gives a call back that neither its holder nor its caller answers about. The
// holder hears it aloud, the stewards are asked to phone: somebody may be hurt.
func (d *decision) releaseSilent(c *Call) {
	h := *c.Holder
	k := d.catcher(h.Catcher)
	d.tell(h.Party, notify.Claim, "released_silent", d.about(c, h.Party)).Buttons = d.backButtons(h.Party, c)
	d.tellStewards("steward_released", d.about(c, Party{}), h.Party.Person)
	k.Released = c.ID
	d.drop(c, k, "silent")
}

// backButtons are what somebody can say who was late and is not lost.
func (d *decision) backButtons(p Party, c *Call) [][]notify.Button {
	return rows(d.row(p, c, "there"), d.minutesRow(p, c))
}

// heard notes a sign of life about a holder who is late. A holder who writes is nudged once
// more before the caller is asked.
func (d *decision) heard(c *Call, byHolder bool) {
	h := c.Holder
	if h == nil || c.Stage != Taken || h.Nudges == 0 {
		return
	}
	h.Heard = true
	if byHolder {
		h.Nudges = 0
		d.set(c, "eta", d.Now.Add(lateAfter))
	}
}

// backAfterAll is a word of the job from somebody whose call was released because nobody
// heard of them: when nobody else has it, it is theirs as if nothing had been.
func (d *decision) backAfterAll(p *Person, cmd intake.Command) bool {
	k := d.catcher(p.Catcher)
	if k.Released == "" || !slices.Contains(wordStages[cmd.Word], Taken) || cmd.Word == intake.WordDrop {
		return false
	}
	c := d.call(k.Released)
	if c.ID == "" || !c.Ended.IsZero() || cmd.Reference != "" && cmd.Reference != c.Reference {
		return false
	}
	if c.Holder != nil {
		d.change.Outcome = OutcomeLate
		d.tell(p.party(), notify.News, "released_late", d.about(c, p.party()))
		d.tellStewards("steward_two_there", d.about(c, Party{}), p.ID)
		return true
	}
	if c.Stage != Looking || c.offer(k.ID) == nil || k.takesOn(d.now) >= k.JobsADay+1 {
		return false
	}
	d.hasItAgain(c, k)
	d.onCall(p, c, cmd)
	return true
}

// hasItAgain makes k the holder once more, with the word that the caller was told before.
// The take counts anew, so that a day may hold one more of them than of jobs.
func (d *decision) hasItAgain(c *Call, k *Catcher) {
	o := c.offer(k.ID)
	k.Released = ""
	k.Takes = k.Takes[:max(0, len(k.Takes)-1)]
	word := d.checkWord(c)
	d.outrun(c, k)
	d.move(c, Taken)
	o.State, o.Answered = notify.AskTaken, d.Now
	k.took(c.ID, d.Now)
	c.Epoch++
	c.Holder = &Holder{Catcher: k.ID, Name: k.Name, Party: d.catcherParty(k), Taken: d.Now, Word: word}
	c.Held = ""
	d.clear(c, "round", "steward", "lapse", "news", "fallback")
	d.set(c, "eta", d.Now.Add(etaWithin))
	d.note(c, "back_after_all "+k.ID)
	d.lapseOffers(c, "taken")
}

// askInLine puts a call that came free again to the best of those in line, one after the
// other; when there are none, to those who had not answered when it was taken.
func (d *decision) askInLine(c *Call) int {
	var line []notify.Waiting
	var silent []string
	var keys []Key
	for _, o := range c.Offers {
		switch o.State {
		case notify.AskStandby:
			line = append(line, notify.Waiting{Catcher: o.Catcher, Arrives: d.comes(c, &o, o.Starts), Said: o.Answered})
		case notify.AskLapsed:
			silent = append(silent, o.Catcher)
		default:
			continue
		}
		keys = append(keys, Key{KindCatcher, o.Catcher})
	}
	d.want(keys...)
	for _, id := range notify.InLine(line) {
		if d.askOnceMore(c, id) {
			return 1
		}
	}
	if c.openOffers() > 0 {
		return 0
	}
	n := 0
	for _, id := range silent {
		if d.askOnceMore(c, id) {
			n++
		}
	}
	return n
}

// askOnceMore puts a call to somebody who knows of it, if they can be asked now.
func (d *decision) askOnceMore(c *Call, id string) bool {
	k, o := d.catcher(id), c.offer(id)
	if k.ID == "" || k.Address == "" || k.AwayUntil.After(d.Now) || len(k.Active) > 0 || d.far(k, c).Km > k.ReachKm {
		return false
	}
	o.Ask, o.Message = notify.Ask{Catcher: id, At: d.Now, State: notify.AskOpen, Weight: o.Weight, P: o.P, Way: o.Way, Before: o.Before}, ""
	o.Until, o.Gain, o.Cost = time.Time{}, 0, 0
	k.asked(c.ID, d.Now)
	d.sendOffer(c, o)
	return true
}

// canGive reports whether a steward may give c to somebody: nobody holds it, or nobody can
// reach who does.
func (d *decision) canGive(c *Call) bool {
	switch {
	case c.Holder == nil:
		return true
	case d.lost(c):
		return c.Stage == Taken || c.Stage == There
	}
	return c.Stage == Taken && c.Holder.Nudges >= 2
}

// lost reports whether c's holder has left the roster, or all texts.
func (d *decision) lost(c *Call) bool {
	k := d.catcher(c.Holder.Catcher)
	return k.Address == "" || d.personByID(c.Holder.Party.Person).Stopped
}

// replaces takes a call from a holder whom nobody can reach, by a steward's word.
func (d *decision) replaces(c *Call) {
	h := c.Holder
	if h == nil {
		return
	}
	k, name, lost := d.catcher(h.Catcher), h.Name, d.lost(c)
	if !lost {
		d.tell(h.Party, notify.Claim, "released_steward", d.about(c, h.Party)).Buttons = d.backButtons(h.Party, c)
		k.Released = c.ID
	}
	d.giveBack(c, k, "replaced")
	v := d.about(c, c.Caller)
	c.Promised = roundUp(d.Now.Add(newsEvery))
	v["Holder"], v["By"] = name, d.clock(c.Caller, c.Promised)
	d.tell(c.Caller, notify.News, "dropped_caller", v)
}
