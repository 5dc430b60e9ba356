package bot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// A Redis that fails over can forget what it acknowledged, a take among it, while its catcher
// has long been told. No store can prevent that; it is repaired. Each program remembers the
// takes that it told somebody of, and when Redis has gone back it holds them against what
// Redis still knows. The event Told settles what differs.

// Told is a take that a catcher was told is theirs, remembered outside the store.
type Told struct {
	Event     EventID
	Call      string
	Reference string
	Catcher   string
	Epoch     int       // which take of the call it was
	At        time.Time // when the catcher was first told
	last      time.Time // when they were last told: after a repair once more
}

// WentBack is the finding that the store may have lost its last moments.
type WentBack struct {
	Event EventID
}

// ID returns the event's id.
func (e Told) ID() EventID { return e.Event }

// ID returns the event's id.
func (e WentBack) ID() EventID { return e.Event }
func (Told) isEvent()          {}
func (WentBack) isEvent()      {}

// promised is how long a take is remembered here: a failover loses moments, not minutes.
const promised = 15 * time.Minute

// promises are the takes that this program told of.
type promises struct {
	mu   sync.Mutex
	told []Told
}

// remember notes a claim that went out.
func (p *promises) remember(done notify.Done, now time.Time) {
	m := done.Lease.Message
	if done.Result.End != notify.Accepted || m.Class != notify.Claim || m.Still.Holder == "" || m.Still.Epoch == 0 {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	told := Told{Call: m.Still.Call, Reference: m.Still.Reference, Catcher: m.Still.Holder, Epoch: m.Still.Epoch, At: now, last: now}
	p.told = slices.DeleteFunc(p.told, func(t Told) bool {
		same := t.Call == told.Call && t.Catcher == told.Catcher
		if same && now.Sub(t.last) <= promised {
			told.At = t.At // who was first stays first, however often a loss is repaired
		}
		return same || now.Sub(t.last) > promised
	})
	p.told = append(p.told, told)
}

// forget drops a promise that its catcher was told is none.
func (p *promises) forget(gone Told) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.told = slices.DeleteFunc(p.told, func(t Told) bool { return t.Call == gone.Call && t.Catcher == gone.Catcher })
}

// all returns what is remembered, first told first.
func (p *promises) all() []Told {
	p.mu.Lock()
	defer p.mu.Unlock()
	all := slices.Clone(p.told)
	slices.SortStableFunc(all, func(a, b Told) int { return a.At.Compare(b.At) })
	return all
}

// Reconcile holds every take that this program told of against the store, after the store
// went back. loss names that event; called again with the same name, it does again only what
// failed. repaired is told what became of each take that the store had lost: "restored",
// "conflict", "yielded" or "unknown".
func (h *Hotline) Reconcile(ctx context.Context, loss string, repaired func(how string)) error {
	var errs []error
	for _, told := range h.promises.all() {
		told.Event = EventID(fmt.Sprintf("fo:%s:%s:%s:%d", loss, told.Call, told.Catcher, told.Epoch))
		loaded, err := h.Store.Load(ctx, told.Event, "", "")
		if err == nil && loaded.Seen {
			continue
		}
		outcome, err := h.Hear(ctx, told)
		errs = append(errs, err)
		if err == nil && outcome != OutcomeNoted {
			h.Log.Error("a take that its catcher was told of had been lost", "call", told.Reference, "done", outcome)
			repaired(string(outcome))
		}
		if err == nil && (outcome == OutcomeYielded || outcome == OutcomeUnknown) {
			h.promises.forget(told)
		}
	}
	return errors.Join(errs...)
}

// wentBack tells the stewards.
func (d *decision) wentBack() { d.tellStewards("steward_went_back", nil, "") }

// told settles a take that its catcher was told of. The first of two who were promised one
// swarm has it, unless the second is on the way already.
func (d *decision) told(e Told) {
	c, k := d.call(e.Call), d.catcher(e.Catcher)
	switch {
	case k.ID == "" || k.Address == "":
		// Nobody to tell.
	case c.ID == "":
		d.lostCall(e, k)
	case c.knowsTake(e):
	case !c.Ended.IsZero():
		d.repaired(c, OutcomeYielded)
		d.tell(d.catcherParty(k), notify.Claim, "repair_over", d.about(c, d.catcherParty(k)))
	case c.Holder == nil:
		d.restore(c, k)
	case c.Stage == Taken && c.Holder.ETA.IsZero() && c.Holder.Taken.After(e.At):
		d.giveBackTo(c, k)
	default:
		d.keepHolder(c, k)
	}
}

