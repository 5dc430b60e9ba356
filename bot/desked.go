package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/notify"
)

// Desked is a steward's action at the desk. Whoever knows the password has been let in by
// the door; the story of the call says what was done.
type Desked struct {
	Event   EventID
	Call    string
	Does    string // one of DeskActions
	Words   string // with say
	Catcher string // with offer: whom to ask; "" = whoever the rounds pick
	With    string // with join: the id of the other call
	By      string // a few letters that tell one session at the desk from another
}

// ID returns the event's id.
func (e Desked) ID() EventID { return e.Event }
func (Desked) isEvent()      {}

// DeskActions are what a steward can do with a call at the desk.
var DeskActions = []string{"say", "offer", "join", "split", "hold", "take_over", "hand_back", "to_remover", "not_bees", "close"}

// OutcomeCannot is an action that does not fit where the call stands.
const OutcomeCannot Outcome = "cannot"

// takenOver is the reason of a call whose conversation a steward has taken over: the script
// asks nothing and the caller's words wait at the desk.
const takenOver = "taken_over"

// desked does what a steward asks for at the desk. The desk shows what came of it, so the
// texts that answer a steward who texts are left out.
func (d *decision) desked(e Desked) {
	c := d.call(e.Call)
	if e.Does == deskSees {
		d.deskSees(c, e)
		return
	}
	if c.ID == "" || !c.Ended.IsZero() {
		d.change.Outcome = OutcomeStale
		return
	}
	desk := &Person{Language: d.Settings.DefaultLanguage()}
	if !d.deskMay(c, e) {
		d.change.Outcome = OutcomeCannot
		return
	}
	if !slices.Contains([]string{"say", "close", "join", "split"}, e.Does) { // these leave a line of their own
		d.note(c, strings.TrimSpace("desk "+e.Does+" "+e.By))
	}
	switch e.Does {
	case "say":
		d.stewardSays(desk, c, e.Words)
	case "offer":
		d.stewardOffers(desk, c, e.Catcher)
	case "join":
		d.stewardJoins(c, d.call(e.With))
	case "split":
		d.stewardSplits(c, func(string, values) {})
	case "hold":
		d.hold(c, "steward")
	case "take_over":
		d.takeOver(c)
	case "hand_back":
		c.Held = ""
		d.clear(c, "steward", "lapse")
		d.proceed(d.personByID(c.Caller.Person), c, "")
	case "to_remover":
		d.stewardPassesOn(c, "redirect_specialist", "colony")
	case "not_bees":
		d.stewardPassesOn(c, "not_bees_caller", "wasps")
	case "close":
		d.stewardCloses(desk, c)
	}
	d.change.Messages = slices.DeleteFunc(d.change.Messages, func(m notify.Message) bool { return m.To == "" })
}

// deskMay reports whether an action fits where the call stands.
func (d *decision) deskMay(c *Call, e Desked) bool {
	switch e.Does {
	case "say":
		return strings.TrimSpace(e.Words) != ""
	case "offer":
		return d.canGive(c) && c.Joined == "" && (e.Catcher == "" || d.canOffer(e.Catcher))
	case "join":
		return e.With != "" && mayJoin(c, d.call(e.With))
	case "split":
		return c.Joined != "" || len(c.Also) > 0
	case "hold", "take_over":
		return c.Holder == nil && c.Joined == "" && c.Held != takenOver && (c.Held == "" || e.Does == "take_over")
	case "hand_back":
		return c.Held == takenOver
	case "to_remover", "not_bees", "close":
		return c.Stage != Boxed && c.Stage != Lifted
	}
	return false
}

func (d *decision) canOffer(id string) bool {
	k := d.named(lower(strings.TrimSpace(id)))
	return k != nil && k.Address != ""
}

// takeOver stops the script: from here on a person talks to the caller.
func (d *decision) takeOver(c *Call) {
	p := d.personByID(c.Caller.Person)
	p.Talk.Asked = without(p.Talk.Asked, p.Talk.Waiting) // asked anew when it is handed back
	p.Talk.Waiting, p.Talk.Choice = "", nil
	c.Held = takenOver
	d.clear(c, "silence", "photo", "steward", "round", "news")
	d.set(c, "lapse", d.Now.Add(lapseAfter))
	d.lapseOffers(c, "offer_withdrawn")
	d.promise(c, newsEvery)
	d.tell(c.Caller, notify.News, "held", d.about(c, c.Caller))
}

