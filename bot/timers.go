package bot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"skepline/notify"
)

// fired is a timer that went off. One that was moved or cleared meanwhile is ignored: the
// call's document knows which is current.
func (d *decision) fired(e Fired) {
	id, purpose, ok := strings.Cut(e.Timer.ID, "/")
	if catcher, theirs := strings.CutPrefix(id, "k:"); ok && theirs {
		d.firedFor(catcher, purpose, e.Timer)
		return
	}
	if person, theirs := strings.CutPrefix(id, personTimer); ok && theirs {
		d.firedForPerson(person, e.Timer)
		return
	}
	c := (*Call)(nil)
	if ok {
		c = d.call(id)
	}
	if c == nil || c.ID == "" || !isCurrent(c, purpose, e.Timer) {
		d.change.Outcome = OutcomeStale
		if c == nil || c.ID == "" || c.timer(purpose).At.IsZero() {
			// Nothing of ours: take it away.
			d.change.Timers = append(d.change.Timers, TimerChange{Timer: e.Timer, Clear: true})
		}
		return
	}
	c.timer(purpose).At = time.Time{}
	d.due(c, purpose)
}

func isCurrent(c *Call, purpose string, t Timer) bool {
	return slices.ContainsFunc(c.Timers, func(x CallTimer) bool {
		return x.Purpose == purpose && x.N == t.N && !x.At.IsZero()
	})
}

// due does what a timer of c was set for.
func (d *decision) due(c *Call, purpose string) {
	switch purpose {
	case "silence":
		d.silence(c)
	case "photo":
		d.photoLate(c)
	case "round":
		d.nextRound(c)
	case "together":
		d.aloneAfterAll(c)
	case "news":
		d.news(c)
	case "steward":
		d.refer(c)
	case "fallback":
		d.settle(c)
	case "lapse":
		d.lapse(c)
	case "tell":
		d.tellHolder(c)
	case "eta":
		d.late(c)
		d.stuck(c)
	case "dusk":
		d.dusk(c)
	case "lift":
		d.notLifted(c)
	case "try":
		d.gathered(c)
	case "hive":
		d.hive(c)
	case scrubPurpose:
		d.scrubDue(c)
	case photosPurpose:
		d.photosDue(c)
	}
}

// nextRound is the timer of a round: the next catchers are asked. A caller who was told to
// wait for the morning hears that it has begun.
func (d *decision) nextRound(c *Call) {
	if c.Waits {
		d.firstRound(d.personByID(c.Caller.Person), c)
		return
	}
	before := len(c.Offers)
	n := d.round(c)
	if n > 0 && before == 0 {
		d.promise(c, newsEvery)
		v := d.about(c, c.Caller)
		v["Count"] = n
		d.tell(c.Caller, notify.News, "looking", v)
	}
}

// kicked is an open call that the auditor found without a next step: it gets one, and the
// stewards hear of it.
func (d *decision) kicked(c *Call) {
	d.note(c, "audit_kick")
	d.tellStewards("steward_audit", d.about(c, Party{}), "")
	switch c.Stage {
	case Asking:
		d.set(c, "silence", d.Now.Add(nudgeAfter))
		if c.Held != "" {
			d.set(c, "steward", d.Now.Add(stewardTime))
		}
	case Looking:
		if c.Joined != "" {
			d.set(c, "together", d.Now.Add(time.Minute))
			return
		}
		d.set(c, "round", d.Now.Add(time.Minute))
	case Taken, There:
		d.set(c, "eta", d.Now.Add(etaWithin))
	case Boxed:
		d.set(c, "lift", d.Now.Add(time.Hour))
	case Lifted:
		d.set(c, "hive", d.morning(c))
	}
}

// Audit looks at every open call and kicks those that have no next step, by an event of
// their own. It returns how many it found: zero, if all is well.
func (h *Hotline) Audit(ctx context.Context) (int, error) {
	board, err := h.Store.Board(ctx)
	if err != nil {
		return 0, fmt.Errorf("audit: %w", err)
	}
	ids := make([]string, 0, len(board.Calls))
	for id := range board.Calls {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	var errs []error
	found, now := 0, h.Clock.Now()
	for _, id := range ids {
		// A card is written with its document, so that one with a next step needs no look.
		if next := board.Calls[id].Next; !next.IsZero() && now.Sub(next) < overdue {
			continue
		}
		docs, err := h.Store.Documents(ctx, []Key{{KindCall, id}})
		if err != nil {
			errs = append(errs, fmt.Errorf("audit: %w", err)) // and the others are looked at all the same
			continue
		}
		kick, ok := kickFor(docs[0], now)
		if !ok {
			continue
		}
		found++
		h.Log.Warn("audit: an open call had no next step", "call", id)
		if _, err := h.Hear(ctx, kick); err != nil {
			errs = append(errs, fmt.Errorf("audit: %w", err))
		}
	}
	return found, errors.Join(errs...)
}
