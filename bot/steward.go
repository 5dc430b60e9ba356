package bot

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// tellStewards sends a text to every steward, except the person named.
func (d *decision) tellStewards(key string, v values, except string) {
	for _, s := range d.Settings.Stewards {
		a := notify.Address(s)
		p := Party{Person: PersonID(d.Secret, a), Address: a, Language: d.Settings.DefaultLanguage()}
		if p.Person == except {
			continue
		}
		d.tell(p, notify.News, key, v)
	}
}

// showSteward passes words that nobody could read on to the stewards.
func (d *decision) showSteward(c *Call, text string) {
	v := d.about(c, Party{})
	v["Words"] = clip(text)
	d.tellStewards("steward_words", v, c.Caller.Person)
}

// clip keeps a quotation to a length that fits a text.
func clip(text string) string {
	const longest = 300
	if r := []rune(strings.TrimSpace(text)); len(r) > longest {
		return string(r[:longest]) + "…"
	}
	return strings.TrimSpace(text)
}

// stewardWord carries out a steward's word. From anybody else it is no command.
func (d *decision) stewardWord(p *Person, cmd intake.Command, e Said) bool {
	if !d.Settings.IsSteward(p.Address) {
		return false
	}
	switch cmd.Word {
	case intake.WordOpen:
		d.listOpen(p)
		return true
	case intake.WordNew:
		d.newForOthers(p, cmd.Rest)
		return true
	}
	c := (*Call)(nil)
	if cmd.Reference != "" {
		c = d.byReference(cmd.Reference)
	}
	if c == nil && cmd.Word == intake.WordWhy && cmd.Reference == "" {
		c = d.onlyOpen()
	}
	if c != nil && cmd.Word == intake.WordWhy { // also of one that is over
		d.stewardWhy(p, c, cmd.Rest)
		return true
	}
	if c == nil || !c.Ended.IsZero() {
		d.tell(p.party(), notify.News, "steward_which", nil)
		return true
	}
	if c.Joined != "" && cmd.Word == intake.WordOffer {
		d.call(c.Joined).Also = without(d.call(c.Joined).Also, c.ID)
		c.Joined = ""
		d.clear(c, "together")
	}
	switch cmd.Word {
	case intake.WordSay:
		d.stewardSays(p, c, cmd.Rest)
	case intake.WordOffer:
		d.stewardOffers(p, c, cmd.Rest)
	case intake.WordClose:
		d.stewardCloses(p, c)
	}
	return true
}

// stewardSays gives a steward's words to the caller. A person has looked: the referral that
// was to go out by itself is off.
func (d *decision) stewardSays(p *Person, c *Call, text string) {
	if strings.TrimSpace(text) == "" {
		d.tell(p.party(), notify.News, "steward_say_what", values{"Ref": c.Reference})
		return
	}
	d.note(c, "steward_said")
	d.clear(c, "steward")
	d.set(c, "lapse", d.Now.Add(lapseAfter))
	d.send(c.Caller, notify.Relay, d.say(c.Caller, "from_steward", values{"Words": text}))
	d.tell(p.party(), notify.News, "steward_said", values{"Ref": c.Reference})
}

// stewardOffers puts a call to a named catcher, whatever the rounds think of it, or lets
// the rounds begin when nobody is named.
func (d *decision) stewardOffers(p *Person, c *Call, name string) {
	if !d.canGive(c) {
		d.tell(p.party(), notify.News, "steward_has_holder", d.about(c, p.party()))
		return
	}
	d.replaces(c)
	waited := c.openOffers() == 0 // else they know that somebody is asked
	if c.Held != "" {
		c.Held = ""
		d.clear(c, "steward")
	}
	if len(c.Assessment.Kinds) == 0 {
		d.assess(c)
	}
	name = lower(strings.TrimSpace(name))
	if name == "" {
		d.letGo(c)
		n := d.round(c)
		d.tell(p.party(), notify.News, "steward_round", values{"Ref": c.Reference, "Count": n})
		d.stewardReleased(c, n)
		return
	}
	k := d.named(name)
	if k == nil || k.Address == "" {
		d.tell(p.party(), notify.News, "steward_no_catcher", values{"Ref": c.Reference})
		return
	}
	if o := c.kept(); o != nil && o.Catcher == k.ID {
		d.tell(p.party(), notify.News, "steward_fallback", d.about(c, p.party()))
		return
	}
	d.letGo(c)
	c.Offers = slices.DeleteFunc(c.Offers, func(o Offer) bool { return o.Catcher == k.ID })
	c.Offers = append(c.Offers, Offer{Ask: notify.Ask{Catcher: k.ID, At: d.Now, State: notify.AskOpen}, Name: k.Name, Party: d.catcherParty(k), Far: d.far(k, c)})
	k.asked(c.ID, d.Now)
	d.sendOffer(c, c.offer(k.ID))
	d.set(c, "round", d.Now.Add(d.Settings.every()))
	d.note(c, "steward_offered "+k.ID)
	d.tell(p.party(), notify.News, "steward_offered", values{"Ref": c.Reference, "Holder": k.Name})
	if waited {
		d.stewardReleased(c, 1)
	}
}

// letGo lets a call that was asking or held go to catchers.
func (d *decision) letGo(c *Call) {
	if c.Stage == Asking {
		d.move(c, Looking)
	}
	c.Thin = false
	d.clear(c, "steward", "silence", "photo")
}

