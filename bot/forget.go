package bot

import (
	"encoding/json"
	"time"

	"skepline/notify"
)

// A person is remembered as long as something binds us: an open call, one that is not scrubbed
// yet, a place on the roster. Whoever has only asked what this is, or was only ever called, is
// forgotten on a clock of their own.

// forgetPurpose names the timer that forgets a person whom nothing binds to us.
const forgetPurpose = "forget"

// bound reports whether there is something for which p must be remembered.
func (d *decision) bound(p *Person) bool {
	return p.Call != "" || p.Catcher != "" || len(p.Calls) > 0 || p.Address != "" && d.Settings.IsSteward(p.Address)
}

// keepPerson makes of p's document what is to be stored. Of somebody who opted out, and whom
// nothing binds, only that is kept for good, their language and what bounds a flood for a
// while: no number can be read from it.
func (d *decision) keepPerson(old Document, p *Person) {
	switch {
	case p.ID == "":
		return
	case d.bound(p):
		p.Forget = CallTimer{}
		return
	case p.Stopped:
		*p = Person{Schema: documentSchema, ID: p.ID, Stopped: true, Language: p.Language, Chosen: p.Chosen, Idle: p.Idle, Abuse: Abuse{Alarms: p.Abuse.Alarms}, Forget: p.Forget}
		if p.Language == "" && p.Idle.Since.IsZero() {
			p.Forget = CallTimer{}
			return
		}
	case old.Version == 0 && d.saysNothing(p):
		// An event about somebody we do not know, such as the late report on a text to one who
		// was erased, brings nobody back.
		*p = Person{}
		return
	}
	if p.Forget.At.IsZero() {
		at := d.Now.Add(d.Settings.keepsFor()).UTC().Truncate(time.Second)
		// Counted by the minute, since a person who comes back begins again.
		p.Forget = CallTimer{Purpose: forgetPurpose, N: int(at.Unix() / 60), At: at}
	}
}

// saysNothing reports whether p holds no more than who they are.
func (d *decision) saysNothing(p *Person) bool {
	bare := Person{Schema: p.Schema, ID: p.ID, Address: p.Address, Language: p.Language}
	a, errA := json.Marshal(p)
	b, errB := json.Marshal(bare)
	return errA == nil && errB == nil && string(a) == string(b)
}

// personFollows adds what goes with a person's document: the timer that forgets them.
func (d *decision) personFollows(old Document, was CallTimer, p *Person) {
	is := p.Forget
	id := personTimer + old.Key.ID + "/" + forgetPurpose
	switch {
	case was.N == is.N && was.At.Equal(is.At):
	case is.At.IsZero():
		d.change.Timers = append(d.change.Timers, TimerChange{Timer: Timer{ID: id, N: was.N}, Clear: true})
	default:
		d.change.Timers = append(d.change.Timers, TimerChange{Timer: Timer{ID: id, N: is.N, At: is.At}})
	}
}

// personTimer begins the id of a person's timer.
const personTimer = "p:"

// firedForPerson is the timer of somebody whose time to be remembered is over.
func (d *decision) firedForPerson(id string, t Timer) {
	p := d.personByID(id)
	if p.Forget.N != t.N || p.Forget.At.IsZero() {
		d.change.Outcome = OutcomeStale
		if p.Forget.At.IsZero() {
			d.change.Timers = append(d.change.Timers, TimerChange{Timer: t, Clear: true})
		}
		return
	}
	p.Forget = CallTimer{}
	if !d.bound(p) {
		d.forget(id, "")
	}
}

// erases carries out the wish of somebody who opted out to be erased as well. There is no
// question and no receipt, since nothing goes to who opted out.
func (d *decision) erases(p *Person) {
	d.change.Outcome = OutcomeNoted
	d.eraseNow(p)
}

// receipt tells p what became of their wish, unless they opted out.
func (d *decision) receipt(p *Person, to Party, key string, v values) {
	if !p.Stopped {
		d.tell(to, notify.News, key, v)
	}
}
