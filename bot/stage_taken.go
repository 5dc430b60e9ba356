package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// Questions that only a caller with a catcher on the way is asked.
const (
	askPhone   intake.Question = "phone"   // may the catcher phone you?
	askArrived intake.Question = "arrived" // has the catcher arrived?
)

const (
	etaWithin = 5 * time.Minute  // a holder who has not said when is asked after this
	lateAfter = 15 * time.Minute // past the ETA without THERE: a nudge
	askCaller = 15 * time.Minute // after that nudge the caller is asked
	wellLate  = 15 * time.Minute // after that the stewards are told
)

// take is "yes, I go", to set out at starts, zero for now: the first one has the call,
// everyone else is in line behind.
func (d *decision) take(p *Person, c *Call, starts time.Time) {
	k := d.catcher(p.Catcher)
	switch notify.Take(d.asks(c), k.ID, !c.Ended.IsZero() || !slices.Contains(takable, c.Stage)) {
	case notify.AnswerHolds:
		d.yes(p, c, k, starts)
	case notify.AnswerStandby:
		d.standby(c, k, starts)
	case notify.AnswerOver:
		d.change.Outcome = OutcomeStale
		d.tell(p.party(), notify.News, "call_over", d.about(c, p.party()))
	default:
		d.noOffer(p)
	}
}

// takable are the stages in which "take" means something.
var takable = append([]Stage{Looking}, heldStages...)

// noOffer answers a take that nothing was offered for. It does nothing else.
func (d *decision) noOffer(p *Person) {
	d.change.Outcome = OutcomeNoOffer
	d.idle(p, "no_offer", nil)
}

// win gives the call to k. Who names when they set out is not asked when they come.
func (d *decision) win(p *Person, c *Call, k *Catcher, starts time.Time) {
	if c.heldBy(k.ID) {
		d.change.Outcome = OutcomeYours
		switch d.Event.(type) {
		case Tapped, Paged: // they see it on the spot
		default:
			d.idle(p, "yours_already", d.about(c, p.party()))
		}
		return
	}
	if k.takesOn(d.now) >= k.JobsADay {
		d.change.Outcome = OutcomeFull
		d.tell(p.party(), notify.News, "enough_today", d.about(c, p.party()))
		return
	}
	d.change.Outcome = OutcomeWon
	d.award(c, k, starts)
}

// award makes k the one who has the call, and tells everybody. Zero starts are at once.
func (d *decision) award(c *Call, k *Catcher, starts time.Time) {
	d.move(c, Taken)
	o := c.offer(k.ID)
	if o.State != notify.AskFallback && o.State != notify.AskStandby { // those were counted when they said it
		k.Habits = k.Habits.SaidYes(o.Weight, o.State == notify.AskLapsed, d.now)
	}
	o.State, o.Answered, o.Starts, o.Until = notify.AskTaken, d.Now, starts, time.Time{}
	k.took(c.ID, d.Now)
	c.Epoch++
	c.Holder = &Holder{Catcher: k.ID, Name: k.Name, Party: d.catcherParty(k), Taken: d.Now, Word: d.checkWord(c)}
	c.Held, c.Briefed = "", c.Answers
	d.saw(c, k.ID)
	d.clear(c, "round", "steward", "lapse", "news", "fallback")
	d.set(c, "eta", d.Now.Add(etaWithin))
	if !starts.IsZero() && !c.InBox {
		c.Holder.ETA = d.comes(c, o, starts)
	}
	if !c.InBox {
		d.tellWinner(c, o)
	}
	d.outrun(c, k)
	d.lapseOffers(c, "taken")
	d.offersAfterTake(k)
	d.promise(c, newsEvery)
	if c.InBox {
		d.takesOverBox(c)
		return
	}
	if at := c.Holder.ETA; !at.IsZero() {
		d.eta(d.personByID(o.Party.Person), c, d.minutesTo(at))
		return
	}
	d.tell(c.Caller, notify.News, "taken_caller", d.about(c, c.Caller))
}

// checkWords are short, unmistakable, the same in a text and over a fence, and sound like
// nothing anybody would guess at a door.
var checkWords = strings.Fields("PLUM OTTER CEDAR MAPLE HERON POPPY BIRCH CORAL DAISY EMBER FERN GINGER HAZEL IRIS JUNIPER KITE LINDEN MINT NUTMEG OLIVE PEPPER QUARTZ RAVEN SAGE THYME UMBER VIOLET WALNUT YARROW ZINNIA")

func (d *decision) checkWord(c *Call) string {
	seed := derive(d.Secret, "check word "+itoa(c.Epoch), c.ID, 8)
	n := 0
	for _, r := range seed {
		n = n*33 + int(r)
	}
	return checkWords[n%len(checkWords)]
}

