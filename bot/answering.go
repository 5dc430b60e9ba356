package bot

import (
	"slices"
	"strings"
	"unicode"

	"skepline/intake"
	"skepline/triage"
)

// What a caller says to a question, whatever form it takes.

// answers reads a text as an answer to the question we wait on.
func (d *decision) answers(p *Person, e Said) bool {
	c := d.openCall(p)
	if c == nil || p.Talk.Waiting == "" {
		return false
	}
	if p.Talk.Waiting == askPhone || p.Talk.Waiting == askArrived {
		return d.answersHolder(p, c, e)
	}
	d.takeIn(c, e)
	q := p.Talk.Waiting
	if q == askWhich && e.Pin == nil && e.Text != "" {
		d.chosenSpot(p, c, e.Text)
		return true
	}
	heard, ok := intake.ReadAnswer(q, e.Text, d.setting(p))
	switch {
	case q != intake.AskPlace && (!ok || e.Pin != nil) && d.corrected(p, c, e, d.understand(p, e)):
	case e.Pin != nil:
		d.gotPin(p, c, e)
	case e.Text == "" && e.Card != "":
		// What it holds comes in a moment.
	case e.Text == "" && len(e.Photos) > 0:
		d.gotPhoto(p, c)
	case ok:
		d.hear(p, c, heard, q, e.Text)
	default:
		return d.answersElse(p, c, e, q)
	}
	return true
}

// answersElse reads a text that is no answer to q: it may tell other things, be meant for
// the catcher, or be unreadable.
func (d *decision) answersElse(p *Person, c *Call, e Said, q intake.Question) bool {
	heard := intake.Understand(e.Text, d.setting(p))
	switch {
	case c.Holder != nil && heard.Answers.Place != nil:
		return false // "I am at 20 Oak St until six" moves no bees
	case len(heard.Readings) > 0:
		d.repliesToHolder(c, e.Text)
		d.hear(p, c, heard, "", e.Text)
	case d.correctsBefore(p, c, e, q):
	case c.Holder != nil:
		return false // words for the catcher
	case intake.Courtesy(e.Text) && strings.ContainsFunc(e.Text, unicode.IsLetter) && p.Idle.allow(d.Now, d.Settings.Limits):
		d.ask(p, c, q, "") // thanks are no answer, and no mistake either
	default:
		d.missed(p, c, q, e)
	}
	return true
}

// hear lays what was understood over what was known and goes on. q is the question it
// answers, "" when it answers none; text is all that was said.
func (d *decision) hear(p *Person, c *Call, heard intake.Heard, q intake.Question, text string) {
	before := c.Answers
	c.Answers = heard.Over(c.Answers)
	d.placed(p, c, before, text)
	if c.Answers.Stung == "trouble_breathing" && before.Stung != "trouble_breathing" {
		d.emergency(p, Said{})
		return
	}
	p.Talk.Misses = 0
	if q != "" {
		p.Talk.Waiting = ""
	} else {
		p.asksAgain(c)
	}
	if c.Held == unreadable && len(heard.Readings) > 0 {
		// They have found words that we can read: nobody needs to look any more.
		c.Held = ""
		d.clear(c, "steward")
	}
	d.firstAid(c, before)
	p.Talk.Unsaid = p.Talk.Unsaid || len(heard.Readings) > 1 || q == "" && len(heard.Readings) > 0
	d.proceed(p, c, d.gotLater(c, before, q))
}

// placed looks at a place that is new in the answers.
func (d *decision) placed(p *Person, c *Call, before intake.Answers, text string) {
	d.placeBefore = before.Place
	if now := c.Answers.Place; now != nil && (before.Place == nil || *now != *before.Place) {
		town := intake.Place{}
		if c.Area && before.Place != nil {
			town = *before.Place
		}
		c.Area, p.Talk.Spots = false, nil
		d.lookUp(p, c, strings.TrimSpace(town.Text+" "+text))
		d.inTown(p, c, town)
		d.addsToPlace(p, c, before.Place, text)
	}
}

// tappedAnswer is a press on an answer's button, of the question we wait on or of an older
// one: that corrects it.
func (d *decision) tappedAnswer(p *Person, q intake.Question, key string) {
	if q == askFound {
		d.turnsOut(p, triage.Kind(key))
		return
	}
	c := d.openCall(p)
	if c == nil {
		d.change.Outcome = OutcomeStale
		return
	}
	if q == askPhone || q == askArrived {
		d.answersHolder(p, c, Said{Text: key})
		return
	}
	if q == askWhich && len(p.Talk.Spots) > 0 {
		d.chosenSpot(p, c, key)
		return
	}
	for _, o := range intake.Options(q) {
		if o.Key != key {
			continue
		}
		p.Talk.Asked = append(without(p.Talk.Asked, q), q)
		d.hear(p, c, intake.Heard{Answers: o.Set(intake.Answers{})}, q, "")
		return
	}
	d.change.Outcome = OutcomeStale
}

// gotPhoto is a photo without words.
func (d *decision) gotPhoto(p *Person, c *Call) {
	q := p.Talk.Waiting
	if q == intake.AskPhoto {
		p.Talk.Waiting = ""
		d.proceed(p, c, "")
		return
	}
	d.put(p, c, q, "ask_"+string(q), d.say(c.Caller, "got_it", nil))
}

// gotPin is a shared location, whether we asked for it or not.
func (d *decision) gotPin(p *Person, c *Call, e Said) {
	before := c.Answers
	c.Answers = d.understand(p, e).Over(c.Answers)
	d.placed(p, c, before, e.Text)
	d.firstAid(c, before)
	if p.Talk.Waiting == intake.AskPlace || p.Talk.Waiting == askWhich {
		p.Talk.Waiting = ""
		d.proceed(p, c, "")
		return
	}
	d.proceed(p, c, d.say(c.Caller, "got_place", nil))
}

// missed asks an unreadable answer again in other words; the third time a steward sees it.
func (d *decision) missed(p *Person, c *Call, q intake.Question, e Said) {
	p.Talk.Misses++
	why := ""
	if e.Other != "" {
		why = d.say(c.Caller, "cannot_read", nil)
	}
	switch {
	case p.Talk.Misses <= 2:
		d.put(p, c, q, "ask_"+string(q)+"_again", why)
	case c.Stage == Asking:
		d.hold(c, unreadable)
		d.showSteward(c, e.Text)
	default:
		// The rest of the questions only help; the call goes on without this answer.
		d.showSteward(c, e.Text)
		p.Talk.Waiting, p.Talk.Misses = "", 0
		d.proceed(p, c, "")
	}
}

// back asks the question before the current one again.
func (d *decision) back(p *Person) bool {
	c := d.openCall(p)
	if c == nil {
		return false
	}
	asked := p.Talk.Asked
	if n := len(asked); n > 0 && p.Talk.Waiting == asked[n-1] {
		asked = asked[:n-1]
	}
	if len(asked) == 0 {
		return d.again(p)
	}
	q := asked[len(asked)-1]
	p.Talk.Asked = slices.Clone(asked)
	d.ask(p, c, q, "")
	return true
}

// again says the current question once more, or how things stand.
func (d *decision) again(p *Person) bool {
	c := d.openCall(p)
	switch {
	case c == nil:
		return false
	case p.Talk.Waiting == askPhone || p.Talk.Waiting == askArrived || p.Talk.Waiting == "":
		d.status(p, c)
	default:
		d.ask(p, c, p.Talk.Waiting, "")
	}
	return true
}
