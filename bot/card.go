package bot

import (
	"context"
	"fmt"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// cardWithin is how long a contact card is fetched for before its sender is told that it
// could not be read.
const cardWithin = time.Minute

// fetchCard sends for the contact card that came with a text: some phones share a place
// that way. Its door fetches it, only the place in it is kept.
func (d *decision) fetchCard(c *Call, name string) {
	e := Errand{
		ID: derive(d.Secret, "card "+name, string(d.Event.ID()), 16), Call: c.ID, Card: name,
		Language: c.Caller.Language, Until: d.Now.Add(cardWithin),
	}
	c.Card = e.ID
	d.change.Errands = append(d.change.Errands, e)
}

// readCard fetches a card and reads the place in it; no spot when there is none.
func (h *Hotline) readCard(ctx context.Context, e Errand, s intake.Setting) ([]intake.Spot, error) {
	if h.Fetch == nil {
		return nil, nil
	}
	card, err := h.Fetch(ctx, e.Card)
	if err != nil {
		return nil, fmt.Errorf("fetch a contact card: %w", err)
	}
	defer func() { _ = card.Close() }() // it was only read
	if place, ok := intake.ReadCard(card, s); ok {
		return []intake.Spot{{Name: place.Text, Place: place}}, nil
	}
	return nil, nil
}

// cardRead takes the place of a card in, as if it had been pinned or written.
func (d *decision) cardRead(e Returned) {
	c := d.call(e.Errand.Call)
	if c.ID == "" || !c.Ended.IsZero() || c.Card != e.Errand.ID {
		d.change.Outcome = OutcomeStale
		return
	}
	c.Card = ""
	p := d.personByID(c.Caller.Person)
	if p.Call != c.ID || p.Stopped {
		d.change.Outcome = OutcomeStale
		return
	}
	if len(e.Spots) == 0 {
		d.noPlaceIn(p, c)
		return
	}
	place := e.Spots[0].Place
	if d.setting(p).Unlocated(&place) {
		said := Said{From: p.Address, Text: place.Text}
		if c.Holder == nil || !d.corrected(p, c, said, intake.Heard{Answers: intake.Answers{Place: &place}}) {
			q := intake.Question("")
			if p.Talk.Waiting == intake.AskPlace {
				q = intake.AskPlace
			}
			d.hear(p, c, intake.Heard{Answers: intake.Answers{Place: &place}}, q, place.Text)
		}
		return
	}
	said := Said{From: p.Address, Pin: &Point{Lat: place.Lat, Lon: place.Lon, PrecisionM: place.PrecisionM, Title: place.Text}}
	if c.Holder == nil || !d.corrected(p, c, said, intake.Heard{Answers: intake.Answers{Place: said.Pin.place()}}) {
		d.gotPin(p, c, said)
	}
}

// noPlaceIn tells that a card held no place, and asks on where a question is open.
func (d *decision) noPlaceIn(p *Person, c *Call) {
	why := d.say(c.Caller, "card_no_place", nil)
	if q := p.Talk.Waiting; q != "" && q != askPhone && q != askArrived && c.Held == "" {
		d.put(p, c, q, "ask_"+string(q), why)
		return
	}
	d.send(c.Caller, notify.News, why)
}
