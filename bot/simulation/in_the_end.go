package simulation

import (
	"context"
	"slices"
	"strings"
	"time"

	"skepline/bot"
)

// inTheEnd holds what must have come two days after the last fault.
//
//	L1 every call has ended, or a catcher holds it and is asked about it
//	L2 every take was answered
//	L3 nothing waits in the outbox, nothing is held
//	L4 every open call has a next step, and none is overdue
//	L5 everything that people sent was heard
//	L6 everything that people said was answered within a minute, once nothing broke; what
//	   could not be handled was passed on
//	L7 the stewards' line of each morning was heard
func (v *watch) inTheEnd() {
	w := v.w
	for _, a := range w.inbox {
		if a.lost {
			continue
		}
		if !a.heard {
			w.breaks("L5", "%s, sent by %s, was never heard", a.event.ID(), a.who)
		} else if _, ok := v.applied[a.event.ID()]; !ok {
			w.breaks("L5", "%s, sent by %s, was acknowledged and never committed", a.event.ID(), a.who)
		}
	}
	ids := []string{}
	for id := range w.memory.items {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		if n := v.notes[id]; w.now.Sub(n.at) > 10*time.Minute {
			w.breaks("L3", "a %s on %s waits since %v", n.Class, n.To.Channel(), w.now.Sub(n.at).Round(time.Minute))
		}
	}
	if found, err := w.replicas[0].hotline.Audit(context.Background()); err != nil || found > 0 {
		w.breaks("L4", "the auditor finds %d calls without a next step (%v)", found, err)
	}
	for _, id := range v.callIDs() {
		v.callInTheEnd(v.calls[id])
	}
	v.answered()
	v.undelivered()
	v.lines()
}

func (v *watch) callIDs() []string {
	var ids []string
	for id := range v.calls {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

func (v *watch) callInTheEnd(c *life) {
	if !c.Ended.IsZero() {
		return
	}
	if main := v.calls[c.Joined]; main != nil && main.Holder != nil {
		return // it ends with the call that it is part of
	}
	if c.Holder == nil && v.w.now.Sub(c.Opened) > 50*time.Hour {
		v.w.tell("story %v timers %v", c.Story, c.Timers)
		v.w.breaks("L1", "%s is still %s after %v (held %q)", c.Reference, c.Stage, v.w.now.Sub(c.Opened).Round(time.Hour), c.Held)
	}
	for _, t := range c.Timers {
		if late := v.w.now.Sub(t.At); !t.At.IsZero() && late > 5*time.Minute {
			v.w.breaks("L4", "timer %s of %s is %v late", t.Purpose, c.Reference, late.Round(time.Minute))
		}
	}
}

// answered is L2 and L6.
func (v *watch) answered() {
	for _, a := range v.w.inbox {
		outcome := v.applied[a.event.ID()]
		if outcome == bot.OutcomeParked && a.who != "Steward" && !v.said(a) {
			v.w.breaks("L6", "%s could not be handled, and nobody was told", a.event.ID())
		}
		calm := v.w.plan.Heals > 0 && a.at.Sub(v.w.plan.Start) > v.w.plan.Heals+time.Hour
		if outcome == bot.OutcomeWon && !v.spoke(a, 0) && !v.overBefore(a) {
			v.w.breaks("L2", "%s took a call and was told nothing", a.who)
		}
		if calm && outcome == bot.OutcomeNoted && !v.spoke(a, time.Minute) {
			v.w.breaks("L6", "%s said something and got no answer", a.who)
		}
	}
}

// said reports whether an arrival caused any message.
func (v *watch) said(a *arrival) bool {
	for _, n := range v.notes {
		if n.event == a.event.ID() {
			return true
		}
	}
	return false
}

// overBefore reports whether a call that an arrival won was over, or let go, before anything
// could be said, by another word of its winner, who heard an answer to that.
func (v *watch) overBefore(a *arrival) bool {
	for _, n := range v.notes {
		c := v.calls[n.Still.Call]
		if n.event != a.event.ID() || n.Still.Holder == "" || c == nil {
			continue
		}
		atOnce := func(t time.Time) bool { return !t.IsZero() && t.Sub(a.at) <= time.Second }
		if !atOnce(c.Ended) && !(atOnce(c.gave[n.Recipient]) && !c.gave[n.Recipient].Before(a.at)) {
			continue
		}
		for _, other := range v.notes {
			if other.Recipient == n.Recipient && other.copies > 0 && !other.gone.Before(a.at) && other.gone.Sub(a.at) < time.Minute {
				return true
			}
		}
	}
	return false
}

// spoke reports whether anything that an arrival caused was taken, within a time if that is
// not 0, or need not be.
func (v *watch) spoke(a *arrival, within time.Duration) bool {
	found := false
	for _, n := range v.notes {
		if n.event != a.event.ID() && !v.wentAnotherWay(n, a) {
			continue
		}
		found = true
		if n.copies > 0 && (within == 0 || n.gone.Sub(a.at) <= within) {
			return true
		}
		if v.w.memory.docStopped(n.Recipient) || v.doubts[n.ID] > 0 || v.failed[n.ID] {
			return true
		}
	}
	if _, said := a.event.(bot.Said); !said {
		return true
	}
	return !found && within > 0
}

// wentAnotherWay reports whether n is what an arrival caused, sent to a second address.
func (v *watch) wentAnotherWay(n *noted, a *arrival) bool {
	id, ok := strings.CutPrefix(string(n.event), "ud:")
	return ok && v.notes[id] != nil && v.notes[id].event == a.event.ID()
}

// undelivered holds that the state heard of every message that was refused.
func (v *watch) undelivered() {
	for id := range v.wants {
		if _, ok := v.applied[bot.EventID("ud:"+id)]; !ok && v.notes[id].copies == 0 {
			v.w.breaks("L3", "a refused %s was never told to the state", v.notes[id].Class)
		}
	}
}
