package simulation

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// phone is what somebody has on their screen.
type phone struct {
	owner   string
	screen  []*shown
	blocked bool
}

// shown is one message on a screen.
type shown struct {
	message string // our id
	copy    string // the provider's id
	text    string
	buttons [][]notify.Button
	class   notify.Class
	at      time.Time
}

func (w *world) person(name string) someone {
	i := slices.IndexFunc(town, func(s someone) bool { return s.name == name })
	return town[max(0, i)]
}

// do carries out a step.
func (w *world) do(s Step) {
	switch s.Do {
	case "restart":
		if s.N < len(w.replicas) {
			w.replicas[s.N].die()
		}
		return
	case "pause":
		if s.N < len(w.replicas) {
			w.tell("  ! replica %d is paused for %v", s.N, s.For)
			r := w.replicas[s.N]
			r.asleep = w.now.Add(s.For)
			w.at(r.asleep, false, func() {})
		}
		return
	case "outage":
		w.tell("  ! the store is away for %v", s.For)
		w.outage = w.now.Add(s.For)
		w.at(w.outage, false, func() {})
		return
	case "loss":
		w.lags(s)
		return
	case "channel":
		w.tell("  ! %s is down for %v", s.Text, s.For)
		w.down[notify.Channel(s.Text)] = w.now.Add(s.For)
		return
	}
	w.acts(s, w.person(s.Who))
}

// acts is something that a person does.
func (w *world) acts(s Step, who someone) {
	id := bot.EventID(fmt.Sprintf("tw:%d", len(w.inbox)+1))
	var e bot.Event
	switch s.Do {
	case "says":
		e = bot.Said{Event: id, From: who.address, Text: s.Text}
	case "pin":
		e = bot.Said{Event: id, From: who.address, Pin: &bot.Point{Lat: w.settings.Latitude + 0.02, Lon: w.settings.Longitude - 0.01}}
	case "photo":
		e = bot.Said{Event: id, From: who.address, Photos: []string{"tg:photo"}}
	case "blocks", "opens":
		w.phones[who.address].blocked = s.Do == "blocks"
		e = bot.Blocked{Event: id, From: who.address, Open: s.Do == "opens"}
	case "taps", "takes":
		says, ok := w.button(who, s)
		switch {
		case ok && who.address.Channel() == notify.Telegram:
			e = bot.Tapped{Event: id, From: who.address, Says: says}
		case s.Do == "takes":
			e = bot.Said{Event: id, From: who.address, Text: "TAKE"}
		default:
			return // nothing to tap
		}
	}
	w.tell("%s %s %q", who.name, s.Do, s.Text)
	a := &arrival{event: e, who: who.name, at: w.now}
	w.inbox = append(w.inbox, a)
	w.sweepSoon()
	w.webhook(a)
}

// button finds a button on somebody's screen: the nth from the latest, or the latest offer's.
func (w *world) button(who someone, s Step) (string, bool) {
	n := s.N
	for _, m := range slices.Backward(w.phones[who.address].screen) {
		for _, row := range m.buttons {
			for _, b := range row {
				if s.Do == "takes" {
					if strings.HasPrefix(b.Says, "TAKE") {
						return b.Says, true
					}
				} else if n--; n < 0 {
					return b.Says, true
				}
			}
		}
	}
	return "", false
}

// webhook brings an arrival to some replica, unless that breaks.
func (w *world) webhook(a *arrival) {
	switch w.fault("webhook") {
	case "lost":
		if sender(a).Channel() == notify.Telegram { // which tries again by itself
			w.at(w.now.Add(10*time.Second), false, func() { w.bring(a) })
		}
		return
	case "late":
		w.at(w.now.Add(40*time.Second), false, func() { w.bring(a) })
		return
	case "meanwhile":
		w.meanwhile()
	case "twice":
		w.bring(a)
	}
	w.bring(a)
}

// bring lets a replica hear an arrival. What was not acknowledged comes again: Telegram
// brings it itself, the sweep reads an SMS out of the log.
func (w *world) bring(a *arrival) {
	for i := range w.replicas {
		r := w.replicas[(len(w.inbox)+i)%len(w.replicas)]
		if r.dead || r.asleep.After(w.now) {
			continue
		}
		r.hear(a)
		break
	}
	if !a.heard && w.broken == "" && sender(a).Channel() == notify.Telegram {
		w.at(w.now.Add(10*time.Second), false, func() {
			if !a.heard {
				w.bring(a)
			}
		})
	}
}

func sender(a *arrival) notify.Address {
	switch e := a.event.(type) {
	case bot.Said:
		return e.From
	case bot.Tapped:
		return e.From
	case bot.Blocked:
		return e.From
	}
	return ""
}

// hear takes an arrival into a replica and compares its outcome with that of the first time.
func (r *replica) hear(a *arrival) {
	defer func() {
		if fault := recover(); fault != nil {
			r.breaks("panic", "%v", fault)
		}
	}()
	hotline := r.hotline
	if r.nested > 0 {
		// Another request of the same process. It takes no part in the queues by which events
		// that met wait for each other: here nobody can wait.
		h := r.hotline
		hotline = &bot.Hotline{Settings: h.Settings, Secrets: h.Secrets, Store: h.Store, Clock: h.Clock, Log: h.Log, Decider: h.Decider, Parked: h.Parked}
	}
	outcome, err := hotline.Hear(context.Background(), a.event)
	if r.mutant == AckFirst && !a.heard {
		a.heard, a.answer = true, outcome
		return
	}
	if err != nil {
		return
	}
	if a.heard && a.answer != outcome {
		r.breaks("I5", "%s came again and was %q, the first time %q", a.event.ID(), outcome, a.answer)
	}
	a.heard, a.answer = true, outcome
}

// sweepInbox hears again what the log of SMS holds of the last quarter of an hour, and
// whatever was never acknowledged.
func (w *world) sweepInbox() {
	for w.swept < len(w.inbox) && w.inbox[w.swept].heard && w.now.Sub(w.inbox[w.swept].at) >= 15*time.Minute {
		w.swept++
	}
	for _, a := range w.inbox[w.swept:] {
		recent := w.now.Sub(a.at) < 15*time.Minute
		if sender(a).Channel() != notify.Telegram && (recent || !a.heard) && w.mutant != NoSweep {
			w.bring(a)
		}
	}
	w.sweeping = false
	if w.swept < len(w.inbox) {
		w.sweepSoon()
	}
}

// sweepSoon has the log read in a minute. While there is nothing new in it, nobody looks.
func (w *world) sweepSoon() {
	if !w.sweeping {
		w.sweeping = true
		w.at(w.now.Add(time.Minute), false, w.sweepInbox)
	}
}
