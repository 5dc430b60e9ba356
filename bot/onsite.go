package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// nobodyGoesUp is the height in metres (20 ft) above which a swarm is left to fly on.
// Judgement, after what ladder rules have in common.
const nobodyGoesUp = 6.0

// tooHigh is a swarm that its holder cannot reach. Those who work higher are asked, with
// the height that was learned; when there are none, or nobody should go up there, it is left
// alone.
func (d *decision) tooHigh(c *Call, metres float64) {
	h := c.Holder
	k := d.catcher(h.Catcher)
	c.OnSite.Triage, c.OnSite.HeightM = "too_high", metres
	learned := metres
	if learned == 0 {
		const atLeast = 0.5 // more than this one reaches
		learned = k.MaxHeightM + atLeast
		if told := c.Answers.HeightM; told != nil {
			learned = max(learned, *told)
		}
	}
	c.Answers.HeightM = &learned
	d.assess(c)
	if learned > nobodyGoesUp || c.Answers.Has("power_line") || !d.anyoneElse(c, k) {
		d.tell(h.Party, notify.News, "too_high_left", d.about(c, h.Party))
		d.tell(c.Caller, notify.News, "too_high_caller_left", d.about(c, c.Caller))
		d.turnDown(c, "too_high", LeftAlone)
		return
	}
	d.tell(h.Party, notify.News, "too_high_noted", d.about(c, h.Party))
	d.tellStewards("steward_rerouted", d.why(c, "too_high"), h.Party.Person)
	d.drop(c, k, "too_high")
}

// unsafe is a place that nobody should work at. It is left alone; a steward sees why.
func (d *decision) unsafe(c *Call) {
	h := c.Holder
	c.OnSite.Triage = "unsafe"
	d.tell(h.Party, notify.News, "unsafe_noted", d.about(c, h.Party))
	d.tell(c.Caller, notify.News, "unsafe_caller", d.about(c, c.Caller))
	d.turnDown(c, "unsafe", LeftAlone)
}

// colony is a nest in a structure after all: for a catcher who does removals, or else for an
// insured remover outside the club.
func (d *decision) colony(c *Call) {
	h := c.Holder
	k := d.catcher(h.Catcher)
	c.Found, c.OnSite.Triage = triage.HoneyBeeColony, "colony"
	c.Answers.Shape, c.Answers.Entry, c.Answers.Surface = "gap_traffic", "one_hole", "cavity"
	d.assess(c)
	c.Assessment.Route = triage.RouteSpecialist
	switch {
	case slices.Contains(k.Skills, notify.Cutout):
		d.note(c, "colony")
		d.tell(h.Party, notify.Claim, "colony_yours", d.about(c, h.Party)).Buttons = rows(d.row(h.Party, c, "drop"))
		d.tell(c.Caller, notify.News, "colony_looked", d.about(c, c.Caller))
	case d.anyoneElse(c, k):
		d.tell(h.Party, notify.News, "colony_noted", d.about(c, h.Party))
		d.tellStewards("steward_rerouted", d.why(c, "colony"), h.Party.Person)
		d.drop(c, k, "colony")
	default:
		d.tell(h.Party, notify.News, "colony_noted", d.about(c, h.Party))
		d.tell(c.Caller, notify.News, "redirect_specialist", d.help("colony"))
		d.turnDown(c, "colony", PassedOn)
	}
}

// anyoneElse takes those off the list who could not do it either, now that more is known,
// and reports whether somebody is left besides k.
func (d *decision) anyoneElse(c *Call, k *Catcher) bool {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	found := false
	for _, other := range d.Roster {
		_, able := notify.Able(other, d.needs(c))
		o := c.offer(other.ID)
		switch {
		case other.ID == k.ID:
		case !able && o != nil && (o.State == notify.AskStandby || o.State == notify.AskLapsed):
			o.State = notify.AskPassed
		case able && (o == nil || o.State != notify.AskPassed && o.State != notify.AskDropped):
			found = true
		}
	}
	return found
}

// turnDown ends a call that its holder went to and could not take: those in line and the
// stewards hear.
func (d *decision) turnDown(c *Call, why string, last Stage) {
	d.note(c, why)
	d.tellStewards("steward_turned_down", d.why(c, why), c.Holder.Party.Person)
	d.standDown(c)
	d.release(c)
	d.end(c, last)
}

// why is what texts to a steward may name, with the reason in words.
func (d *decision) why(c *Call, reason string) values {
	v := d.about(c, Party{})
	v["What"] = d.say(Party{Language: d.Settings.DefaultLanguage()}, "why_"+reason, nil)
	return v
}

// standDown tells those in line that nobody needs to go any more.
func (d *decision) standDown(c *Call) {
	for i := range c.Offers {
		o := &c.Offers[i]
		if o.State == notify.AskStandby {
			o.State = notify.AskLapsed
			d.tell(o.Party, notify.Taken, "offer_withdrawn", d.about(c, o.Party))
		}
	}
}

// gatherFor is how long a cluster that came out is given to gather (common practice: minutes;
// the number is judgement).
const gatherFor = 20 * time.Minute