// stewardReleased tells a caller who was waiting for a person that catchers are asked now.
func (d *decision) stewardReleased(c *Call, n int) {
	if n == 0 || c.kept() != nil { // who has been told of a fallback knows that others are asked
		return
	}
	d.promise(c, newsEvery)
	v := d.about(c, c.Caller)
	v["Count"] = n
	d.tell(c.Caller, notify.News, "looking", v)
	d.askMeanwhile(d.personByID(c.Caller.Person), c, "")
}

// named finds a catcher by id or first name.
func (d *decision) named(name string) *Catcher {
	if k := d.catcher(name); k.ID != "" {
		return k
	}
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	for _, k := range d.Roster {
		if lower(k.Name) == name {
			return d.catcher(k.ID)
		}
	}
	return nil
}

// stewardCloses ends a call by a steward's word. A holder on the way hears at once.
func (d *decision) stewardCloses(p *Person, c *Call) {
	if h := c.Holder; h != nil {
		if c.Stage == Boxed || c.Stage == Lifted {
			d.tell(p.party(), notify.News, "steward_has_holder", d.about(c, p.party()))
			return
		}
		d.tell(h.Party, notify.Claim, "closed_holder", d.about(c, h.Party))
		d.release(c)
	}
	d.lapseOffers(c, "offer_withdrawn")
	d.note(c, "steward_closed")
	v := d.about(c, c.Caller)
	v["Help"] = d.Settings.Refer(d.purpose(c))
	d.tell(c.Caller, notify.News, "closed_caller", v)
	d.end(c, LeftAlone)
	d.tell(p.party(), notify.News, "steward_closed", values{"Ref": c.Reference})
}

// listOpen tells a steward what is open.
func (d *decision) listOpen(p *Person) {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	ids := make([]string, 0, len(d.Board.Calls))
	for id := range d.Board.Calls {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int {
		x, y := d.Board.Calls[a], d.Board.Calls[b]
		if c := x.Opened.Compare(y.Opened); c != 0 {
			return c
		}
		return strings.Compare(a, b)
	})
	const most = 15
	var lines []string
	for i, id := range ids {
		if i == most {
			lines = append(lines, "+"+itoa(len(ids)-most))
			break
		}
		card := d.Board.Calls[id]
		line := card.Reference + " " + d.say(p.party(), "stage_"+card.Stage, nil) + " " + d.clock(p.party(), card.Opened)
		if card.Held != "" {
			line += " (" + d.reasonWords(p.party(), card.Held) + ")"
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		d.tell(p.party(), notify.News, "open_none", nil)
		return
	}
	d.tell(p.party(), notify.News, "open_list", values{"Count": len(ids), "List": strings.Join(lines, "; ")})
}

// newForOthers starts a report that a steward enters for somebody else, over the phone say.
func (d *decision) newForOthers(p *Person, text string) {
	if c := d.openCall(p); c != nil {
		// Their earlier one goes on without more questions.
		d.note(c, "steward_went_on")
		if c.Stage == Asking && c.Held == "" {
			d.end(c, Unfinished)
		}
		p.Call = ""
	}
	d.begin(p, Said{Event: d.Event.ID(), Text: text})
	if c := d.openCall(p); c != nil {
		c.By = "steward"
	}
}

// menu says what this is, what can be texted, and how to reach a person.
func (d *decision) menu(p *Person) {
	keys := []string{}
	if p.Catcher != "" {
		keys = append(keys, "menu_catcher")
	}
	if d.Settings.IsSteward(p.Address) {
		keys = append(keys, "menu_steward")
	}
	if len(keys) == 0 || d.openCall(p) != nil {
		keys = append([]string{"menu_caller"}, keys...)
	}
	if !p.Idle.allow(d.Now, d.Settings.Limits) {
		d.change.Outcome = OutcomeQuiet
		return
	}
	for _, key := range keys {
		d.tell(p.party(), notify.News, key, nil)
	}
}

// helpWord answers HELP standing alone: what this is, and how to reach a person. Whoever
// works here gets the words they can use.
func (d *decision) helpWord(p *Person) {
	if p.Catcher != "" || d.Settings.IsSteward(p.Address) {
		d.menu(p)
		return
	}
	d.idle(p, "help_caller", nil)
}

// personWords ask for a human being, standing alone.
var personWords = []string{"person", "a person", "human", "a human", "real person", "talk to a person", "talk to someone", "persona", "una persona", "humano", "hablar con una persona", "hablar con alguien"}

// wantsPerson hands a caller who asks for one to a person of the club.
func (d *decision) wantsPerson(p *Person, e Said) bool {
	wish := slices.Contains(personWords, intake.PlainPlace(e.Text)) || intake.WantsPerson(e.Text) && len(d.understand(p, e).Readings) == 0
	if !wish || p.Catcher != "" || d.Settings.IsSteward(p.Address) {
		return false
	}
	c := d.openCall(p)
	if c != nil && c.Holder != nil {
		return false // words for the one who comes: "can you call me?"
	}
	if c == nil {
		if !d.mayReport(p) {
			return true
		}
		c = d.newCall(p)
		d.assess(c)
	}
	if c.Stage == Asking {
		d.hold(c, "wants_person")
		return true
	}
	if p.Idle.allow(d.Now, d.Settings.Limits) {
		d.showSteward(c, e.Text)
		d.status(p, c)
	}
	return true
}

// tokenHash is what is kept of an invitation.
func tokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}
