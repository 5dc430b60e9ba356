package notify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
)

// Truth says whether a message is still worth sending: "" = yes, else the reason to drop it
// ("stale", "superseded", "too_late"). It looks at the documents as they are at now.
type Truth func(ctx context.Context, m Message, now time.Time) (drop string, err error)

// Delivery sends what the outbox holds. Its fields are set once and then only read; any
// number of loops may share one.
type Delivery struct {
	Outbox  Outbox
	Senders map[Channel]Sender
	// Resolvers look up what became of an attempt in doubt; a channel without one leaves it
	// to the class of the message.
	Resolvers map[Channel]Resolver
	Truth     Truth
	// Fill puts in what is not stored, the token of a link, and reports whether it could. The
	// filled words are what is sent and what is looked for afterwards. nil = nothing to fill.
	Fill func(Outgoing) (Outgoing, bool)
	// Kept asks whether what was committed up to now survives the loss of the store's
	// server. A take is announced only then, or after announceAfter all the same: what is
	// lost can be repaired, a swarm that nobody goes to cannot. nil = it always does.
	Kept func(ctx context.Context) (bool, error)
	// Undelivered tells the state that a message which was still worth sending will not
	// arrive. It may be told twice of one message.
	Undelivered func(ctx context.Context, m Message, reason string) error
	// Resolved is told how each look-up ended: "taken", "failed", "not_taken", "unknown".
	// It may be nil.
	Resolved func(channel Channel, how string)
	// Ended is told of every attempt that is over, and how old its message is. It may be nil.
	Ended func(done Done, age time.Duration)
	Log   *slog.Logger // nil = silent
	// Now is the clock that Step's now was read from. nil = nobody ever stands still.
	Now    func() time.Time
	Hold   time.Duration // how long a lease holds; longer than the slowest send. 0 = 60 s
	Settle time.Duration // how long a send in doubt rests before it is looked up. 0 = 20 s
	Batch  int           // messages in flight at once. 0 = 16
}

// The reasons to drop a message that Delivery itself knows of; Truth has its own.
const (
	dropStale    = "stale"        // NotAfter has passed
	dropOptedOut = "opted_out"    // its recipient wants no more
	dropUnfunded = "unfunded"     // the day's money is spent
	dropGaveUp   = "gave_up"      // tried as often as its class is worth
	dropDetour   = "channel_down" // goes another way
	dropInDoubt  = "in_doubt"     // may have arrived already, and twice is worse than never
	dropUnread   = "unreadable"   // what is stored of it is broken
)

// lookAgain is the wait after trouble of our own: no sender for the channel, no reading of
// the documents, no commit of a failure.
const lookAgain = time.Minute

// Step delivers one batch of channel: it leases what is due, and for each message asks
// whether it is still true, sends it, and records how that ended. It returns how many the
// provider took, and how long until there may be more to do (0 = now). The messages of a
// batch stand in different lines, so they go out side by side; the next one of a line
// steps forward only when the one before is recorded. now is the time by the outbox's
// clock; ctx carries the deadline of the sends.
func (d *Delivery) Step(ctx context.Context, channel Channel, now time.Time) (sent int, wait time.Duration, err error) {
	leased, err := d.Outbox.Lease(ctx, channel, cmp.Or(d.Batch, 16), cmp.Or(d.Hold, time.Minute))
	if err != nil {
		return 0, 0, fmt.Errorf("lease messages of %s: %w", channel, err)
	}
	if len(leased.Items) == 0 {
		return 0, leased.Wait, nil
	}
	var (
		lines errgroup.Group
		mu    sync.Mutex
		errs  []error
	)
	for _, lease := range leased.Items {
		lines.Go(func() error {
			accepted, err := d.deliverCalmly(ctx, channel, lease, now)
			mu.Lock()
			defer mu.Unlock()
			if accepted {
				sent++
			}
			errs = append(errs, err)
			return nil
		})
	}
	_ = lines.Wait() // the errors of all are in errs
	return sent, 0, errors.Join(errs...)
}

// deliverCalmly is deliver, with a fault of ours as the trouble of this message only.
func (d *Delivery) deliverCalmly(ctx context.Context, channel Channel, lease Lease, now time.Time) (accepted bool, err error) {
	defer func() {
		if recover() != nil {
			d.log().Error("delivery broke", "message", lease.ID, "class", lease.Class, "stack", string(debug.Stack()))
			err = fmt.Errorf("message %s: a fault in the program", lease.ID)
		}
	}()
	return d.deliver(ctx, channel, lease, now)
}

