package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// How long a silent caller is waited for.
const (
	nudgeAfter = 10 * time.Minute
	closeAfter = 50 * time.Minute // after the nudge
	photoAfter = 10 * time.Minute
)

// begin opens a call with its first text.
func (d *decision) begin(p *Person, e Said) {
	if !d.mayReport(p) {
		return
	}
	if lang := intake.GuessLanguage(e.Text, "", p.Language); !p.Chosen && lang != "" && slices.Contains(d.Settings.Languages, lang) {
		p.Language = lang
	}
	c := d.newCall(p)
	d.takeIn(c, e)
	heard := d.understand(p, e)
	before := c.Answers
	if d.samePlace != nil {
		place := *d.samePlace
		c.Answers.Place, c.LookedUp = &place, place.Text
	}
	c.Answers = heard.Over(c.Answers)
	d.lookUp(p, c, e.Text)
	p.Talk.Unsaid = len(heard.Readings) > 0
	d.hello(p, c)
	d.firstAid(c, before)
	if p.Talk.Waiting == "" {
		d.proceed(p, c, "")
	}
}

// understand reads everything that a text and what came with it tell.
func (d *decision) understand(p *Person, e Said) intake.Heard {
	heard := intake.Understand(e.Text, d.setting(p))
	if e.Pin != nil {
		heard.Answers.Place = e.Pin.place()
	}
	return heard
}

// place is a shared location as an answer.
func (p *Point) place() *intake.Place {
	const phone = 20 // metres, when the phone does not say how sure it is
	precision := p.PrecisionM
	if precision <= 0 {
		precision = phone
	}
	return &intake.Place{Lat: p.Lat, Lon: p.Lon, Text: p.Title, PrecisionM: precision}
}

// newCall makes a call for p, with an id and a reference that derive from the event.
func (d *decision) newCall(p *Person) *Call {
	id := derive(d.Secret, "call", string(d.Event.ID()), 12)
	if !d.Again {
		d.assumeNew(Key{KindCall, id})
	}
	c := d.call(id)
	*c = Call{
		Schema: documentSchema, ID: id, Reference: d.newReference(), Stage: Asking, Opened: d.Now,
		Caller: p.party(), Answers: intake.Answers{Month: int(d.now.Month())},
	}
	p.Call, p.Talk = id, Talk{}
	d.change.Finds = append(d.change.Finds, Find{"ref:" + c.Reference, id})
	d.note(c, "opened")
	return c
}

// referenceLetters leave out what is misread or spells words.
const referenceLetters = "23456789CDFGHJKMPQRTVWXY"

// takeIn keeps the photos that came with a text, and passes them on to the holder; a contact
// card is fetched.
func (d *decision) takeIn(c *Call, e Said) {
	if e.Card != "" {
		d.fetchCard(c, e.Card)
	}
	const most = 10
	for _, photo := range e.Photos {
		if len(c.Photos) < most && !slices.Contains(c.Photos, photo) {
			c.Photos = append(c.Photos, photo)
		}
	}
	holder := c.Holder
	if c.Joined != "" && len(e.Photos) > 0 {
		holder = d.call(c.Joined).Holder
	}
	if len(e.Photos) > 0 && holder != nil {
		d.showHolder(c, holder, "relay_photo").Photos = e.Photos
	}
}

// hello is the first reply: the danger, who we are, and the first question, in one message
// where it is the usual one.
func (d *decision) hello(p *Person, c *Call) {
	if q, ok := d.nextQuestion(p, c); ok && q == intake.AskStung {
		d.put(p, c, q, "hello_stung", "")
		return
	}
	d.tell(c.Caller, notify.Question, "hello", nil)
}

// nextQuestion asks triage what would help most.
func (d *decision) nextQuestion(p *Person, c *Call) (intake.Question, bool) {
	if len(p.Talk.Spots) > 1 && c.Answers.Stung != "" && !slices.Contains(p.Talk.Asked, askWhich) {
		return askWhich, true
	}
	return triage.NextQuestion(c.Answers, p.Talk.Asked, d.scene(c))
}

// scene is when and where triage weighs the answers.
func (d *decision) scene(c *Call) triage.Scene {
	return d.Settings.Scene(d.now)
}

// assess weighs the answers anew.
func (d *decision) assess(c *Call) {
	c.Assessment = triage.Assess(c.Answers, d.scene(c))
}

