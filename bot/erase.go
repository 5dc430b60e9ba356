package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// What is personal is erased on a clock, or sooner when the person asks for it. The call's
// document stays, as the ledger reads it: times, what the bees looked like, roughly where
// they were, who of the catchers took it.

// scrubPurpose names the timer that erases what is personal of an ended call.
const scrubPurpose = "scrub"

// eraseWithin is how long a DELETE may be confirmed by a second one.
const eraseWithin = 24 * time.Hour

// willScrub sets the clock for the erasure of a call that just ended.
func (d *decision) willScrub(c *Call, p *Person) {
	after := d.Settings.keepsFor()
	if p.Erase {
		after = time.Minute
	}
	d.set(c, scrubPurpose, d.Now.Add(after))
	d.willDropPhotos(c)
	if !slices.Contains(p.Calls, c.ID) {
		p.Calls = append(p.Calls, c.ID)
	}
}

// scrubDue is the timer of an ended call whose time to be remembered is over.
func (d *decision) scrubDue(c *Call) {
	if c.Ended.IsZero() {
		return
	}
	d.scrub(c)
}

// scrub erases what is personal of an ended call, and its caller's document when nothing else
// is left for it to say.
func (d *decision) scrub(c *Call) {
	d.dropPhotos(c)
	id := c.Caller.Person
	c.Caller = Party{}
	c.Answers = withoutPerson(c.Answers)
	c.Briefed, c.Photos, c.Words, c.LookedUp, c.Errand = intake.Answers{}, nil, nil, "", ""
	for _, hash := range c.Links {
		d.change.Finds = append(d.change.Finds, Find{Name: "tok:" + hash})
	}
	c.Links, c.Seen = nil, nil
	for i := range c.Offers {
		o := &c.Offers[i]
		*o = Offer{Ask: o.Ask}
	}
	if h := c.Holder; h != nil {
		c.Holder = &Holder{Catcher: h.Catcher, Taken: h.Taken, ETA: h.ETA}
	}
	c.Story = slices.DeleteFunc(c.Story, func(l Line) bool { return strings.HasPrefix(l.What, "relayed ") })
	d.clear(c, scrubPurpose)
	if id != "" {
		d.forget(id, c.ID)
	}
}

// withoutPerson returns a without names, words and the exact point.
func withoutPerson(a intake.Answers) intake.Answers {
	place := a.Place
	a = aboutTheBees(a)
	const cell = 1000 // metres, the precision of a rounded point
	if place != nil && place.PrecisionM < intake.InWordsOnly {
		a.Place = &intake.Place{
			Lat: roundedTo(place.Lat, placesTo), Lon: roundedTo(place.Lon, placesTo), PrecisionM: max(place.PrecisionM, cell),
		}
	}
	return a
}

// forget takes a scrubbed call off a person. Whoever has nothing else to do with us is
// erased; of somebody who opted out only that is kept, under an id that no number can be read
// from.
func (d *decision) forget(person, call string) {
	p := d.personByID(person)
	p.Calls = without(p.Calls, call)
	if p.Last.ID == call {
		p.Last = LastCall{}
	}
	if p.Call == call {
		p.Call = ""
	}
	if d.bound(p) {
		return
	}
	if p.Stopped {
		*p = Person{Schema: documentSchema, ID: person, Stopped: true}
		return
	}
	*p = Person{}
}

// eraseMe is a person's wish that what we keep of them is erased. The first one is asked
// back, the second does it.
func (d *decision) eraseMe(p *Person) {
	if d.Now.Sub(p.Erasing) > eraseWithin {
		p.Erasing = d.Now
		d.tell(p.party(), notify.News, "erase_sure", nil)
		return
	}
	d.eraseNow(p)
}

// eraseNow erases what is kept of p, or sees to it that this happens when the catcher who
// needs their address is done.
func (d *decision) eraseNow(p *Person) {
	p.Erasing = time.Time{}
	to, c := p.party(), d.openCall(p)
	if c != nil && c.Holder != nil {
		// Somebody is on their way to an address; it goes when they are done.
		p.Erase = true
		d.note(c, "erase_after")
		d.receipt(p, to, "erase_after", d.about(c, to))
		return
	}
	if c != nil {
		d.note(c, "erased_on_request")
		d.lapseOffers(c, "offer_withdrawn")
		d.end(c, withdrawnFrom(c.Stage))
	}
	calls := slices.Clone(p.Calls)
	d.wantCalls(calls)
	key := "erased"
	if p.Catcher != "" {
		key = "erased_catcher"
		d.forgetDay(d.catcher(p.Catcher))
		d.catcher(p.Catcher).Stand = notify.Stand{}
	}
	d.receipt(p, to, key, nil)
	for _, id := range calls {
		if c := d.call(id); c.ID != "" && !c.Ended.IsZero() {
			d.scrub(c)
		}
	}
	if len(calls) == 0 {
		d.forget(p.ID, "")
	}
	if p.ID != "" {
		p.Name, p.Idle, p.Talk = "", Tally{}, Talk{}
	}
}

// forgetDay erases what a catcher told of their own things: the trap line with its places, the
// kit, and what they are reminded of. The roll call of the next season stays: they are still on
// the list.
func (d *decision) forgetDay(k *Catcher) {
	k.Boxes, k.Kit, k.LadderM = nil, nil, 0
	k.Diary = slices.DeleteFunc(k.Diary, func(r Reminder) bool { return r.What != "season" && r.What != "roll" })
	d.setDiary(k)
	d.onRoster(k)
}

// forgetCatcher erases everything of one who is off the list, but the id that the ledger knows
// and the boxes that a steward was told to see to.
func forgetCatcher(k *Catcher) {
	for i := range k.Timers {
		k.Timers[i].At = time.Time{}
	}
	*k = Catcher{Schema: documentSchema, Catcher: notify.Catcher{ID: k.ID}, AwayUntil: never, Holds: k.Holds, Timers: k.Timers}
}

// forgetTrapLine erases where the catches of somebody's bait boxes were.
func (d *decision) forgetTrapLine(p *Person) {
	d.wantCalls(p.Calls)
	for _, id := range slices.Clone(p.Calls) {
		if c := d.call(id); c.By == byTrapLine {
			d.scrub(c)
		}
	}
}

// withdrawnFrom is the end of a call whose caller leaves it.
func withdrawnFrom(s Stage) Stage {
	if s.MayMove(Withdrawn) {
		return Withdrawn
	}
	return s
}