// goesAlready reports whether a word about a call says that k goes there, though nobody has it
// and an offer of it to them stands open. They may have taken it and every program that knew
// been lost together with the take; then this is how it comes back.
func (d *decision) goesAlready(c *Call, k *Catcher, word intake.Word) bool {
	o := c.offer(k.ID)
	return (word == intake.WordETA || word == intake.WordThere) && c.Stage == Looking && c.Holder == nil && c.Ended.IsZero() &&
		o != nil && o.State == notify.AskOpen
}

// knowsTake reports whether the call remembers that take of the catcher, or that they heard
// since that somebody else has it.
func (c *Call) knowsTake(e Told) bool {
	o := c.offer(e.Catcher)
	switch {
	case c.heldBy(e.Catcher):
		return true
	case o == nil:
		return false
	case o.State == notify.AskStandby:
		return o.Answered.After(e.At)
	}
	return c.Epoch >= e.Epoch && (o.State == notify.AskTaken || o.State == notify.AskDropped)
}

func (d *decision) repaired(c *Call, outcome Outcome) {
	d.change.Outcome = outcome
	d.note(c, "repaired "+string(outcome))
}

// lostCall is a take of a call that is not known any more.
func (d *decision) lostCall(e Told, k *Catcher) {
	d.change.Outcome = OutcomeUnknown
	v := values{"Ref": e.Reference, "Holder": k.Name}
	d.tell(d.catcherParty(k), notify.Claim, "repair_unknown", v)
	d.tellStewards("steward_lost_call", v, "")
}

// restore gives a call that nobody holds back to the catcher who was told that it is theirs.
func (d *decision) restore(c *Call, k *Catcher) {
	p := d.catcherParty(k)
	d.tell(p, notify.Claim, "repair_yours", d.about(c, p))
	d.letGo(c)
	c.Held = ""
	if c.offer(k.ID) == nil {
		c.Offers = append(c.Offers, Offer{Ask: notify.Ask{Catcher: k.ID, At: d.Now, State: notify.AskOpen}, Name: k.Name, Party: p, Far: d.far(k, c)})
	}
	d.award(c, k, time.Time{})
	d.repaired(c, OutcomeRestored)
}

// giveBackTo gives a call to the catcher who was told first. The other one has not said when
// they will be there, and is told at once.
func (d *decision) giveBackTo(c *Call, k *Catcher) {
	second := c.Holder
	b := d.catcher(second.Catcher)
	b.let(c.ID)
	b.Takes = b.Takes[:max(0, len(b.Takes)-1)] // it is not theirs, so it costs them none of their day's jobs
	if o := c.offer(b.ID); o != nil {
		o.State, o.Answered = notify.AskStandby, d.Now
	}
	c.Holder = nil
	d.move(c, Looking)
	d.clear(c, "eta")
	d.restore(c, k)
	d.repaired(c, OutcomeConflict)
	d.tell(second.Party, notify.Claim, "repair_other", d.about(c, second.Party))
	d.tellStewards("steward_conflict", values{"Ref": c.Reference, "Holder": k.Name, "Other": second.Name}, "")
}

// keepHolder tells a catcher that somebody else has what they were told is theirs.
func (d *decision) keepHolder(c *Call, k *Catcher) {
	p := d.catcherParty(k)
	if o := c.offer(k.ID); o != nil {
		o.State, o.Answered = notify.AskStandby, d.Now
	}
	k.Asks = without(k.Asks, c.ID)
	d.repaired(c, OutcomeYielded)
	d.tell(p, notify.Claim, "repair_other", d.about(c, p))
	d.tellStewards("steward_conflict", values{"Ref": c.Reference, "Holder": c.Holder.Name, "Other": k.Name}, "")
}
