package bot

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

const (
	newsEvery    = 25 * time.Minute // a waiting caller hears from us at least this often
	stewardTime  = 20 * time.Minute // for a steward to answer, then the caller gets the referral
	staleAsk     = 15 * time.Minute // an ask that old is not counted on any more
	lapseAfter   = 20 * time.Hour   // a call that nobody took is let go
	recentlyTold = 15 * time.Minute // who was asked that recently hears that it is taken
)

// never is a time far away, for catchers who cannot be reached.
var never = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)

// look puts the call to catchers: the first round goes out with the answer that completed
// what had to be asked.
func (d *decision) look(p *Person, c *Call) {
	d.move(c, Looking)
	switch {
	case d.awaitsPlace(c):
		c.Waits = true
		d.set(c, "round", c.ErrandSince.Add(errandWaited))
		return
	case d.askRoads(c):
		c.Waits = true
		d.set(c, "round", d.Now.Add(errandWaited))
		return
	}
	d.firstRound(p, c)
}

// firstRound asks the first catchers and tells the caller.
func (d *decision) firstRound(p *Person, c *Call) {
	c.Waits = false
	if m := d.sameAs(c); m != nil {
		d.joinTo(p, c, m)
		return
	}
	switch asked := d.round(c); {
	case asked > 0:
		d.promise(c, newsEvery)
		v := d.about(c, c.Caller)
		v["Count"] = asked
		d.addLink(d.tell(c.Caller, notify.News, "looking", v), c, "tap_to_follow", 2)
	case c.Thin:
		// nobody() has told the caller.
	default:
		d.waits(c)
	}
	d.askMeanwhile(p, c, "")
}

// waits tells the caller that nobody can be asked this minute, why, and when they hear.
func (d *decision) waits(c *Call) {
	quiet := d.Settings.dispatch()
	if notify.Quiet(d.now, quiet.QuietFrom, quiet.QuietTo) {
		d.night(c)
		return
	}
	d.promise(c, newsEvery)
	d.tell(c.Caller, notify.News, "still_looking", d.about(c, c.Caller))
}

// night tells the caller that catchers are asked again in the morning.
func (d *decision) night(c *Call) {
	opens := c.timer("round").At
	c.Promised = roundUp(opens.Add(time.Hour))
	d.set(c, "news", c.Promised)
	v := d.about(c, c.Caller)
	v["Opens"] = d.clock(c.Caller, opens)
	v["Help"] = d.Settings.Refer("bees")
	d.tell(c.Caller, notify.News, "night", v)
}

// promise sets by when the caller hears from us again.
func (d *decision) promise(c *Call, after time.Duration) {
	c.Promised = roundUp(d.Now.Add(after))
	d.set(c, "news", c.Promised)
}

// roundUp goes up to the next full five minutes, as people name a clock time.
func roundUp(t time.Time) time.Time {
	return t.Add(5*time.Minute - time.Nanosecond).Truncate(5 * time.Minute)
}

