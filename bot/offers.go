package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/notify"
)

// An offer from its sending to its end.

// offerAll makes offers to those picked. Their documents are loaded together and checked
// with the commit, so that nobody gets two fresh asks.
func (d *decision) offerAll(c *Call, picks []notify.Pick) int {
	keys := make([]Key, len(picks))
	for i, pick := range picks {
		keys[i] = Key{KindCatcher, pick.Catcher}
	}
	d.want(keys...)
	var fresh []string
	for _, pick := range picks {
		k := d.catcher(pick.Catcher)
		if k.ID == "" || k.Address == "" || d.freshlyAsked(k, c.ID) || k.takesOn(d.now) >= k.JobsADay {
			continue
		}
		ask := notify.Ask{Catcher: k.ID, At: d.Now, State: notify.AskOpen, Weight: pick.Weight, P: pick.P, Way: pick.Way()}
		if o := c.offer(k.ID); o != nil { // silent in an earlier part of the day
			ask.Before = o.Before + 1
			c.Offers = slices.DeleteFunc(c.Offers, func(o Offer) bool { return o.Catcher == k.ID })
		}
		c.Offers = append(c.Offers, Offer{
			Ask: ask, Name: k.Name, Party: d.catcherParty(k), Far: d.far(k, c), Gain: pick.Gain, Cost: pick.Cost,
		})
		k.asked(c.ID, d.Now)
		fresh = append(fresh, k.ID)
	}
	for _, id := range fresh {
		d.sendOffer(c, c.offer(id))
	}
	return len(fresh)
}

// freshlyAsked reports whether the catcher still has another call's ask before them.
func (d *decision) freshlyAsked(k *Catcher, call string) bool {
	return len(without(k.Asks, call)) > 0 && d.Now.Sub(k.Fresh) < d.Settings.dispatch().Fresh
}

// catcherParty is how a catcher is reached.
func (d *decision) catcherParty(k *Catcher) Party {
	lang := k.Language
	if lang == "" {
		lang = d.Settings.DefaultLanguage()
	}
	return Party{Person: PersonID(d.Secret, k.Address), Address: k.Address, Also: k.Also, Language: lang}
}

// sendOffer puts the call to one catcher.
func (d *decision) sendOffer(c *Call, o *Offer) {
	o.Epoch = c.Epoch
	m := d.send(o.Party, notify.Offer, d.offerText(c, o))
	if strings.Contains(m.Text, linkMask) {
		d.carry(m, c, offerSeed(c, o.Catcher))
	}
	m.Buttons = d.offerButtons(c, o)
	m.Still = notify.Still{Call: c.ID, Offer: o.Catcher}
	if len(c.Photos) > 0 {
		m.Photos = c.Photos[:1]
	}
	o.Message = m.ID
}

func (d *decision) offerButtons(c *Call, o *Offer) [][]notify.Button {
	if o.Party.Address.Channel() != notify.Telegram {
		return nil
	}
	later := notify.Button{Label: d.say(o.Party, "button_take_later", nil), Says: "TAKE 60 " + c.Reference}
	if len(d.catcher(o.Catcher).Active) > 0 {
		later = notify.Button{Label: d.say(o.Party, "button_next", nil), Says: "NEXT " + c.Reference}
	}
	return [][]notify.Button{{
		{Label: d.say(o.Party, "button_take", nil), Says: "TAKE " + c.Reference},
		{Label: d.say(o.Party, "button_pass", nil), Says: "PASS " + c.Reference},
	}, {later}}
}

func (d *decision) offerText(c *Call, o *Offer) string {
	j := d.job(c, o.Party)
	j.Again, j.OnAJob = c.Epoch > 0, len(d.catcher(o.Catcher).Active) > 0
	j.Several = len(d.catcher(o.Catcher).Asks) > 1
	if d.links(o.Party) {
		j.Link = d.linkURL(offerSeed(c, o.Catcher))
	}
	return notify.OfferText(words(o.Party), j, o.Far, c.openOffers()-1, d.Settings.Metric())
}

func (d *decision) asks(c *Call) []notify.Ask {
	asks := make([]notify.Ask, len(c.Offers))
	for i, o := range c.Offers {
		asks[i] = o.Ask
	}
	return asks
}

// refreshOffers changes the open offers in place, where the channel can, without a sound.
func (d *decision) refreshOffers(c *Call) {
	var keys []Key
	for _, o := range c.Offers {
		if o.State == notify.AskOpen {
			keys = append(keys, Key{KindCatcher, o.Catcher})
		}
	}
	d.want(keys...)
	for i := range c.Offers {
		o := &c.Offers[i]
		if o.State != notify.AskOpen {
			continue
		}
		o.Far = d.far(d.catcher(o.Catcher), c)
		if o.Party.Address.Channel() == notify.Telegram {
			d.refreshOffer(c, o)
		}
	}
}

func (d *decision) refreshOffer(c *Call, o *Offer) {
	m := d.send(o.Party, notify.Offer, d.offerText(c, o))
	m.Buttons, m.Edits, m.Silent = d.offerButtons(c, o), o.Message, true
	m.Still = notify.Still{Call: c.ID, Offer: o.Catcher}
}

// lapseOffers closes every open offer: in place where the channel can, by a message to
// those who were asked a short while ago and cannot see an edit.
func (d *decision) lapseOffers(c *Call, key string) {
	var keys []Key
	for _, id := range notify.StillOpen(d.asks(c)) {
		keys = append(keys, Key{KindCatcher, id})
	}
	d.want(keys...)
	for i := range c.Offers {
		d.lapseOffer(c, &c.Offers[i], key)
	}
}

// lapseOffer closes one offer, if it is open or a late yes is kept.
func (d *decision) lapseOffer(c *Call, o *Offer, key string) {
	switch o.State {
	case notify.AskOpen:
		o.State = notify.AskLapsed
		if k := d.catcher(o.Catcher); k.ID != "" {
			k.Habits = k.Habits.WasOvertaken(o.Weight, o.P, o.At, d.now)
			if k.Fresh.Equal(o.At) {
				k.Fresh = time.Time{} // free for another call at once
			}
		}
		edits := o.Party.Address.Channel() == notify.Telegram && o.Message != ""
		d.closeOffer(c, o, key, !edits && d.Now.Sub(o.At) < recentlyTold)
	case notify.AskFallback: // was promised to hear either way
		d.inLine(c, o)
		o.State = notify.AskLapsed
		d.clear(c, "fallback")
		d.closeOffer(c, o, key, true)
	}
}

// closeOffer tells one catcher that an offer is over: in place and without a sound where the
// channel can do that, and by a text, when they would go on thinking of it, where it cannot.
func (d *decision) closeOffer(c *Call, o *Offer, key string, aloud bool) {
	v := d.about(c, o.Party)
	if o.Party.Address.Channel() == notify.Telegram && o.Message != "" {
		m := d.tell(o.Party, notify.Taken, key+"_edit", v)
		m.Edits, m.Silent = o.Message, true
	}
	if aloud {
		d.tell(o.Party, notify.Taken, key, v)
	}
}
