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
	if c.Epoch > 0 && plan.Reason != notify.ReasonQuietHours {
		// It was taken and is free again: those who know of it come first.
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

// offerAll makes offers to those picked. Their documents are loaded together and checked
// with the commit, so that nobody gets two fresh asks.
func (d *decision) offerAll(c *Call, picks []notify.Pick) int {
	keys := make([]Key, len(picks))
	for i, pick := range picks {
		keys[i] = Key{KindCatcher, pick.Catcher}
	}
	d.want(keys...)
	var fresh []string
	for _, pick := range picks {
		k := d.catcher(pick.Catcher)
		if k.ID == "" || k.Address == "" || d.freshlyAsked(k, c.ID) || k.takesOn(d.now) >= k.JobsADay {
			continue
		}
		ask := notify.Ask{Catcher: k.ID, At: d.Now, State: notify.AskOpen, Weight: pick.Weight, P: pick.P}
		if o := c.offer(k.ID); o != nil { // silent in an earlier part of the day
			ask.Before = o.Before + 1
			c.Offers = slices.DeleteFunc(c.Offers, func(o Offer) bool { return o.Catcher == k.ID })
		}
		c.Offers = append(c.Offers, Offer{
			Ask: ask, Name: k.Name, Party: d.catcherParty(k), Far: d.far(k, c), Gain: pick.Gain, Cost: pick.Cost,
		})
		k.asked(c.ID, d.Now)
		fresh = append(fresh, k.ID)
	}
	for _, id := range fresh {
		d.sendOffer(c, c.offer(id))
	}
	return len(fresh)
}

// freshlyAsked reports whether the catcher still has another call's ask before them.
func (d *decision) freshlyAsked(k *Catcher, call string) bool {
	return len(without(k.Asks, call)) > 0 && d.Now.Sub(k.Fresh) < d.Settings.dispatch().Fresh
}

// catcherParty is how a catcher is reached.
func (d *decision) catcherParty(k *Catcher) Party {
	lang := k.Language
	if lang == "" {
		lang = d.Settings.DefaultLanguage()
	}
	return Party{Person: PersonID(d.Secret, k.Address), Address: k.Address, Also: k.Also, Language: lang}
}

// sendOffer puts the call to one catcher.
func (d *decision) sendOffer(c *Call, o *Offer) {
	o.Epoch = c.Epoch
	m := d.send(o.Party, notify.Offer, d.offerText(c, o))
	if strings.Contains(m.Text, linkMask) {
		d.carry(m, c, offerSeed(c, o.Catcher))
	}
	m.Buttons = d.offerButtons(c, o)
	m.Still = notify.Still{Call: c.ID, Offer: o.Catcher}
	if len(c.Photos) > 0 {
		m.Photos = c.Photos[:1]
	}
	o.Message = m.ID
}

func (d *decision) offerButtons(c *Call, o *Offer) [][]notify.Button {
	if o.Party.Address.Channel() != notify.Telegram {
		return nil
	}
	later := notify.Button{Label: d.say(o.Party, "button_take_later", nil), Says: "TAKE 60 " + c.Reference}
	if len(d.catcher(o.Catcher).Active) > 0 {
		later = notify.Button{Label: d.say(o.Party, "button_next", nil), Says: "NEXT " + c.Reference}
	}
	return [][]notify.Button{{
		{Label: d.say(o.Party, "button_take", nil), Says: "TAKE " + c.Reference},
		{Label: d.say(o.Party, "button_pass", nil), Says: "PASS " + c.Reference},
	}, {later}}
}

func (d *decision) offerText(c *Call, o *Offer) string {
	j := d.job(c, o.Party)
	j.Again, j.OnAJob = c.Epoch > 0, len(d.catcher(o.Catcher).Active) > 0
	j.Several = len(d.catcher(o.Catcher).Asks) > 1
	if d.links(o.Party) {
		j.Link = d.linkURL(offerSeed(c, o.Catcher))
	}
	return notify.OfferText(words(o.Party), j, o.Far, c.openOffers()-1, d.Settings.Metric())
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

func (d *decision) asks(c *Call) []notify.Ask {
	asks := make([]notify.Ask, len(c.Offers))
	for i, o := range c.Offers {
		asks[i] = o.Ask
	}
	return asks
}

// waitsForAnswers reports whether an ask is young enough to be answered still.
func (d *decision) waitsForAnswers(c *Call) bool {
	return slices.ContainsFunc(c.Offers, func(o Offer) bool {
		return o.State == notify.AskOpen && d.Now.Sub(o.At) < staleAsk
	})
}

// nobody is the end of the list: everyone who could come has been asked, or nobody could.
// Stewards are told once; the caller hears the truth and a clock time.
func (d *decision) nobody(c *Call) {
	if c.timer("lapse").At.IsZero() {
		d.set(c, "lapse", d.Now.Add(lapseAfter))
	}
	if c.Thin {
		return
	}
	c.Thin = true
	d.note(c, "nobody_free")
	except := ""
	if near := d.around(d.needs(c).Place); near.Members == 1 {
		// A roster of one is not alarmed at itself.
		except = PersonID(d.Secret, near.Roster[0].Address)
	}
	c.Promised = roundUp(d.Now.Add(stewardTime))
	d.tellStewards("steward_thin", d.about(c, Party{}), except)
	d.clear(c, "news")
	d.set(c, "steward", c.Promised)
	d.tell(c.Caller, notify.News, "nobody_yet", d.about(c, c.Caller))
}

// refer gives the caller somebody else to turn to, when nobody of ours answered in time.
func (d *decision) refer(c *Call) {
	if c.Referred || !c.Ended.IsZero() || c.Holder != nil {
		return
	}
	c.Referred = true
	d.note(c, "referred")
	d.clear(c, "news")
	c.Promised = roundUp(d.Now.Add(lapseAfter))
	d.set(c, "lapse", c.Promised)
	v := d.about(c, c.Caller)
	v["Help"] = d.Settings.Refer(d.purpose(c))
	key := "referral"
	if c.Held != "" {
		key = "referral_held"
	}
	d.tell(c.Caller, notify.News, key, v)
}

// purpose is the kind of help a caller needs elsewhere.
func (d *decision) purpose(c *Call) string {
	if c.Assessment.Route == triage.RouteSpecialist {
		return "colony"
	}
	return "bees"
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

// specialist is a colony in a structure: for a catcher who does removals, or else for an
// insured remover outside the club.
func (d *decision) specialist(p *Person, c *Call) {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	able := slices.ContainsFunc(d.Roster, func(k notify.Catcher) bool { return slices.Contains(k.Skills, notify.Cutout) })
	if able && c.Answers.Place != nil && c.Stage == Asking {
		d.advise(c, notify.News, triage.DontSealHole)
		d.look(p, c)
		return
	}
	if able && c.Answers.Place == nil && !slices.Contains(p.Talk.Asked, intake.AskPlace) {
		d.ask(p, c, intake.AskPlace, "")
		return
	}
	d.tell(c.Caller, notify.News, "redirect_specialist", d.help("colony"))
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, PassedOn)
}

func (d *decision) help(purpose string) values { return values{"Help": d.Settings.Refer(purpose)} }

// redirect is not ours: the caller is told who it is likely to be, what to do and whom to
// turn to, and how to come back if it is a cluster after all.
func (d *decision) redirect(p *Person, c *Call) {
	kind := c.Assessment.Subject()
	purpose, stage := "wasps", PassedOn
	switch kind {
	case triage.BumbleBee, triage.GroundBee, triage.CarpenterBee, triage.Foragers:
		purpose, stage = "", LeftAlone
	}
	d.note(c, "redirected "+string(kind))
	d.tell(c.Caller, notify.News, c.Assessment.RedirectKey(), d.help(purpose))
	if slices.Contains(c.Assessment.Advice, triage.ReportNotifiable) {
		d.advise(c, notify.News, triage.ReportNotifiable)
	}
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, stage)
}

// leaveAlone is a swarm that nobody should climb to.
func (d *decision) leaveAlone(p *Person, c *Call) {
	d.advise(c, notify.News, triage.TooHigh)
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, LeftAlone)
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
	switch route := c.Assessment.Route; {
	case c.Stage == Looking && route == triage.RouteRedirect:
		d.redirect(p, c)
		return
	case c.Stage == Looking && route == triage.RouteSpecialist && !d.needs(c).Cutout:
		d.specialist(p, c)
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

// refreshOffers changes the open offers in place, where the channel can, without a sound.
func (d *decision) refreshOffers(c *Call) {
	var keys []Key
	for _, o := range c.Offers {
		if o.State == notify.AskOpen {
			keys = append(keys, Key{KindCatcher, o.Catcher})
		}
	}
	d.want(keys...)
	for i := range c.Offers {
		o := &c.Offers[i]
		if o.State != notify.AskOpen {
			continue
		}
		o.Far = d.far(d.catcher(o.Catcher), c)
		if o.Party.Address.Channel() == notify.Telegram {
			d.refreshOffer(c, o)
		}
	}
}

func (d *decision) refreshOffer(c *Call, o *Offer) {
	m := d.send(o.Party, notify.Offer, d.offerText(c, o))
	m.Buttons, m.Edits, m.Silent = d.offerButtons(c, o), o.Message, true
	m.Still = notify.Still{Call: c.ID, Offer: o.Catcher}
}

// lapseOffers closes every open offer: in place where the channel can, by a message to
// those who were asked a short while ago and cannot see an edit.
func (d *decision) lapseOffers(c *Call, key string) {
	var keys []Key
	for _, id := range notify.StillOpen(d.asks(c)) {
		keys = append(keys, Key{KindCatcher, id})
	}
	d.want(keys...)
	for i := range c.Offers {
		o := &c.Offers[i]
		switch o.State {
		case notify.AskOpen:
			o.State = notify.AskLapsed
			if k := d.catcher(o.Catcher); k.ID != "" {
				k.Habits = k.Habits.WasOvertaken(o.Weight, o.At, d.now)
				if k.Fresh.Equal(o.At) {
					k.Fresh = time.Time{} // free for another call at once
				}
			}
			edits := o.Party.Address.Channel() == notify.Telegram && o.Message != ""
			d.closeOffer(c, o, key, !edits && d.Now.Sub(o.At) < recentlyTold)
		case notify.AskFallback: // was promised to hear either way
			d.inLine(c, o)
			o.State = notify.AskLapsed
			d.clear(c, "fallback")
			d.closeOffer(c, o, key, true)
		}
	}
}

// closeOffer tells one catcher that an offer is over: in place and without a sound where the
// channel can do that, and by a text, when they would go on thinking of it, where it cannot.
func (d *decision) closeOffer(c *Call, o *Offer, key string, aloud bool) {
	v := d.about(c, o.Party)
	if o.Party.Address.Channel() == notify.Telegram && o.Message != "" {
		m := d.tell(o.Party, notify.Taken, key+"_edit", v)
		m.Edits, m.Silent = o.Message, true
	}
	if aloud {
		d.tell(o.Party, notify.Taken, key, v)
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