// round asks the next catchers, if it is time for that, and returns how many.
func (d *decision) round(c *Call) int {
	if c.Stage != Looking || c.Joined != "" {
		return 0
	}
	needs, before := d.needs(c), d.asks(c)
	around := *d.around(needs.Place)
	near := &around
	if near.Board.Club == nil {
		club := notify.ClubOf(near.Board, near.Roster, d.now)
		near.Board.Club = &club // summed up once
	}
	plan := d.plan(c, before, near)
	d.weighed(c, plan, before, near)
	hours := d.Settings.dispatch()
	if c.Epoch > 0 && !notify.Quiet(d.now, hours.QuietFrom, hours.QuietTo) {
		// It was taken and is free again: those who know of it come first, but not by night,
		// whatever else the plan says.
		if n := d.askInLine(c); n > 0 {
			c.Weighed.Reason = reasonInLine
			d.set(c, "round", d.Now.Add(d.Settings.every()))
			return n
		}
	}
	asked := d.offerAll(c, plan.Ask)
	if asked > 0 && len(before) == 0 {
		d.few(c, plan.Able, near.Members)
	}
	d.note(c, "round "+string(plan.Reason))
	f := c.kept()
	switch {
	case f != nil && asked == 0 && c.openOffers() == 0 && nobodyBefore(plan, f.Until):
		d.settle(c)
	case asked == 0 && len(plan.Ask) > 0:
		// Somebody else's call got to them a moment earlier than the board knew.
		d.set(c, "round", d.Now.Add(time.Minute))
	case f != nil && plan.Again.IsZero():
		d.clear(c, "round")
	case plan.Again.IsZero():
		d.clear(c, "round")
		d.nobody(c)
	default:
		if far := d.Now.Add(staleAsk); plan.Reason == notify.ReasonNobodyFree && d.waitsForAnswers(c) && plan.Again.After(far) {
			// Whoever is free next may be so in years; those asked just now are not waited for
			// that long.
			plan.Again = far
		}
		d.set(c, "round", plan.Again)
		if f == nil && plan.Reason == notify.ReasonAskedOnce || f == nil &&
			plan.Reason == notify.ReasonNobodyFree && plan.Again.Sub(d.Now) > stewardTime && !d.waitsForAnswers(c) {
			d.nobody(c)
		}
	}
	if asked == 0 && plan.Reason != notify.ReasonWaiting && d.askBusy(c, before, near) && !c.Thin {
		return 1
	}
	return asked
}

// few tells the stewards at once when a call is hard to serve: by its height, its place or its
// kind next to nobody of a larger roster could do it. A roster that is small anyway is no
// news.
func (d *decision) few(c *Call, able, members int) {
	const enough = 3 // judgement
	if able >= enough || members < enough {
		return
	}
	v := d.about(c, Party{})
	v["Count"] = able
	d.tellStewards("steward_few", v, "")
}

// reasonInLine is a call that came free again: who said yes before is asked first.
const reasonInLine notify.Reason = "in_line"

// nobodyBefore reports whether a plan finds nobody to ask until then.
func nobodyBefore(plan notify.Plan, until time.Time) bool {
	switch plan.Reason {
	case notify.ReasonAllAsked, notify.ReasonAskedOnce, notify.ReasonNobodyAble:
		return true
	case notify.ReasonNobodyFree:
		return !plan.Again.Before(until)
	}
	return false
}

// far is how far the call is from where a catcher sets out.
func (d *decision) far(k *Catcher, c *Call) notify.Far {
	far := notify.FarFrom(k.Start(k.Stand, d.now), d.needs(c).Place)
	far.Out = d.now.Before(k.Stand.Until)
	return far
}

// needs is what the call asks of a catcher.
func (d *decision) needs(c *Call) notify.Needs {
	n := notify.Needs{
		HeightM: c.Answers.HeightM, Cutout: c.Assessment.Route == triage.RouteSpecialist,
		PowerLine: c.Answers.Has("power_line"), Likelihood: c.Assessment.Likelihood,
		Place: d.setting(&Person{}).Center, Roads: c.onRoad(),
	}
	if c.Answers.Place != nil {
		n.Place = *c.Answers.Place
	}
	if c.Answers.AgeH != nil && *c.Answers.AgeH >= restlessH {
		n.Restless = 2
	}
	return n
}

// restlessH is after how many hours a swarm is about to leave (judgement: since yesterday).
const restlessH = 18

// waitsForAnswers reports whether an ask is young enough to be answered still.
func (d *decision) waitsForAnswers(c *Call) bool {
	return slices.ContainsFunc(c.Offers, func(o Offer) bool {
		return o.State == notify.AskOpen && d.Now.Sub(o.At) < staleAsk
	})
}

// hold marks the call for a steward. The caller hears that a person looks, and until when.
func (d *decision) hold(c *Call, reason string) {
	if c.Held != "" {
		return
	}
	c.Held = reason
	d.personByID(c.Caller.Person).Talk.Waiting = ""
	d.note(c, "held "+reason)
	d.clear(c, "silence", "photo")
	c.Promised = roundUp(d.Now.Add(stewardTime))
	d.set(c, "steward", c.Promised)
	d.tell(c.Caller, notify.News, "held", d.about(c, c.Caller))
	d.tellStewards("steward_held", d.about(c, Party{}), "")
}