// stewardPassesOn sends the caller to somebody outside the club.
func (d *decision) stewardPassesOn(c *Call, key, purpose string) {
	if h := c.Holder; h != nil {
		d.tell(h.Party, notify.Claim, "closed_holder", d.about(c, h.Party))
		d.release(c)
	}
	d.lapseOffers(c, "offer_withdrawn")
	d.tell(c.Caller, notify.News, key, d.help(purpose))
	d.end(c, PassedOn)
}

// waitsAtDesk takes in what a caller says whose conversation a steward has taken over.
func (d *decision) waitsAtDesk(p *Person, c *Call, e Said) {
	d.takeIn(c, e)
	c.Answers = d.understand(p, e).Over(c.Answers)
	if e.Text != "" || len(e.Photos) > 0 {
		d.showSteward(c, e.Text)
	}
	d.idle(p, "held_more", d.about(c, c.Caller))
}

// Spoken is one thing that was said in a call's conversation. It goes with the call.
type Spoken struct {
	At   time.Time `json:"at"`
	Who  string    `json:"who"` // "caller", "holder", "us"
	Text string    `json:"text"`
	// After is how many lines of the story were there before.
	After int `json:"after,omitempty"`
}

// Bounds of what is kept of a conversation: the desk needs the thread, not an archive.
const (
	spokenLines  = 40
	spokenLetter = 320
)

// keepWords keeps what this event said between the caller and us, for the desk.
func (d *decision) keepWords() {
	for _, copied := range d.calls {
		c := copied.work
		if c.ID == "" || !c.Ended.IsZero() && !c.Ended.Equal(d.Now) || d.tellsAnother(c) {
			continue
		}
		before := copied.lines
		relayed := false
		for _, m := range d.change.Messages {
			relayed = relayed || m.Class == notify.Relay && m.Recipient == c.Caller.Person
		}
		switch from, text := spokenBy(d.speaks()); {
		case from != "" && from == c.Caller.Address:
			c.spoke(d.now, "caller", text, before)
		case relayed && c.Holder != nil && from == c.Holder.Party.Address:
			c.spoke(d.now, "holder", text, before)
		}
		for _, m := range d.change.Messages {
			if m.Recipient != c.Caller.Person || m.Edits != "" {
				continue
			}
			switch m.Class {
			case notify.Safety, notify.Question, notify.News:
				c.spoke(d.now, "us", d.unlinked(m.Text), len(c.Story))
			case notify.Relay:
				if _, desk := d.Event.(Desked); desk {
					c.spoke(d.now, "us", d.unlinked(m.Text), len(c.Story))
				}
			}
		}
	}
}

// tellsAnother reports whether what goes to c's caller now is about another call of theirs.
func (d *decision) tellsAnother(c *Call) bool {
	for _, p := range d.people {
		if p.work.ID == c.Caller.Person {
			return p.work.Call != "" && p.work.Call != c.ID
		}
	}
	return false
}

// speaks is the event, or what a press on a page says.
func (d *decision) speaks() Event {
	if d.onPage != nil {
		return *d.onPage
	}
	return d.Event
}

// spokenBy returns whose words an event holds, with signs for what is not words.
func spokenBy(e Event) (from notify.Address, text string) {
	switch e := e.(type) {
	case Said:
		text = e.Text
		for range e.Photos {
			text += " [photo]"
		}
		if e.Pin != nil {
			text += " [location]"
		}
		return e.From, strings.TrimSpace(text)
	case Tapped:
		return e.From, strings.TrimPrefix(e.Says, "=")
	}
	return "", ""
}

// unlinked leaves the link out of a text: nobody at the desk could press it.
func (d *decision) unlinked(text string) string {
	return strings.ReplaceAll(text, d.Settings.PublicURL+"/"+PageCaller+"/"+linkMask, "[link]")
}
func (c *Call) spoke(at time.Time, who, text string, after int) {
	if text == "" {
		return
	}
	if r := []rune(text); len(r) > spokenLetter {
		text = string(r[:spokenLetter]) + "…"
	}
	c.Words = append(c.Words, Spoken{At: at.UTC().Truncate(time.Second), Who: who, Text: text, After: after})
	if n := len(c.Words) - spokenLines; n > 0 {
		c.Words = c.Words[n:]
	}
}
