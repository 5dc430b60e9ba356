package bot

import (
	"skepline/intake"
)

// Paged is a press on one of our pages. The link's token proves who pressed.
type Paged struct {
	Event   EventID
	Token   string // SHA-256 hex of the link's token
	Does    string // a catcher's: take, later, pass, eta, there, boxed, lifted, hived, flown, not_bees, drop, says; a caller's: here, says, photo, gone
	Minutes int    // with eta
	Reason  string // with pass: far, busy, skill, other
	Pin     *Point // with here
	Text    string // with says
	Photo   []byte // with photo: a JPEG of at most MostPhotoBytes, made anew by the door
}

// ID returns the event's id.
func (e Paged) ID() EventID { return e.Event }
func (Paged) isEvent()      {}

// pageWords are the catcher's words behind the buttons of the offer page.
var pageWords = map[string]intake.Word{
	"take": intake.WordTake, "later": intake.WordTake, "pass": intake.WordPass, "eta": intake.WordETA, "there": intake.WordThere,
	"boxed": intake.WordBoxed, "lifted": intake.WordLifted, "hived": intake.WordHived,
	"flown": intake.WordFlown, "not_bees": intake.WordNotBees, "drop": intake.WordDrop,
}

// inAnHour are the minutes of the buttons that take a call for later.
const inAnHour = 60

// PassReasons are why a catcher may say that they pass.
var PassReasons = []string{"far", "busy", "skill", "other"}

// paged does what a page's button says, as if its owner had texted it.
func (d *decision) paged(e Paged) {
	o := d.opens(e.Token)
	switch {
	case o == nil || o.Newer:
		d.change.Outcome = OutcomeStale
	case o.Page == PageCaller:
		d.pagedCaller(o, e)
	default:
		d.pagedCatcher(o, e)
	}
}

func (d *decision) pagedCatcher(o *Opened, e Paged) {
	k := d.catcher(o.Who)
	p := d.personByID(o.Offer.Party.Person)
	word, known := pageWords[e.Does]
	switch {
	case k.ID == "" || k.Address != o.Offer.Party.Address && k.Also != o.Offer.Party.Address || p.Catcher != k.ID || !known && e.Does != "says":
		d.change.Outcome = OutcomeStale
	case p.Stopped:
		d.change.Outcome = OutcomeStopped
	case !o.Call.Ended.IsZero():
		d.change.Outcome = OutcomeStale
	case e.Does == "says":
		d.pagedWords(p, o.Call, k, e)
	default:
		if word == intake.WordPass && contains(PassReasons, e.Reason) {
			d.note(o.Call, "pass_reason "+k.ID+" "+e.Reason)
		}
		if e.Does == "later" {
			e.Minutes = inAnHour
		}
		d.onCall(p, o.Call, intake.Command{Word: word, Minutes: e.Minutes, Reference: o.Call.Reference})
	}
}

// pagedWords passes a holder's words on to the caller. An emergency goes before that.
func (d *decision) pagedWords(p *Person, c *Call, k *Catcher, e Paged) {
	said := Said{Event: e.Event, From: p.Address, Text: e.Text}
	switch {
	case !c.heldBy(k.ID) || e.Text == "":
		d.change.Outcome = OutcomeStale
	case intake.Emergency(e.Text):
		d.emergency(p, said)
	case reports(e.Text):
		d.freeze(c, c.Holder.Party)
	default:
		d.onPage = &said
		d.passOn(c, p, said)
	}
}

func (d *decision) pagedCaller(o *Opened, e Paged) {
	c, p := o.Call, d.personByID(o.Who)
	said := Said{Event: e.Event, From: p.Address, Text: e.Text}
	d.onPage = &said
	switch {
	case p.Call != c.ID || !c.Ended.IsZero():
		d.change.Outcome = OutcomeStale
	case p.Stopped:
		d.change.Outcome = OutcomeStopped
	case e.Does == "here" && e.Pin != nil:
		if place := c.Answers.Place; place != nil {
			e.Pin.Title = place.Text // the words help to find the door, the point helps to drive
		}
		said.Pin, said.Text = e.Pin, ""
		d.gotPin(p, c, said)
	case e.Does == "says" && e.Text != "":
		d.said(said)
	case e.Does == "photo" && isJPEG(e.Photo) && len(e.Photo) <= MostPhotoBytes:
		d.addPhoto(p, c, e)
	case e.Does == "gone":
		d.gone(p, intake.Command{Word: intake.WordGone})
	default:
		d.change.Outcome = OutcomeStale
	}
}