// tellWinner gives the one who has the call everything: the address, what endangers, kit
// and method. The chat gets the place on a map besides.
func (d *decision) tellWinner(c *Call, o *Offer) {
	h := c.Holder
	still := notify.Still{Call: c.ID, Holder: h.Catcher, Epoch: c.Epoch, Reference: c.Reference}
	if o.Party.Address.Channel() == notify.Telegram && o.Message != "" {
		m := d.tell(h.Party, notify.Taken, "yours_edit", d.about(c, h.Party))
		m.Edits, m.Silent = o.Message, true
	}
	b := notify.MakeBrief(words(h.Party), d.job(c, h.Party), d.catcher(h.Catcher).Catcher, d.Settings.Metric(), d.Settings.Metric())
	m := d.send(h.Party, notify.Claim, b.Yours)
	m.Still, m.Buttons = still, d.etaButtons(h.Party, c)
	d.pinHolder(c, still)
	for _, text := range []string{b.Gates, b.Kit, b.Method} {
		if text != "" {
			d.send(h.Party, notify.Claim, text).Still = still
		}
	}
	if len(c.Photos) > 0 {
		m := d.showHolder(c, h, "photo_from_caller")
		m.Photos, m.Still = c.Photos, still
	}
}

// pinHolder shows a chat the place on a map, where there is a point worth showing.
func (d *decision) pinHolder(c *Call, still notify.Still) {
	place, p := c.Answers.Place, c.Holder.Party
	if place == nil || place.PrecisionM >= pinned || !words(p).Chat {
		return
	}
	m := d.send(p, notify.Claim, "")
	m.Pin = &notify.Pin{Lat: place.Lat, Lon: place.Lon, Title: c.Reference, Address: d.exact(p, c)}
	m.Still = still
}

func (d *decision) etaButtons(p Party, c *Call) [][]notify.Button {
	return rows(d.minutesRow(p, c), d.row(p, c, "drop"))
}

// minutesRow are the buttons for when somebody will be there.
func (d *decision) minutesRow(p Party, c *Call) []notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	var row []notify.Button
	for _, minutes := range []string{"15", "30", "45", "60"} {
		row = append(row, notify.Button{Label: minutes + " min", Says: "ETA " + minutes + " " + c.Reference})
	}
	return row
}

// row makes one row of buttons for words about c: "there", "boxed" …
func (d *decision) row(p Party, c *Call, keys ...string) []notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	var row []notify.Button
	for _, k := range keys {
		says := strings.ToUpper(strings.ReplaceAll(k, "_", " ")) + " " + c.Reference
		row = append(row, notify.Button{Label: d.say(p, "button_"+k, nil), Says: says})
	}
	return row
}

// standby is a yes that came second: told at once who has it, and first in line.
func (d *decision) standby(c *Call, k *Catcher, starts time.Time) {
	d.change.Outcome = OutcomeLate
	o := c.offer(k.ID)
	if o.State == notify.AskTaken {
		return
	}
	k.Habits = k.Habits.SaidYes(o.Weight, o.State == notify.AskLapsed, d.now)
	o.State, o.Answered, o.Starts = notify.AskStandby, d.Now, starts
	k.Asks = without(k.Asks, c.ID)
	d.tell(o.Party, notify.Taken, "late", d.about(c, o.Party))
}

// pass is "not me": the next catcher is asked at once.
func (d *decision) pass(p *Person, c *Call) {
	k := d.catcher(p.Catcher)
	o := c.offer(k.ID)
	k.Asks = without(k.Asks, c.ID)
	if c.heldBy(k.ID) {
		// "Pass" on what they hold means "drop", while it can still be dropped.
		if slices.Contains(wordStages[intake.WordDrop], c.Stage) {
			d.drop(c, k, "dropped")
		} else {
			d.change.Outcome = OutcomeStale
		}
		return
	}
	if o == nil || o.State != notify.AskOpen && o.State != notify.AskStandby && o.State != notify.AskFallback {
		d.change.Outcome = OutcomeStale
		return
	}
	if o.State == notify.AskOpen {
		k.Habits = k.Habits.SaidNo(o.Weight, d.now)
	}
	d.note(c, "passed "+k.ID)
	d.closeOffer(c, o, "passed", o.Party.Address.Channel() != notify.Telegram)
	d.notComing(c, o, notify.AskPassed)
}

