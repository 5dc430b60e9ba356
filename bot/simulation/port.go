package simulation

import (
	"context"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// port is a replica's connection to the store. Faults strike here: before a command, after
// it ran and before its answer, and between one replica's load and its commit.
type port struct {
	bot.Store
	r *replica
}

// through runs one command and lets it meet its fault.
func (p *port) through(point string, run func() error) error {
	w := p.r.world
	if p.r.dead {
		return errDead
	}
	if w.outage.After(w.now) {
		return errDown
	}
	kind := w.fault(point)
	switch kind {
	case "error":
		return errDown
	case "conflict":
		return bot.ErrConflict
	case "crash":
		p.r.die()
		return errDead
	case "meanwhile":
		w.meanwhile()
	case "reply_lost_twice":
		// The retry comes when the store is away.
		err := run()
		w.outage = w.now.Add(2 * time.Second)
		if err == nil {
			err = errLost
		}
		return err
	}
	err := run()
	switch {
	case err == nil && kind == "reply_lost":
		return errLost
	case kind == "crash_after":
		p.r.die()
		return errDead
	}
	return err
}

// Load passes the point "load".
func (p *port) Load(ctx context.Context, event bot.EventID, person, find string, strangers ...bot.Key) (loaded bot.Loaded, err error) {
	err = p.through("load", func() error { loaded, err = p.Store.Load(ctx, event, person, find, strangers...); return err })
	return loaded, err
}

// Documents passes the point "documents".
func (p *port) Documents(ctx context.Context, keys []bot.Key) (docs []bot.Document, err error) {
	err = p.through("documents", func() error { docs, err = p.Store.Documents(ctx, keys); return err })
	return docs, err
}

// Find passes the point "documents".
func (p *port) Find(ctx context.Context, name string) (subject string, err error) {
	err = p.through("documents", func() error { subject, err = p.Store.Find(ctx, name); return err })
	return subject, err
}

// Roster passes the point "documents".
func (p *port) Roster(ctx context.Context) (all []notify.Catcher, err error) {
	err = p.through("documents", func() error { all, err = p.Store.Roster(ctx); return err })
	return all, err
}

// Around passes the point "documents".
func (p *port) Around(ctx context.Context, place intake.Place, km float64, now time.Time) (near *bot.Surroundings, err error) {
	err = p.through("documents", func() error { near, err = p.Store.Around(ctx, place, km, now); return err })
	return near, err
}

// Commit passes the point "commit"; the watch sees what was applied.
func (p *port) Commit(ctx context.Context, c bot.Change) (done bot.Committed, err error) {
	if p.r.mutant == NewIDs {
		p.r.seq++
		c.Event += bot.EventID(rune('a' + p.r.seq%26))
	}
	if p.r.mutant == LoseStops {
		c.Stops = nil
	}
	if p.r.mutant == LoseParked && c.Outcome == bot.OutcomeParked {
		c.Messages = nil
	}
	err = p.through("commit", func() error {
		if done, err = p.Store.Commit(ctx, c); err == nil {
			p.r.watch.committed(c, done)
		}
		return err
	})
	return done, err
}

// DueTimers passes the point "due".
func (p *port) DueTimers(ctx context.Context, most int) (due []bot.Timer, wait time.Duration, err error) {
	err = p.through("due", func() error { due, wait, err = p.Store.DueTimers(ctx, most); return err })
	return due, wait, err
}

// Postpone passes the point "due".
func (p *port) Postpone(ctx context.Context, timer bot.Timer, by time.Duration) error {
	return p.through("due", func() error { return p.Store.Postpone(ctx, timer, by) })
}

// Report passes the point "documents".
func (p *port) Report(ctx context.Context, r bot.DeliveryReport) (failed *notify.Message, err error) {
	err = p.through("documents", func() error { failed, err = p.Store.Report(ctx, r); return err })
	return failed, err
}

// Lease passes the point "lease".
func (p *port) Lease(ctx context.Context, channel notify.Channel, most int, hold time.Duration) (leased notify.Leased, err error) {
	err = p.through("lease", func() error { leased, err = p.Store.Lease(ctx, channel, most, hold); return err })
	if err != nil {
		return notify.Leased{}, err
	}
	return leased, nil
}

// Finish passes the point "finish".
func (p *port) Finish(ctx context.Context, done notify.Done) error {
	ran := false
	err := p.through("finish", func() error {
		ran = true
		return p.r.watch.finishing(done, func() error { return p.Store.Finish(ctx, done) })
	})
	if !ran {
		p.r.watch.doubt(done.Lease.Outgoing, false) // its end is not recorded
	}
	return err
}

// die ends a process where it stands; another one starts a little later.
func (r *replica) die() {
	if r.dead {
		return
	}
	r.dead = true
	r.tell("  ! replica %d dies", r.n)
	r.at(r.now.Add(3*time.Second), false, func() {
		r.replicas[r.n] = r.newReplica(r.n)
		r.tell("  replica %d starts again", r.n)
	})
}

// meanwhile takes the next step of the plan out of its turn, in the middle of something.
func (w *world) meanwhile() {
	if w.nested > 2 {
		return
	}
	w.nested++
	defer func() { w.nested-- }()
	for i, h := range w.ahead {
		if h.step {
			w.ahead = append(w.ahead[:i:i], w.ahead[i+1:]...)
			h.what()
			return
		}
	}
}

// stall freezes a replica in the middle of a send, while the others go on.
func (r *replica) stall(d time.Duration) {
	if r.nested > 0 {
		return
	}
	r.nested++
	r.asleep = r.now.Add(d)
	r.runUntil(minTime(r.asleep, r.end))
	r.asleep = time.Time{}
	r.nested--
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