// proceed takes the conversation one step on from what is known.
func (d *decision) proceed(p *Person, c *Call, noted string) {
	d.lookUp(p, c, "")
	if d.beyond(p, c) {
		return
	}
	d.assess(c)
	if c.Stage != Asking {
		d.update(p, c, noted)
		return
	}
	if c.Held != "" {
		d.idle(p, "held_more", d.about(c, c.Caller))
		return
	}
	// A nest in a building needs no more questions when nobody of ours takes those out.
	if c.Assessment.Route == triage.RouteSpecialist && c.Answers.Stung != "" && triage.Settled(c.Answers, d.scene(c)) {
		d.act(p, c, noted)
		return
	}
	if d.needsNearer(p, c) {
		d.put(p, c, intake.AskPlace, "ask_place_nearer", noted)
		return
	}
	if q, ok := d.nextQuestion(p, c); ok {
		d.ask(p, c, q, noted)
		return
	}
	d.clear(c, "silence", "photo")
	p.Talk.Waiting = ""
	d.act(p, c, noted)
}

// act does what the assessment says, once enough is known.
func (d *decision) act(p *Person, c *Call, noted string) {
	if slices.Contains(c.Assessment.Advice, triage.MoreDefensive) {
		d.advise(c, notify.News, triage.MoreDefensive)
	}
	switch c.Assessment.Route {
	case triage.RouteOffer:
		if beyondAnybody(c) {
			d.leaveAlone(p, c)
			return
		}
		if d.manyReports(p) {
			d.hold(c, "many_reports")
			return
		}
		d.look(p, c)
	case triage.RouteSpecialist:
		d.specialist(p, c)
	case triage.RouteRedirect:
		d.redirect(p, c)
	default:
		if triage.NeedsPhoto(c.Assessment) && len(c.Photos) == 0 && !slices.Contains(p.Talk.Asked, intake.AskPhoto) {
			d.ask(p, c, intake.AskPhoto, noted)
			d.set(c, "photo", d.Now.Add(photoAfter))
			return
		}
		d.hold(c, d.whyHeld(c))
	}
}

// outOfReach is the height in metres above which nobody is sent: judgement, well above what
// a pole from the ground can do.
const outOfReach = 12.0

// unreadable is the reason of a call held because three answers could not be read.
const unreadable = "unreadable"

// whyHeld names the reason in triage's words: the contradiction if there is one.
func (d *decision) whyHeld(c *Call) string {
	for _, w := range c.Assessment.Why {
		if reason, ok := strings.CutPrefix(w.Because, "route:"); ok {
			return reason
		}
	}
	return "unclear"
}

// reopen goes on with a call that ended too early: the caller was silent, or corrects us.
func (d *decision) reopen(p *Person, c *Call, e Said) {
	waiting := p.Talk.Waiting
	c.Stage, c.Ended, c.Held = Asking, time.Time{}, ""
	// Who held it when it ended has nothing to do with it any more; left standing, nobody
	// could lose the call again and it would never lapse.
	c.Thin, c.Referred, c.Offers, c.Holder = false, false, nil, nil
	c.Joined, c.Also, c.Waits = "", nil, false
	p.Call, p.Calls = c.ID, without(p.Calls, c.ID)
	d.clear(c, scrubPurpose, photosPurpose)
	d.note(c, "reopened")
	d.takeIn(c, e)
	heard, ok := intake.Heard{}, false
	if waiting != "" {
		heard, ok = intake.ReadAnswer(waiting, e.Text, d.setting(p))
	}
	if !ok {
		heard = intake.Understand(e.Text, d.setting(p))
	}
	if len(heard.Readings) == 0 && !ok && waiting != "" {
		d.ask(p, c, waiting, "")
		return
	}
	p.Talk.Waiting = ""
	d.hear(p, c, heard, waiting, e.Text)
}

// silence is the timer of a caller who went quiet: a nudge, then a kind end.
func (d *decision) silence(c *Call) {
	p := d.personByID(c.Caller.Person)
	if c.Stage != Asking || c.Held != "" || p.Call != c.ID {
		return
	}
	if !p.Talk.Nudged {
		q := p.Talk.Waiting
		text := d.say(c.Caller, "nudge", d.about(c, c.Caller))
		if q != "" {
			text += " " + d.say(c.Caller, "ask_"+string(q), d.asking(p, c, q))
		}
		m := d.send(c.Caller, notify.Question, text)
		m.Buttons = d.optionButtons(c.Caller, q)
		if q == askWhich {
			m.Buttons = d.spotButtons(c.Caller, p.Talk.Spots)
		}
		m.Still = notify.Still{Call: c.ID, Stages: []string{string(Asking)}}
		p.Talk.Nudged = true
		d.set(c, "silence", d.Now.Add(closeAfter))
		return
	}
	d.tell(c.Caller, notify.News, "closed_silent", nil)
	d.end(c, Unfinished)
}

// photoLate goes on without the photo.
func (d *decision) photoLate(c *Call) {
	p := d.personByID(c.Caller.Person)
	if c.Stage != Asking || p.Talk.Waiting != intake.AskPhoto {
		return
	}
	p.Talk.Waiting = ""
	d.proceed(p, c, "")
}
