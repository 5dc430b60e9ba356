package simulation

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// A store can forget what it acknowledged: a copy that lags takes over from a main server that
// dies, or a machine loses its power before the last writes were on the disk. Here the store
// is put back as it was a while before, and what was told to people in between stays told.

// loss is a time for which the store will turn out to have forgotten everything.
type loss struct {
	since  time.Time
	before *Memory
	// another copy is in step meanwhile, but is not the one that takes over: what was
	// committed counts as kept, and is lost all the same.
	another bool
}

// lags begins a loss, unless one has begun.
func (w *world) lags(s Step) {
	if w.loss != nil {
		return
	}
	w.tell("  ! from here on the store will forget everything (for %v)", s.For)
	w.loss = &loss{since: w.now, before: w.memory.clone(), another: s.N == 1}
	w.at(w.now.Add(s.For), false, w.loses)
}

// kept is what WAIT says while a copy lags.
func (w *world) kept(context.Context) (bool, error) {
	return w.loss == nil || w.loss.another, nil
}

// loses puts the store back. Every program that lives notices that within seconds.
func (w *world) loses() {
	l := w.loss
	w.loss = nil
	w.tell("  ! the store forgets the last %v", w.now.Sub(l.since))
	clock := w.memory.Clock
	*w.memory = *l.before
	w.memory.Clock = clock
	w.watch.forgets(l)
	w.outage = w.now.Add(time.Second)
	w.losses++
	name := "loss" + string(rune('0'+w.losses))
	for n := range w.replicas {
		w.at(w.now.Add(3*time.Second), false, func() { w.repairs(n, name, 15) })
	}
}

// repairs lets a replica hold what it told against what the store knows, every two seconds.
func (w *world) repairs(n int, name string, times int) {
	r := w.replicas[n]
	if times == 0 || w.mutant == NoRepair {
		return
	}
	w.at(w.now.Add(2*time.Second), false, func() { w.repairs(n, name, times-1) })
	if r.dead || r.asleep.After(w.now) {
		return
	}
	// What fails is done again in two seconds.
	_, _ = r.hotline.Hear(context.Background(), bot.WentBack{Event: bot.EventID("wb:" + name)})
	_ = r.hotline.Reconcile(context.Background(), name, func(how string) { w.hits["repaired "+how]++ })
}

// forgets takes out of what the watch expects all that the store has forgotten, and notes
// which takes people were told of.
func (v *watch) forgets(l *loss) {
	m := v.w.memory
	gone := func(e bot.EventID) bool { _, known := m.known(e); return !known }
	for _, a := range v.w.inbox {
		if a.heard && gone(a.event.ID()) {
			a.lost = sender(a).Channel() == notify.Telegram // which brings nothing again that was acknowledged
			a.heard = false
		}
	}
	for _, id := range slices.Sorted(maps.Keys(v.notes)) {
		n := v.notes[id]
		if n.forgotten {
			continue
		}
		if gone(n.event) {
			n.forgotten = true
			if n.Class == notify.Claim && n.Still.Epoch > 0 && n.copies > 0 {
				v.mustHear(n)
			}
			delete(v.wants, id)
			continue
		}
		if _, waits := m.items[id]; waits {
			n.earlier += n.copies // what went out already goes out again
			n.copies = 0
		}
	}
	maps.DeleteFunc(v.applied, func(e bot.EventID, _ bot.Outcome) bool { return gone(e) })
	clear(v.last)
	clear(v.told)
	clear(v.flying)
	clear(v.rates)
	clear(v.urgent)
	for _, item := range m.items {
		if n := v.notes[item.ID]; item.Class == notify.Safety && (n == nil || n.copies+n.earlier == 0) {
			v.urgent[item.Recipient] = true
		}
	}
	for id, c := range v.calls {
		doc := m.docs[bot.Key{Kind: bot.KindCall, ID: id}]
		if doc.Version == 0 {
			delete(v.calls, id)
			continue
		}
		c.Call = bot.Call{}
		if err := json.Unmarshal(doc.Body, &c.Call); err != nil {
			v.w.breaks("I4", "a call cannot be read: %v", err)
		}
	}
}

// mustHear holds I2 across a loss: within a minute whoever was told "yours" by a message that
// the store has forgotten holds the call again, or has heard that they do not. It is asked
// for only where nothing else breaks.
func (v *watch) mustHear(n *noted) {
	w := v.w
	if len(w.plan.Faults) > 0 {
		return
	}
	from, who := w.now, n.Recipient
	w.at(w.now.Add(time.Minute), false, func() {
		if c := v.calls[n.Still.Call]; c != nil && c.Holder != nil && c.Holder.Catcher == n.Still.Holder {
			return
		}
		for _, heard := range v.notes {
			if heard.Recipient == who && heard.copies > 0 && heard.gone.After(from) && strings.Contains(heard.Text, n.Still.Reference) {
				return
			}
		}
		w.breaks("I2", "%s was told that %s is theirs, a failover lost that, and nobody told them in a minute", n.To.Hint(), n.Still.Reference)
	})
}

// clone copies a store. Documents and messages are never changed in place, so they are shared.
func (m *Memory) clone() *Memory {
	c := *m
	c.docs, c.board, c.roster, c.find, c.stop = maps.Clone(m.docs), maps.Clone(m.board), maps.Clone(m.roster), maps.Clone(m.find), maps.Clone(m.stop)
	for i := range m.seen {
		c.seen[i] = maps.Clone(m.seen[i])
	}
	c.timers, c.errands, c.closed, c.holds, c.marks = maps.Clone(m.timers), maps.Clone(m.errands), maps.Clone(m.closed), maps.Clone(m.holds), maps.Clone(m.marks)
	c.places = bytes.Clone(m.places)
	o := &c.outbox
	o.items, o.held, o.tries, o.sent = maps.Clone(m.items), maps.Clone(m.held), maps.Clone(m.tries), maps.Clone(m.sent)
	o.pace, o.pause, o.spend, o.chat, o.shuts = maps.Clone(m.pace), maps.Clone(m.pause), maps.Clone(m.spend), maps.Clone(m.chat), maps.Clone(m.shuts)
	o.lines, o.lanes = map[string][]string{}, map[notify.Lane]map[string]int64{}
	for line, ids := range m.lines {
		o.lines[line] = slices.Clone(ids)
	}
	for lane, lines := range m.lanes {
		o.lanes[lane] = maps.Clone(lines)
	}
	return &c
}
