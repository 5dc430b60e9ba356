package bot

import (
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// Caller and catcher write to each other through the hotline.

// relays passes words on between the two sides of exactly one live call.
func (d *decision) relays(p *Person, e Said) bool {
	if c := d.openCall(p); c != nil && c.Holder != nil {
		if reports(e.Text) {
			d.freeze(c, c.Caller)
			return true
		}
		d.takeIn(c, e)
		d.heard(c, false)
		if d.saysArrived(c, e.Text, true) || d.corrected(p, c, e, d.understand(p, e)) {
			return true
		}
		if strings.TrimSpace(e.Text) != "" {
			d.relay(c, c.Holder.Party, c.Caller, e.Text, d.callerName(c, c.Holder.Party))
		}
		return true
	}
	var live []*Call
	for _, id := range d.holds(p) {
		if c := d.call(id); c.heldBy(p.Catcher) && c.Ended.IsZero() && c.Stage != Lifted {
			live = append(live, c)
		}
	}
	if e.Pin != nil && p.Catcher != "" {
		d.here(p, e.Pin)
		return true
	}
	if n, ok := intake.BareMinutes(e.Text); ok && len(live) > 0 {
		return d.catcherWord(p, intake.Command{Word: intake.WordETA, Minutes: n}, "ETA "+itoa(n))
	}
	if intake.Courtesy(e.Text) && len(e.Photos) == 0 {
		return false
	}
	switch len(live) {
	case 0:
		return d.answersAfter(p, e)
	case 1:
		if reports(e.Text) {
			d.freeze(live[0], live[0].Holder.Party)
			return true
		}
		d.heard(live[0], true)
		d.saysArrived(live[0], e.Text, false)
		d.passOn(live[0], p, e)
	default:
		d.choose(p, e.Text, live)
	}
	return true
}

// passOn gives the holder's words to the caller, unless they wanted no more of ours.
func (d *decision) passOn(c *Call, p *Person, e Said) {
	if d.personByID(c.Caller.Person).Stopped {
		d.idle(p, "relay_gone", d.about(c, p.party()))
		return
	}
	c.Holder.Wrote = d.Now
	if len(e.Photos) > 0 {
		d.tell(c.Caller, notify.Relay, "relay_photo_holder", d.about(c, c.Caller)).Photos = e.Photos
	}
	if strings.TrimSpace(e.Text) != "" {
		d.relay(c, c.Caller, c.Holder.Party, e.Text, c.Holder.Name)
	}
}

// relay sends words from one side to the other, and tells the writer so the first time.
func (d *decision) relay(c *Call, to, from Party, text, name string) {
	const longest = 600
	if r := []rune(text); len(r) > longest {
		text = string(r[:longest]) + "…"
	}
	if c.Frozen != "" {
		d.frozen(c, from)
		return
	}
	m := d.send(to, notify.Relay, name+": "+withoutLinks(text))
	m.Still = notify.Still{Call: c.ID, Stages: stageNames(append(slices.Clone(heldStages), Hived, Flown))}
	const most = 80 // words passed on for one swarm; after that people phone
	if c.Relayed++; c.Relayed > most {
		d.change.Messages = d.change.Messages[:len(d.change.Messages)-1]
		d.change.Outcome = OutcomeQuiet
		if c.Relayed == most+1 {
			d.tell(from, notify.News, "relay_full", d.about(c, from))
			d.tellStewards("steward_relay_full", d.about(c, Party{}), "")
		}
		return
	}
	mark := "relayed " + string(from.Address.Channel()) + " " + from.Person
	if !slices.ContainsFunc(c.Story, func(l Line) bool { return l.What == mark }) {
		d.note(c, mark)
		d.tell(from, notify.News, "relayed", d.about(c, from))
	}
}

func stageNames(stages []Stage) []string {
	names := make([]string, len(stages))
	for i, s := range stages {
		names[i] = string(s)
	}
	return names
}