// deliver takes one leased message to its end.
func (d *Delivery) deliver(ctx context.Context, channel Channel, lease Lease, now time.Time) (accepted bool, err error) {
	if lease.State == LeftOpen {
		if done, decided := d.resolve(ctx, channel, &lease, now); decided {
			return done.Result.End == Accepted, d.record(ctx, done)
		}
	}
	done := Done{Lease: lease}
	if done.Drop, err = d.notSent(ctx, lease, now); err != nil {
		d.log().Warn("message cannot be checked", "message", lease.ID, "class", lease.Class, "error", err)
		done.Result = Result{End: RetryLater, After: lookAgain, Reason: "unchecked"}
		if _, giveUp := Backoff(lease.Class, lease.Attempt, lookAgain); giveUp {
			done.Drop = dropGaveUp // what it is about cannot be read, and others wait behind it
		}
	} else if done.Drop == dropDetour && lease.Class == Safety {
		// It goes both ways: the second address may not work either.
		done.Drop, done.Result = "", Result{End: RetryLater, After: lookAgain / 4, Reason: dropDetour}
	} else if done.Drop == "" && d.overslept(now) {
		done.Unsent, done.Result = true, Result{End: RetryLater, After: time.Second, Reason: "overslept"}
	} else if done.Drop == "" && d.unkept(ctx, lease, now) {
		done.Unsent, done.Result = true, Result{End: RetryLater, After: time.Second, Reason: "unkept"}
	} else if done.Drop == "" {
		done.Result = d.send(ctx, channel, lease)
		done = judged(done, d.settleOn(channel, lease.Class))
	}
	return done.Result.End == Accepted, errors.Join(err, d.record(ctx, done))
}

// overslept reports whether so much of a lease is gone that a send begun now could outlast
// it: the program stood still since began, and somebody else may have the message by now.
func (d *Delivery) overslept(began time.Time) bool {
	return d.Now != nil && d.Now().Sub(began) >= cmp.Or(d.Hold, time.Minute)/2
}

// announceAfter is how long a take that only one server knows of is kept back.
const announceAfter = 20 * time.Second

// unkept reports whether a message is a promise that the store may yet lose.
func (d *Delivery) unkept(ctx context.Context, lease Lease, now time.Time) bool {
	if d.Kept == nil || lease.Class != Claim || lease.Still.Epoch == 0 || lease.At.IsZero() || now.Sub(lease.At) >= announceAfter {
		return false
	}
	kept, err := d.Kept(ctx)
	if err != nil {
		d.log().Warn("cannot ask whether a take is kept", "message", lease.ID, "error", err)
	}
	return !kept
}

// notSent returns why a leased message is not to be sent, "" when it is. A safety message
// goes out even when its truth cannot be read.
func (d *Delivery) notSent(ctx context.Context, lease Lease, now time.Time) (drop string, err error) {
	switch {
	case lease.State == Unreadable:
		return dropUnread, nil
	case lease.State == OptedOut:
		return dropOptedOut, nil
	case lease.State == Unfunded && lease.Class != Safety:
		return dropUnfunded, nil
	case lease.State == LeftOpen && !mayRepeat(lease.Outgoing):
		return dropInDoubt, nil
	case !lease.NotAfter.IsZero() && !now.Before(lease.NotAfter):
		return dropStale, nil
	}
	drop, err = d.Truth(ctx, lease.Message, now)
	if err != nil && lease.Class == Safety {
		drop, err = "", nil
	}
	if drop == "" && err == nil && lease.State == Detour {
		drop = dropDetour
	}
	return drop, err
}

// send hands the message to its channel's door.
func (d *Delivery) send(ctx context.Context, channel Channel, lease Lease) Result {
	sender := d.Senders[channel]
	if sender == nil {
		return Result{End: RetryLater, After: lookAgain, Reason: "no_sender"}
	}
	out, ok := d.filled(lease.Outgoing)
	if !ok {
		return Result{End: Refused, Reason: "lost_secret"}
	}
	if lease.State == LeftOpen && persistenceOf(out.Class).doubt == markRepeat {
		out.Text = repeatMark + out.Text
	}
	return d.calmly(ctx, sender, out)
}

