package bot

import (
	"cmp"
	"fmt"
	"slices"

	"skepline/notify"
)

// Some people can be reached in two ways: a catcher with a second address on the roster, and
// whoever writes on WhatsApp, whose number also takes a text. What must arrive, safety and
// claims, carries the second address with it. It is used when the first one cannot get the
// message, or when its whole channel has not worked for a while.

// alsoOf returns the second address of whoever is at a, "" when none is known.
func alsoOf(a notify.Address) notify.Address {
	if a.Channel() == notify.WhatsApp {
		return notify.Address(string(notify.SMS) + ":" + a.Number())
	}
	return ""
}

// otherWay sends a message that cannot arrive to its receiver's second address, and reports
// whether there is one. Buttons stay behind: the words say what to answer.
func (d *decision) otherWay(m notify.Message) bool {
	text := m.Text
	if text == "" && m.Pin != nil {
		text = fmt.Sprintf("https://maps.google.com/?q=%.6f,%.6f", m.Pin.Lat, m.Pin.Lon)
	}
	if m.Also == "" || text == "" || m.Edits != "" {
		return false
	}
	again := d.send(Party{Person: PersonID(d.Secret, m.Also), Address: m.Also}, m.Class, text)
	again.Still, again.NotAfter, again.Link, again.Photos = m.Still, m.NotAfter, m.Link, m.Photos
	if m.Also.Channel() == notify.Telegram {
		again.Buttons = m.Buttons
	}
	return true
}

// secondAddress lets a catcher answer from a second address too.
func (d *decision) secondAddress(k *Catcher) {
	if k.Also == "" {
		return
	}
	p := d.person(k.Also)
	p.Catcher = k.ID
	p.Language, p.Chosen = cmp.Or(k.Language, p.Language), p.Chosen || k.Language != ""
}

// leavesSecond is an opt-out from a catcher's second address: it is not used any more. It
// reports whether that was all that p is.
func (d *decision) leavesSecond(p *Person) bool {
	if p.Catcher == "" {
		return false
	}
	k := d.catcher(p.Catcher)
	if k.ID == "" || k.Also != p.Address {
		return false
	}
	k.Also, p.Catcher = "", ""
	d.onRoster(k)
	return true
}

// offerOtherWay puts an offer that did not arrive to the catcher's second address, once.
func (d *decision) offerOtherWay(c *Call, o *Offer) bool {
	if o.Party.Also == "" || o.Party.Also == o.Party.Address {
		return false
	}
	k := d.catcher(o.Catcher)
	if !slices.Contains(k.Asks, c.ID) {
		return false
	}
	o.Party = Party{Person: PersonID(d.Secret, o.Party.Also), Address: o.Party.Also, Language: o.Party.Language}
	d.sendOffer(c, o)
	d.note(c, "other_way "+o.Catcher)
	return true
}