// askMeanwhile puts the next question that only helps; the last one is followed by thanks.
func (d *decision) askMeanwhile(p *Person, c *Call, noted string) {
	if c.Stage != Looking && c.Stage != Taken || p.Talk.Waiting != "" || c.Joined != "" {
		return
	}
	if len(p.Talk.Spots) > 1 && !slices.Contains(p.Talk.Asked, askWhich) {
		d.ask(p, c, askWhich, noted)
		return
	}
	for _, q := range intake.AskMeanwhile {
		if !c.Answers.Told(q) && !slices.Contains(p.Talk.Asked, q) {
			d.ask(p, c, q, noted)
			return
		}
	}
	if noted != "" || len(p.Talk.Asked) > 0 {
		d.tellHolder(c)
		key := "all_asked"
		if c.Holder != nil {
			key = "all_asked_taken"
		}
		d.tell(c.Caller, notify.News, key, d.about(c, c.Caller))
	}
}

// update is a new answer while catchers are asked or on the way: it may change what this is,
// what is offered and what the holder must know.
func (d *decision) update(p *Person, c *Call, noted string) {
	if d.elsewhere(p, c) {
		return
	}
	if c.Joined != "" {
		d.status(p, c)
		return
	}
	d.askRoads(c)
	d.refreshOffers(c)
	d.tellHolderSoon(c)
	switch p.Talk.Waiting {
	case "":
		d.askMeanwhile(p, c, noted)
	case askPhone:
		m := d.tell(c.Caller, notify.News, "may_phone", d.about(c, c.Caller))
		m.Buttons = d.answerButtons(c.Caller, askPhone)
	case askArrived:
		m := d.tell(c.Caller, notify.News, "has_arrived", d.about(c, c.Caller))
		m.Buttons = d.answerButtons(c.Caller, askArrived)
	default:
		d.ask(p, c, p.Talk.Waiting, noted)
	}
}

// more is a text about an open call that answers no question and meets no holder.
func (d *decision) more(p *Person, c *Call, e Said) {
	if c.Held == takenOver {
		d.waitsAtDesk(p, c, e)
		return
	}
	d.takeIn(c, e)
	heard := d.understand(p, e)
	switch {
	case len(heard.Readings) > 0 || e.Pin != nil:
		if c.Held != "" && e.Text != "" && p.Idle.may(d.Now, d.Settings.Limits) {
			d.showSteward(c, e.Text)
		}
		d.hear(p, c, heard, "", e.Text)
	case c.Stage == Asking && c.Held == "":
		d.proceed(p, c, "")
	case e.Card != "" && e.Text == "":
		// What it holds comes in a moment.
	case len(e.Photos) > 0:
		d.showSteward(c, "")
		d.idle(p, "got_photo", d.about(c, c.Caller))
	default:
		if !p.Idle.allow(d.Now, d.Settings.Limits) {
			d.change.Outcome = OutcomeQuiet
			return
		}
		if e.Text != "" {
			d.showSteward(c, e.Text)
		}
		d.status(p, c)
	}
}

// pinned is the precision, in metres, from which on a pin would mislead a driver: the middle
// of a street is not its number 14, and a map finds the words better. Judgement.
const pinned = 200

// coordinates writes a point as people can paste it into a map.
func coordinates(p *intake.Place) string { return fmt.Sprintf("%.5f,%.5f", p.Lat, p.Lon) }

// mapLink is a link that opens the place in whatever map a phone has; words are searched
// for when the point is no better than them.
func (d *decision) mapLink(p *intake.Place) string {
	if p == nil {
		return ""
	}
	if p.PrecisionM >= intake.InWordsOnly {
		return fmt.Sprintf("https://maps.google.com/?q=%s&near=%.2f,%.2f", url.QueryEscape(strings.TrimSpace(p.Text)), d.Settings.Latitude, d.Settings.Longitude)
	}
	if p.PrecisionM >= pinned && p.Text != "" {
		return fmt.Sprintf("https://maps.google.com/?q=%s&near=%.3f,%.3f", url.QueryEscape(strings.TrimSpace(p.Text)), p.Lat, p.Lon)
	}
	return "https://maps.google.com/?q=" + coordinates(p)
}
