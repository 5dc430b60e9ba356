package bot

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// said reads a text. First match wins: an opt-out word, an emergency, a command word, an
// answer to the question we wait on, words for the other side of a live call, a courtesy,
// and last the start of something new.
func (d *decision) said(e Said) {
	p := d.person(e.From)
	d.meet(p, e.Language, e.Profile)
	stop, start := intake.OptOut(e.Text)
	switch {
	case stop || e.OptOut == "STOP":
		d.optOut(p)
	case intake.EmergencyIn(p.Talk.Waiting, e.Text):
		d.emergency(p, e)
	case d.unpaid(p):
	case start || e.OptOut == "START" || p.Stopped && joins(e.Text):
		d.optIn(p)
		if joins(e.Text) {
			d.command(p, e)
		}
	case p.Stopped && asksErasure(e.Text):
		d.erases(p)
	case p.Stopped:
		d.change.Outcome = OutcomeStopped
	case d.tooMuch(p, e):
	case e.OptOut == "HELP":
		// The carrier has answered already; a second answer would only cost.
		d.change.Outcome = OutcomeQuiet
	case intake.AsksHelp(e.Text):
		d.helpWord(p)
	case d.wantsPerson(p, e):
	case d.tellsFound(p, e), d.command(p, e), d.switches(p, e), d.otherBees(p, e), d.chose(p, e), d.answers(p, e), d.relays(p, e), d.thanks(p, e):
	default:
		d.something(p, e)
	}
}

func asksErasure(text string) bool {
	cmd, ok := intake.ReadCommand(text, intake.Setting{})
	return ok && cmd.Word == intake.WordDelete
}

func joins(text string) bool {
	cmd, ok := intake.ReadCommand(text, intake.Setting{})
	return ok && cmd.Word == intake.WordJoin
}

// meet takes what a channel tells of a person: their language until they choose one, their
// first name.
func (d *decision) meet(p *Person, language, profile string) {
	if !p.Chosen && language != "" && slices.Contains(d.Settings.Languages, language) {
		p.Language = language
	}
	if p.Name == "" && profile != "" {
		p.Name = profile
	}
}

// setting is what a reader of texts must know.
func (d *decision) setting(p *Person) intake.Setting {
	s := d.Settings.reading()
	s.Language, s.At, s.Waiting = p.Language, d.now, p.Talk.Waiting
	return s
}

// command acts on a command word at the start of a text, if the sender may use it.
func (d *decision) command(p *Person, e Said) bool {
	if t, ok := intake.ReadTies(e.Text); ok && d.Settings.IsSteward(p.Address) {
		d.ties(p, t)
		return true
	}
	if report, ok := intake.ReadNew(e.Text); ok && d.Settings.IsSteward(p.Address) {
		d.newForOthers(p, report)
		return true
	}
	cmd, ok := intake.ReadCommand(e.Text, d.setting(p))
	if !ok {
		return false
	}
	return d.obey(p, cmd, e)
}

// obey carries out one command. False means that it is no command coming from this person,
// so that the text is read on.
func (d *decision) obey(p *Person, cmd intake.Command, e Said) bool {
	switch cmd.Word {
	case intake.WordMenu:
		d.menu(p)
	case intake.WordBack:
		return d.back(p)
	case intake.WordAgain:
		return d.again(p)
	case intake.WordGone:
		if d.openCall(p) == nil && p.Catcher != "" {
			cmd.Word = intake.WordFlown // "they left", from the one who went
			return d.catcherWord(p, cmd, e.Text)
		}
		return d.gone(p, cmd)
	case intake.WordJoin:
		d.join(p, cmd.Rest)
	case intake.WordDelete:
		d.eraseMe(p)
	case intake.WordSeason:
		return d.season(p)
	case intake.WordSay, intake.WordOffer, intake.WordClose, intake.WordNew, intake.WordOpen, intake.WordWhy:
		return d.stewardWord(p, cmd, e)
	default:
		return d.sharesNumber(p, cmd) || d.catcherWord(p, cmd, e.Text)
	}
	return true
}