// retry is a cluster that came out of the box again: the queen is not in.
func (d *decision) retry(c *Call) {
	h := c.Holder
	c.OnSite.Tries++
	d.note(c, "came_out")
	if k := d.catcher(h.Catcher); c.Stage == Boxed {
		k.Active = append(without(k.Active, c.ID), c.ID)
	}
	d.set(c, "try", d.Now.Add(gatherFor))
	d.tell(h.Party, notify.Claim, "retry_noted", d.about(c, h.Party)).Buttons = rows(d.row(h.Party, c, "boxed", "flown"))
}

// gathered is the timer of a second try.
func (d *decision) gathered(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != There && c.Stage != Boxed {
		return
	}
	if c.Stage == There && c.timer("eta").At.IsZero() {
		d.set(c, "eta", d.Now.Add(time.Hour))
	}
	d.tell(h.Party, notify.Reminder, "retry_ask", d.about(c, h.Party)).Buttons = rows(d.row(h.Party, c, "boxed", "retry", "flown"))
}

// notBeesKind is the kind that a NOT BEES named, NotHoneyBees for "wasps" and "hornets", which
// are several, and "" when nothing was named and it has to be asked.
func notBeesKind(rest string) triage.Kind {
	words := lower(rest)
	for _, row := range []struct {
		stem string
		kind triage.Kind
	}{
		{"bumble", triage.BumbleBee}, {"abejorro", triage.BumbleBee}, {"ground", triage.GroundBee}, {"yellow", triage.Yellowjacket}, {"chaqueta", triage.Yellowjacket},
		{"paper", triage.PaperWasp}, {"wasp", NotHoneyBees}, {"hornet", NotHoneyBees}, {"avisp", NotHoneyBees},
	} {
		if strings.Contains(words, row.stem) {
			return row.kind
		}
	}
	return ""
}

// share gives the holder's number to the caller, by the holder's own wish.
func (d *decision) share(p *Person, c *Call) {
	number := p.Address.Number()
	if number == "" || words(p.party()).Chat { // a chat's id is no number
		d.tell(p.party(), notify.News, "share_none", d.about(c, p.party()))
		return
	}
	v := d.about(c, c.Caller)
	v["Number"] = number
	d.tell(c.Caller, notify.News, "holder_number", v)
	d.tell(p.party(), notify.News, "share_noted", d.about(c, p.party()))
}

// showHolder says that there is a picture: in chat it comes with the words, by SMS with a link
// to the page that shows it, where there are pages.
func (d *decision) showHolder(c *Call, h *Holder, key string) *notify.Message {
	at := c
	if c.Joined != "" {
		at = d.call(c.Joined)
	}
	o := at.offer(h.Catcher)
	if o == nil || !d.links(h.Party) || at != c { // the page shows the pictures of its own call
		return d.tell(h.Party, notify.Relay, key, d.about(c, h.Party))
	}
	seed := PageOffer + "/" + c.ID + "/" + h.Catcher + "/" + itoa(o.Epoch) // the link by which it was taken
	v := d.about(c, h.Party)
	v["Link"] = d.linkURL(seed)
	m := d.tell(h.Party, notify.Relay, key+"_link", v)
	d.carry(m, c, seed)
	return m
}

// saysArrived reads "I'm here" from a holder and "she is here" from the caller in words that
// were meant for the other side.
func (d *decision) saysArrived(c *Call, text string, byCaller bool) bool {
	if c == nil || c.Holder == nil || c.Stage != Taken {
		return false
	}
	who := intake.Arrival(text, c.Holder.Name)
	if byCaller && who != "other" || !byCaller && who != "self" {
		return false
	}
	d.there(c, byCaller)
	return true
}

// repliesWithin is how long after the holder's words a caller's text is taken for the reply.
const repliesWithin = 10 * time.Minute

// repliesToHolder passes on what also told us something: the holder has just asked, and waits
// for the caller's own words.
func (d *decision) repliesToHolder(c *Call, text string) {
	h := c.Holder
	if h == nil || h.Wrote.IsZero() || d.Now.Sub(h.Wrote) > repliesWithin || strings.TrimSpace(text) == "" {
		return
	}
	h.Wrote = time.Time{}
	d.relay(c, h.Party, c.Caller, text, d.callerName(c, h.Party))
}

// relayFor is how long the two sides of a job can write to each other after its end.
const relayFor = 24 * time.Hour

// relayOpen reports whether words about an ended call still reach its holder.
func (d *decision) relayOpen(c *Call) bool {
	return c.ID != "" && c.Holder != nil && !c.Ended.IsZero() && d.Now.Sub(c.Ended) < relayFor && (c.Stage == Hived || c.Stage == Lifted || c.Stage == Flown)
}

// answersAfter passes a holder's answer on to the caller of a job that ended today, who wrote
// first.
func (d *decision) answersAfter(p *Person, e Said) bool {
	if p.Catcher == "" {
		return false
	}
	k := d.catcher(p.Catcher)
	if k.Wrote == "" {
		return false
	}
	c := d.call(k.Wrote)
	if !d.relayOpen(c) || c.Holder.Catcher != k.ID || d.personByID(c.Caller.Person).Stopped {
		k.Wrote = ""
		return false
	}
	d.passOn(c, p, e)
	return true
}