// calmly sends, and takes a fault of ours over one message for a no to that message: it must
// neither end the program nor be tried for ever.
func (d *Delivery) calmly(ctx context.Context, sender Sender, out Outgoing) (result Result) {
	defer func() {
		if recover() != nil {
			d.log().Error("sending broke", "message", out.ID, "class", out.Class, "stack", string(debug.Stack()))
			result = Result{End: Refused, Reason: "fault"}
		}
	}()
	return sender.Send(ctx, out)
}

func (d *Delivery) filled(out Outgoing) (Outgoing, bool) {
	if d.Fill == nil {
		return out, true
	}
	return d.Fill(out)
}

// repeatMark stands before words that may have arrived once already. The two languages we
// speak write it the same, but for one letter that nobody misses.
const repeatMark = "(repeat) "

// judged decides what the end of an attempt means for the message: off it goes, once more
// later, or not at all. In doubt it stays open for settle, until the provider can be asked; 0 = it cannot.
func judged(done Done, settle time.Duration) Done {
	r, m := &done.Result, done.Lease.Outgoing
	switch r.End {
	case Accepted, Refused:
		return done
	case Ambiguous:
		if settle > 0 && m.EditsProvider == "" {
			r.After = spread(settle, m.ID, m.Attempt)
			return done
		}
		if !mayRepeat(m) {
			done.Drop = dropInDoubt
			return done
		}
	}
	wait, giveUp := Backoff(m.Class, m.Attempt, r.After)
	switch ours := r.Reason == "no_sender"; {
	case r.Pause || ours: // not the message's fault: it costs no attempt
		wait = max(wait, r.After)
	case giveUp:
		done.Drop = dropGaveUp
		return done
	}
	r.After = spread(wait, m.ID, m.Attempt)
	return done
}

// mayRepeat reports whether m may be sent when it may have arrived already. An edit in
// place may always: the second one changes nothing.
func mayRepeat(m Outgoing) bool {
	return m.EditsProvider != "" || persistenceOf(m.Class).doubt != letItBe
}

// record tells the state of a failure and then the outbox of the end, in this order: a
// crash between the two tells the state again, which knows that it was told. What happened
// is recorded even when ctx has ended meanwhile.
func (d *Delivery) record(ctx context.Context, done Done) error {
	ctx = context.WithoutCancel(ctx)
	m := done.Lease.Message
	var failed error
	if reason := failure(done); reason != "" {
		if failed = d.Undelivered(ctx, m, reason); failed != nil {
			failed = fmt.Errorf("report message %s as undelivered: %w", m.ID, failed)
			done.Drop, done.Result = "", Result{End: RetryLater, After: lookAgain, Reason: "unreported"}
		}
	}
	d.tellEnded(done)
	if done.Result.End != Accepted {
		d.log().Info("message not sent", "message", m.ID, "class", m.Class, "to", m.To.Hint(),
			"attempt", done.Lease.Attempt, "end", done.Result.End, "reason", done.Result.Reason, "drop", done.Drop)
	}
	err := d.Outbox.Finish(ctx, done)
	if err != nil {
		// An end that is not recorded is a send in doubt, so it is worth a second try; if the
		// first one ran and only its answer was lost, the second changes nothing.
		err = d.Outbox.Finish(ctx, done)
	}
	if err != nil {
		return errors.Join(failed, fmt.Errorf("record the end of message %s: %w", m.ID, err))
	}
	return failed
}

func (d *Delivery) tellEnded(done Done) {
	if d.Ended == nil || d.Now == nil {
		return
	}
	age := time.Duration(0)
	if at := done.Lease.At; !at.IsZero() {
		age = d.Now().Sub(at)
	}
	d.Ended(done, age)
}

// failure returns the reason when done means that a message still worth sending will not
// arrive; "" when it was sent, will be tried again, is no longer worth sending, or may have
// arrived.
func failure(done Done) string {
	switch {
	case done.Drop == dropGaveUp:
		return cmp.Or(done.Result.Reason, dropGaveUp)
	case done.Drop == dropOptedOut, done.Drop == dropUnfunded, done.Drop == dropDetour, done.Drop == dropUnread:
		return done.Drop
	case done.Result.Reason == dropDetour:
		return dropDetour
	case done.Drop == "" && done.Result.End == Refused:
		return cmp.Or(done.Result.Reason, string(Refused))
	}
	return ""
}

func (d *Delivery) log() *slog.Logger {
	if d.Log == nil {
		return slog.New(slog.DiscardHandler)
	}
	return d.Log
}