// switches changes the language when a text is just that wish, and says the last question
// again in it.
func (d *decision) switches(p *Person, e Said) bool {
	lang, ok := intake.LanguageSwitch(e.Text)
	if !ok || !slices.Contains(d.Settings.Languages, lang) {
		return false
	}
	p.Language, p.Chosen = lang, true
	if c := d.openCall(p); c != nil {
		c.Caller.Language = lang
	}
	if p.Catcher != "" {
		if c := d.catcher(p.Catcher); c.ID != "" {
			c.Language = lang
			d.change.Roster = append(d.change.Roster, RosterCard{c.ID, &c.Catcher})
		}
	}
	if !d.again(p) {
		d.tell(p.party(), notify.Question, "language_set", nil)
	}
	return true
}

// chose reads a number as a pick from the list the person was sent last.
func (d *decision) chose(p *Person, e Said) bool {
	choice := p.Talk.Choice
	if choice == nil {
		return d.choseSameOrNew(p, e)
	}
	p.Talk.Choice = nil
	n, ok := number(e.Text)
	if !ok || n < 1 || n > len(choice.Calls) {
		return false
	}
	c := d.call(choice.Calls[n-1])
	if cmd, ok := intake.ReadCommand(choice.Text, d.setting(p)); ok {
		cmd.Reference = c.Reference
		return d.catcherWord(p, cmd, choice.Text)
	}
	if c.heldBy(p.Catcher) {
		d.passOn(c, p, Said{Text: choice.Text})
	}
	return true
}

// number reads a text that is one whole number.
func number(s string) (int, bool) {
	s = strings.Trim(strings.TrimSpace(s), ".)#")
	if s == "" || len(s) > 3 {
		return 0, false
	}
	n := 0
	for _, r := range s {
		if r < '0' || r > '9' {
			return 0, false
		}
		n = n*10 + int(r-'0')
	}
	return n, true
}

// openCall returns the open call that p reports, nil when there is none.
func (d *decision) openCall(p *Person) *Call {
	if p.Call == "" {
		return nil
	}
	c := d.call(p.Call)
	if c.ID == "" || !c.Ended.IsZero() {
		return nil
	}
	return c
}

// thanks answers a courtesy once, and never lets it start anything.
func (d *decision) thanks(p *Person, e Said) bool {
	if !intake.Courtesy(e.Text) || len(e.Photos) > 0 || e.Pin != nil {
		return false
	}
	c := d.openCall(p)
	switch {
	case c == nil && p.Catcher == "" && p.Last.ID == "" && !d.Settings.IsSteward(p.Address):
		// "ok" from somebody we never heard of: there is something they wanted to say.
		d.begin(p, e)
	case c != nil && c.Emergency && p.Talk.Waiting == "":
		d.proceed(p, c, "")
	case c != nil && !p.Idle.allow(d.Now, d.Settings.Limits):
		d.change.Outcome = OutcomeQuiet
	case c != nil:
		d.status(p, c)
	default:
		d.change.Outcome = OutcomeQuiet
	}
	return true
}

// something is a text that fits nothing we wait for: more about an open call, a correction
// of one that ended, "the same bees or new ones?", or the start of a report.
func (d *decision) something(p *Person, e Said) {
	if c := d.openCall(p); c != nil {
		d.more(p, c, e)
		return
	}
	if p.Catcher != "" && e.Pin != nil {
		d.here(p, e.Pin)
		return
	}
	heard := intake.Understand(e.Text, d.setting(p))
	telling := len(heard.Readings) > 0 || len(e.Photos) > 0 || e.Pin != nil
	if (p.Catcher != "" || d.Settings.IsSteward(p.Address)) && !describes(heard.Answers) {
		d.idle(p, "unread_catcher", nil)
		return
	}
	if p.Last.ID == "" || d.Now.Sub(p.Last.Ended) > sameBees {
		d.begin(p, e)
		return
	}
	d.afterTheEnd(p, e, telling)
}

// describes reports whether a says what was seen: from people of the club nothing less
// begins a report.
func describes(a intake.Answers) bool {
	return a.Shape != "" || a.Body != "" || a.Surface != "" || a.Crowd != ""
}

// sameBees is how long after a call's end a text may still be about it.
const sameBees = 14 * 24 * time.Hour

