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

// relays passes words on between the two sides of exactly one live call.
func (d *decision) relays(p *Person, e Said) bool {
	if c := d.openCall(p); c != nil && c.Holder != nil {
		if reports(e.Text) {
			d.freeze(c, c.Caller)
			return true
		}
		d.takeIn(c, e)
		d.heard(c, false)
		if d.saysArrived(c, e.Text, true) || d.corrected(p, c, e, d.understand(p, e).Answers) {
			return true
		}
		if strings.TrimSpace(e.Text) != "" {
			d.relay(c, c.Holder.Party, c.Caller, e.Text, d.callerName(c, c.Holder.Party))
		}
		return true
	}
	var live []*Call
	for _, id := range d.holds(p) {
		if c := d.call(id); c.heldBy(p.Catcher) && c.Ended.IsZero() && c.Stage != Lifted {
			live = append(live, c)
		}
	}
	if e.Pin != nil && p.Catcher != "" {
		d.here(p, e.Pin)
		return true
	}
	if n, ok := intake.BareMinutes(e.Text); ok && len(live) > 0 {
		return d.catcherWord(p, intake.Command{Word: intake.WordETA, Minutes: n}, "ETA "+itoa(n))
	}
	if intake.Courtesy(e.Text) && len(e.Photos) == 0 {
		return false
	}
	switch len(live) {
	case 0:
		return d.answersAfter(p, e)
	case 1:
		if reports(e.Text) {
			d.freeze(live[0], live[0].Holder.Party)
			return true
		}
		d.heard(live[0], true)
		d.saysArrived(live[0], e.Text, false)
		d.passOn(live[0], p, e)
	default:
		d.choose(p, e.Text, live)
	}
	return true
}

// passOn gives the holder's words to the caller, unless they wanted no more of ours.
func (d *decision) passOn(c *Call, p *Person, e Said) {
	if d.personByID(c.Caller.Person).Stopped {
		d.idle(p, "relay_gone", d.about(c, p.party()))
		return
	}
	c.Holder.Wrote = d.Now
	if len(e.Photos) > 0 {
		d.tell(c.Caller, notify.Relay, "relay_photo_holder", d.about(c, c.Caller)).Photos = e.Photos
	}
	if strings.TrimSpace(e.Text) != "" {
		d.relay(c, c.Caller, c.Holder.Party, e.Text, c.Holder.Name)
	}
}

// relay sends words from one side to the other, and tells the writer so the first time.
func (d *decision) relay(c *Call, to, from Party, text, name string) {
	const longest = 600
	if r := []rune(text); len(r) > longest {
		text = string(r[:longest]) + "…"
	}
	if c.Frozen != "" {
		d.frozen(c, from)
		return
	}
	m := d.send(to, notify.Relay, name+": "+withoutLinks(text))
	m.Still = notify.Still{Call: c.ID, Stages: stageNames(append(slices.Clone(heldStages), Hived, Flown))}
	const most = 80 // words passed on for one swarm; after that people phone
	if c.Relayed++; c.Relayed > most {
		d.change.Messages = d.change.Messages[:len(d.change.Messages)-1]
		d.change.Outcome = OutcomeQuiet
		if c.Relayed == most+1 {
			d.tell(from, notify.News, "relay_full", d.about(c, from))
			d.tellStewards("steward_relay_full", d.about(c, Party{}), "")
		}
		return
	}
	mark := "relayed " + string(from.Address.Channel()) + " " + from.Person
	if !slices.ContainsFunc(c.Story, func(l Line) bool { return l.What == mark }) {
		d.note(c, mark)
		d.tell(from, notify.News, "relayed", d.about(c, from))
	}
}

func stageNames(stages []Stage) []string {
	names := make([]string, len(stages))
	for i, s := range stages {
		names[i] = string(s)
	}
	return names
}

// tellHolder gives the holder what the caller added since the brief, in one text.
func (d *decision) tellHolder(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Taken {
		return
	}
	more := withoutLinks(d.whatIsNew(c))
	if more == "" {
		return
	}
	d.clear(c, "tell")
	v := d.about(c, h.Party)
	v["What"] = more
	c.Briefed = c.Answers
	d.tell(h.Party, notify.Claim, "update_holder", v).Still = notify.Still{Call: c.ID, Holder: h.Catcher}
}

// tellHolderSoon gathers a caller's answers for the holder: at once when somebody was hurt or
// could be, else when the last question is answered or the caller pauses.
func (d *decision) tellHolderSoon(c *Call) {
	if c.Holder == nil || c.Stage != Taken {
		return
	}
	if pressing(c) {
		d.tellHolder(c)
		return
	}
	d.set(c, "tell", d.Now.Add(pauses))
}

// pauses is how long a caller is waited for before what they told goes to the holder.
const pauses = 3 * time.Minute

// moved reports whether the holder would drive to the wrong place.
func moved(c *Call) bool {
	a, b := c.Answers.Place, c.Briefed.Place
	return a != nil && (b == nil || a.Text != b.Text || a.Text == "" && *a != *b)
}

// pressing reports whether the holder must hear at once: somebody was hurt or could be.
func pressing(c *Call) bool {
	a, b := c.Answers, c.Briefed
	return moved(c) || a.Stung != b.Stung || a.Allergic != b.Allergic || len(a.Hazards) != len(b.Hazards)
}

// whatIsNew says in a few words what the answers tell beyond what the holder was told.
func (d *decision) whatIsNew(c *Call) string {
	a, b, p := c.Answers, c.Briefed, c.Holder.Party
	var parts []string
	word := func(key, value, old string) {
		if value != old && value != "" && value != "unsure" && value != "unknown" && value != "other" {
			parts = append(parts, d.say(p, "word_"+key+"_"+value, nil))
		}
	}
	word("stung", a.Stung, b.Stung)
	word("allergic", a.Allergic, b.Allergic)
	if moved(c) {
		parts = append(parts, d.exact(p, c))
	}
	for _, h := range a.Hazards {
		if !b.Has(h) {
			parts = append(parts, d.say(p, "word_hazard_"+h, nil))
		}
	}
	word("surface", a.Surface, b.Surface)
	if a.HeightM != nil && (b.HeightM == nil || *a.HeightM != *b.HeightM) {
		parts = append(parts, notify.HeightWords(words(p), *a.HeightM, d.Settings.Metric()))
	}
	word("crowd", a.Crowd, b.Crowd)
	word("owner", a.Owner, b.Owner)
	for _, free := range [][2]string{{a.Name, b.Name}, {a.Access, b.Access}} {
		if free[0] != free[1] && free[0] != "" && free[0] != intake.NothingSpecial {
			parts = append(parts, free[0])
		}
	}
	return strings.Join(parts, "; ")
}
