package bot

import (
	"slices"
	"strings"
	"time"
	"unicode"

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
	c.Answers = c.Answers.Merge(heard.Answers)
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

// newReference makes four letters and digits that no other call has. They name a call and
// prove nothing, but nobody should guess them either.
func (d *decision) newReference() string {
	for try := range 50 {
		if ref := reference(d.Secret, d.Event.ID(), try); ref != "" && d.find("ref:"+ref) == "" {
			return ref
		}
	}
	panic("no free reference in 50 tries")
}

// reference is the reference that an event's call would have at a try, "" for one that has no
// digit and could be a word.
func reference(secret []byte, event EventID, try int) string {
	seed := derive(secret, "reference "+itoa(try), string(event), 16)
	var ref strings.Builder
	for i := range 4 {
		ref.WriteByte(referenceLetters[(int(seed[2*i])*31+int(seed[2*i+1]))%len(referenceLetters)])
	}
	if !strings.ContainsAny(ref.String(), "23456789") {
		return ""
	}
	return ref.String()
}

// firstReference names the look-up entry that an event needs if it opens a call, so that it
// is read along with the rest; "" when it opens none.
func firstReference(secret []byte, e Event) string {
	switch e.(type) {
	case Said, Rang:
	default:
		return ""
	}
	for try := range 50 {
		if ref := reference(secret, e.ID(), try); ref != "" {
			return "ref:" + ref
		}
	}
	return ""
}

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
		if h := c.Answers.HeightM; h != nil && *h > outOfReach {
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

// ask puts question q to the caller.
func (d *decision) ask(p *Person, c *Call, q intake.Question, noted string) {
	d.put(p, c, q, "ask_"+string(q), noted)
}

// put sends a question under the words of key and waits for its answer.
func (d *decision) put(p *Person, c *Call, q intake.Question, key, noted string) {
	if !slices.Contains(p.Talk.Asked, q) {
		p.Talk.Asked = append(p.Talk.Asked, q)
	}
	if p.Talk.Waiting != q {
		p.Talk.Misses = 0
	}
	p.Talk.Waiting, p.Talk.Nudged = q, false
	text := d.say(c.Caller, key, d.asking(p, c, q))
	if noted != "" {
		text = noted + " " + text
	} else if p.Talk.Unsaid && q != intake.AskStung {
		if said, ok := d.noted(c, p.Talk.Noted, text); ok {
			text = said
			p.Talk.Unsaid, p.Talk.Noted = false, c.Answers
		}
	}
	m := d.send(c.Caller, notify.Question, text)
	if q == intake.AskPlace {
		d.addLink(m, c, "tap_to_share", 2)
	}
	m.Buttons = d.optionButtons(c.Caller, q)
	if q == askWhich {
		m.Buttons = d.spotButtons(c.Caller, p.Talk.Spots)
	}
	m.Still = notify.Still{Call: c.ID, Asked: string(q)}
	if c.Stage == Asking && c.Held == "" {
		d.set(c, "silence", d.Now.Add(nudgeAfter))
	}
}

// asking is what the words of a question may name.
func (d *decision) asking(p *Person, c *Call, q intake.Question) values {
	v := d.about(c, c.Caller)
	if q == askWhich {
		v["List"] = d.spotList(c.Caller, p.Talk.Spots)
	}
	return v
}

// optionButtons returns q's options as buttons, two a row where they are short.
func (d *decision) optionButtons(p Party, q intake.Question) [][]notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	const short = 18
	var rows [][]notify.Button
	for _, o := range intake.Options(q) {
		b := notify.Button{Label: d.say(p, "opt_"+string(q)+"_"+o.Key, nil), Says: "=" + string(q) + ":" + o.Key}
		if last := len(rows) - 1; last >= 0 && len(rows[last]) == 1 && len(rows[last][0].Label) <= short && len(b.Label) <= short {
			rows[last] = append(rows[last], b)
			continue
		}
		rows = append(rows, []notify.Button{b})
	}
	return rows
}

// noted puts before a question what was read from free words, so that it can be corrected
// before it is relied on: as much of it as leaves the whole one SMS, the weightiest first.
// What was said back before is not said again. False means that there was nothing to say, or
// no room: it goes before the next question.
func (d *decision) noted(c *Call, before intake.Answers, question string) (string, bool) {
	a, p := c.Answers, c.Caller
	var parts []string
	add := func(key, value, old string) {
		if value != old && value != "" && value != "unsure" && value != "other" && value != "unknown" {
			parts = append(parts, d.say(p, "word_"+key+"_"+value, nil))
		}
	}
	add("shape", a.Shape, before.Shape)
	add("surface", a.Surface, before.Surface)
	if a.HeightM != nil && (before.HeightM == nil || *a.HeightM != *before.HeightM) {
		parts = append(parts, notify.HeightWords(words(p), *a.HeightM, d.Settings.Metric()))
	}
	add("body", a.Body, before.Body)
	add("crowd", a.Crowd, before.Crowd)
	if a.Stung == "none" || a.Stung == "someone" {
		add("stung", a.Stung, before.Stung)
	}
	for n := len(parts); n > 0; n-- {
		text := d.say(p, "noted", values{"What": strings.Join(parts[:n], ", ")}) + " " + question
		if words(p).Chat || notify.Segments(intake.GSM(text)) == 1 {
			return text, true
		}
	}
	return question, false
}

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
	case q != intake.AskPlace && (!ok || e.Pin != nil) && d.corrected(p, c, e, d.understand(p, e).Answers):
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
	c.Answers = c.Answers.Merge(heard.Answers)
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
	c.Answers = c.Answers.Merge(d.understand(p, e).Answers)
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