// afterTheEnd reads a text from somebody whose last call ended a short while ago.
func (d *decision) afterTheEnd(p *Person, e Said, telling bool) {
	c := d.call(p.Last.ID)
	recent := d.Now.Sub(p.Last.Ended) < 24*time.Hour
	switch {
	case c.ID == "":
		d.begin(p, e)
	case recent && c.Stage == Unfinished, recent && telling && corrects(c.Stage) && c.Holder == nil:
		d.reopen(p, c, e)
	default:
		p.Talk.Pending, p.Talk.PendingPhotos, p.Talk.PendingPin = cmp.Or(e.Text, wordless), e.Photos, e.Pin
		place := p.Last.Place
		if place == "" {
			place = c.Reference
		}
		d.tell(p.party(), notify.Question, "same_or_new", values{"Place": place}).Buttons =
			d.buttons(p.party(), "same_or_new", "same", "new")
	}
}

// wordless stands for a photo or a pin that came without words.
const wordless = "…"

func corrects(s Stage) bool { return s == PassedOn || s == LeftAlone }

// choseSameOrNew reads the answer to "the same bees or new ones?".
func (d *decision) choseSameOrNew(p *Person, e Said) bool {
	if p.Talk.Pending == "" {
		return false
	}
	pending := strings.TrimSuffix(p.Talk.Pending, wordless)
	e.Photos = append(slices.Clone(p.Talk.PendingPhotos), e.Photos...)
	if e.Pin == nil {
		e.Pin = p.Talk.PendingPin
	}
	p.Talk.Pending, p.Talk.PendingPhotos, p.Talk.PendingPin = "", nil, nil
	n, _ := number(e.Text)
	switch text := lower(strings.TrimSpace(e.Text)); {
	case n == 1 || text == "same":
		d.sameBees(p, e, pending)
	case n == 2 || text == "new":
		e.Text = pending
		d.begin(p, e)
	default:
		e.Text = strings.TrimSpace(pending + "\n" + e.Text)
		d.begin(p, e)
	}
	return true
}

// sameBees goes on about bees of which the call has ended: that they are there (again)
// begins a report at the place we know; anything else is words for whoever went, or the club.
func (d *decision) sameBees(p *Person, e Said, text string) {
	last := d.call(p.Last.ID)
	if !intake.BackAgain(text) || d.relayOpen(last) || last.Answers.Place == nil {
		d.aboutLast(p, cmp.Or(text, wordless))
		return
	}
	d.samePlace = last.Answers.Place
	e.Text = text
	d.begin(p, e)
}

// aboutLast hands words about an ended call to the club.
func (d *decision) aboutLast(p *Person, text string) {
	c := d.call(p.Last.ID)
	if d.relayOpen(c) {
		d.relay(c, c.Holder.Party, c.Caller, text, d.callerName(c, c.Holder.Party))
		k := d.catcher(c.Holder.Catcher)
		k.Wrote = c.ID
		return
	}
	d.tellStewards("steward_after_end", values{"Ref": c.Reference, "Words": text}, "")
	d.tell(p.party(), notify.News, "passed_to_club", nil)
}

// idle answers a text that moves nothing, unless that happens too often.
func (d *decision) idle(p *Person, key string, v values) {
	if !p.Idle.allow(d.Now, d.Settings.Limits) {
		d.change.Outcome = OutcomeQuiet
		return
	}
	d.tell(p.party(), notify.News, key, v)
}

// tapped reads a button: an answer to the question it names, or else the words it stands
// for.
func (d *decision) tapped(e Tapped) {
	p := d.person(e.From)
	d.meet(p, e.Language, e.Profile)
	if p.Stopped {
		d.change.Outcome = OutcomeStopped
		return
	}
	said := Said{Event: e.Event, From: e.From, Text: e.Says}
	if !p.Abuse.Texts.allow(d.Now, floodLimits) && !d.Settings.IsSteward(p.Address) {
		d.change.Outcome = OutcomeQuiet
		return
	}
	if q, key, ok := strings.Cut(strings.TrimPrefix(e.Says, "="), ":"); ok && strings.HasPrefix(e.Says, "=") {
		d.tappedAnswer(p, intake.Question(q), key)
		return
	}
	if d.command(p, said) || d.switches(p, said) || d.otherBees(p, said) || d.chose(p, said) || d.answers(p, said) {
		return
	}
	d.change.Outcome = OutcomeStale
}

// buttons returns one row a button for p's channel; none where the channel has none. The
// labels are <stem>_<key>; a button says its key.
func (d *decision) buttons(p Party, stem string, keys ...string) [][]notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	var rows [][]notify.Button
	for _, k := range keys {
		rows = append(rows, []notify.Button{{Label: d.say(p, stem+"_"+k, nil), Says: k}})
	}
	return rows
}