// eta is when the holder will be there: the caller hears who comes, when and by which word
// to know them.
func (d *decision) eta(p *Person, c *Call, minutes int) {
	h := c.Holder
	h.ETA, h.Nudges = d.Now.Add(time.Duration(minutes)*time.Minute), 0
	d.note(c, "eta "+itoa(minutes))
	d.clear(c, "news")
	d.set(c, "eta", h.ETA.Add(lateAfter))
	d.tell(h.Party, notify.Claim, "eta_noted", d.about(c, h.Party)).Buttons =
		rows(d.row(h.Party, c, "there", "not_bees"), d.row(h.Party, c, "drop", "flown"))
	q := d.personByID(c.Caller.Person)
	if h.Phone != "" || c.Caller.Address.Channel() == notify.Telegram {
		d.tell(c.Caller, notify.News, "eta_caller", d.about(c, c.Caller))
		return
	}
	m := d.tell(c.Caller, notify.News, "eta_caller_phone", d.about(c, c.Caller))
	m.Buttons = d.answerButtons(c.Caller, askPhone)
	// The question it overtakes comes again after it.
	q.Talk.Asked = without(q.Talk.Asked, q.Talk.Waiting)
	q.Talk.Waiting = askPhone
}

func rows(r ...[]notify.Button) [][]notify.Button {
	return slices.DeleteFunc(r, func(row []notify.Button) bool { return len(row) == 0 })
}

// answerButtons are yes and no to a question about the holder.
func (d *decision) answerButtons(p Party, q intake.Question) [][]notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	return [][]notify.Button{{
		{Label: d.say(p, "button_yes", nil), Says: "=" + string(q) + ":1"},
		{Label: d.say(p, "button_no", nil), Says: "=" + string(q) + ":2"},
	}}
}

// answersHolder reads the caller's yes or no about the holder.
func (d *decision) answersHolder(p *Person, c *Call, e Said) bool {
	yes, known := intake.ReadYesNo(e.Text)
	if c.Holder == nil {
		p.Talk.Waiting = ""
		return false
	}
	d.heard(c, false)
	if heard := d.understand(p, e); len(heard.Readings) > 0 {
		// "Yes, it is mine" answers the question before; only a bare yes is leave to phone.
		d.hear(p, c, heard, "", e.Text)
		return true
	}
	if !known {
		// Anything else is for the catcher; the question stays open.
		return false
	}
	q := p.Talk.Waiting
	p.Talk.Waiting = ""
	if q == askPhone {
		d.phone(c, yes)
		d.askMeanwhile(p, c, "")
	} else {
		d.arrived(p, c, yes)
	}
	return true
}

// phone is the caller's leave to be phoned: only then does the holder see their number.
func (d *decision) phone(c *Call, yes bool) {
	h := c.Holder
	h.Phone = "no"
	if !yes {
		d.tell(c.Caller, notify.News, "phone_no", d.about(c, c.Caller))
		return
	}
	h.Phone = "yes"
	v := d.about(c, h.Party)
	v["Number"] = c.Caller.Address.Number()
	d.tell(h.Party, notify.Claim, "phone_yes", v).Still = notify.Still{Call: c.ID, Holder: h.Catcher}
	d.tell(c.Caller, notify.News, "phone_yes_caller", d.about(c, c.Caller))
}

// arrived is the caller's word on whether the holder came.
func (d *decision) arrived(p *Person, c *Call, yes bool) {
	if yes {
		d.there(c, true)
		return
	}
	if c.Stage != Taken {
		d.status(p, c)
		return
	}
	k := d.catcher(c.Holder.Catcher)
	d.tell(c.Holder.Party, notify.Claim, "released", d.about(c, c.Holder.Party)).Buttons = d.backButtons(c.Holder.Party, c)
	k.Released = c.ID
	d.drop(c, k, "released")
}

// drop gives a call back: those in line are asked first, then wider; the caller hears when
// they hear again.
func (d *decision) drop(c *Call, k *Catcher, why string) {
	d.gaveBack(c, k)
	name := c.Holder.Name
	d.giveBack(c, k, why)
	if d.elsewhere(d.personByID(c.Caller.Person), c) {
		return
	}
	asked := d.round(c)
	switch {
	case asked > 0:
		d.promise(c, newsEvery)
		v := d.about(c, c.Caller)
		v["Holder"] = name
		key := "dropped_caller"
		if words(c.Caller).Knows(why + "_caller_next") {
			key = why + "_caller_next"
		}
		d.tell(c.Caller, notify.News, key, v)
	case !c.Thin:
		d.waits(c)
	}
}

// giveBack takes the call from its holder.
func (d *decision) giveBack(c *Call, k *Catcher, why string) {
	if o := c.offer(k.ID); o != nil {
		o.State, o.Answered = notify.AskDropped, d.Now
	}
	k.let(c.ID)
	c.Holder = nil
	d.move(c, Looking)
	d.note(c, why+" "+k.ID)
	d.clear(c, "eta", "dusk", "lift", "try")
	c.Thin, c.Referred = false, false
	p := d.personByID(c.Caller.Person)
	if p.Talk.Waiting == askPhone || p.Talk.Waiting == askArrived {
		p.Talk.Waiting = ""
	}
}
