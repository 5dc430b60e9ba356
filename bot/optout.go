package bot

import (
	"slices"

	"skepline/notify"
)

// optOut ends all texts to p. The catcher of a live call hears at once that its caller
// left; an open call that nobody holds is over. There is no goodbye: carriers confirm an
// opt-out word themselves, and nothing goes to someone who opted out.
func (d *decision) optOut(p *Person) {
	d.change.Outcome = OutcomeStopped
	if p.Stopped {
		return
	}
	if c := d.openCall(p); c != nil {
		d.callerLeft(c)
	}
	if p.Catcher != "" && !d.leavesSecond(p) {
		d.catcherLeft(p.Catcher, "opted_out")
	}
	p.Stopped = true
	p.Talk = Talk{}
	d.change.Stops = append(d.change.Stops, Stop{Person: p.ID})
}

// optIn lifts an opt-out.
func (d *decision) optIn(p *Person) {
	was := p.Stopped
	p.Stopped = false
	if was {
		// Else there is nothing to lift, but perhaps a STOP that is being committed right now:
		// only a document that changes makes the two meet.
		d.change.Stops = append(d.change.Stops, Stop{Person: p.ID, Lift: true})
	}
	if was && p.Catcher != "" {
		if c := d.catcher(p.Catcher); c.ID != "" {
			c.AwayUntil = d.Now
		}
	}
	if text, ok := d.Event.(Said); ok && joins(text.Text) {
		return
	}
	d.idle(p, "welcome_back", nil)
}

// callerLeft is a caller's opt-out on a live call.
func (d *decision) callerLeft(c *Call) {
	d.note(c, "caller_opted_out")
	if h := c.Holder; h != nil {
		d.tell(h.Party, notify.Claim, "caller_left", d.about(c, h.Party))
		// The catcher finishes the job; the caller hears nothing more of it.
		d.clear(c, "news")
		return
	}
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, Withdrawn)
}

// catcherLeft takes everything from a catcher who can no longer be reached.
func (d *decision) catcherLeft(id, why string) {
	k := d.catcher(id)
	if k.ID == "" {
		return
	}
	k.AwayUntil = never
	d.wantCalls(append(append([]string{}, k.Asks...), k.Holds...))
	for _, callID := range slices.Clone(k.Asks) {
		c := d.call(callID)
		if o := c.offer(id); o != nil && (o.State == notify.AskOpen || o.State == notify.AskFallback) {
			d.note(c, "cannot_reach "+id)
			d.notComing(c, o, notify.AskUndelivered)
		}
	}
	for _, callID := range k.Holds {
		c := d.call(callID)
		if !c.heldBy(id) {
			continue
		}
		d.tellStewards("steward_catcher_left", d.about(c, Party{}), "")
		if c.Stage == Taken {
			d.drop(c, k, why)
		}
	}
	k.Asks, k.Kept = nil, nil
}

// blocked is a person who shut a channel to us, or opened it again.
func (d *decision) blocked(e Blocked) {
	p := d.person(e.From)
	if e.Open {
		if p.Stopped {
			d.optIn(p)
		}
		return
	}
	d.optOut(p)
}

// recipient is whom a message was for. What is left of one that was sent names no address.
func (d *decision) recipient(m notify.Message) *Person {
	if m.Recipient == "" {
		return d.person(m.To)
	}
	return d.personByID(m.Recipient)
}

// undelivered is a message that will never arrive. The state reacts: what matters goes to the
// receiver's second address, the next catcher is asked, a person who cannot be reached any
// more is treated as one who left, and a steward hears of a caller we cannot tell.
func (d *decision) undelivered(e Undelivered) {
	p := d.recipient(e.Message)
	if doc, _ := d.document(Key{KindPerson, p.ID}); doc.Version == 0 {
		// A second address that never wrote to us has no document, and gets none by this.
		defer func() {
			if !p.Stopped {
				*p = Person{}
			}
		}()
	}
	switch e.Reason {
	case "opted_out", "blocked":
		stopped := p.Stopped
		d.optOut(p)
		if !stopped || e.Message.Class != notify.Claim {
			return
		}
		// They left this address before; they may hold a call all the same.
	default:
		if d.otherWay(e.Message) {
			d.change.Outcome = OutcomeOtherWay
			return
		}
	}
	still := e.Message.Still
	if still.Call == "" {
		// Most words to a caller name no call; they are about the one that is open.
		if still.Call = p.Call; still.Call == "" {
			return
		}
	}
	c := d.call(still.Call)
	if c.ID == "" || !c.Ended.IsZero() || p.Stopped && !c.heldBy(still.Holder) {
		return
	}
	d.note(c, "undelivered "+string(e.Message.Class))
	switch {
	case e.Message.Edits != "":
		// The message that it would have changed is there; only its new look is not.
	case still.Offer != "":
		if o := c.offer(still.Offer); o != nil && o.State == notify.AskOpen {
			if d.offerOtherWay(c, o) {
				return
			}
			o.State, o.Answered = notify.AskUndelivered, d.Now
			d.round(c)
		}
	case e.Message.Class == notify.Claim || e.Message.Class == notify.News || e.Message.Class == notify.Safety || e.Message.Class == notify.Question:
		d.tellStewards("steward_undelivered", d.about(c, Party{}), "")
	}
}
