package notify

import (
	"cmp"
	"context"
	"time"
)

// Resolver finds out what became of an attempt that nobody recorded the end of. Only a
// channel whose provider keeps a log that can be asked has one.
type Resolver interface {
	// Resolve looks whether the provider took out at since or later. Accepted = it did, with
	// the provider's id; Refused = it did, and then failed for good; RetryLater = it did
	// not; Ambiguous = the log could not be read.
	Resolve(ctx context.Context, out Outgoing, since time.Time) Result
}

// How long doubt lasts, by judgement. A provider's log shows a message, or its delivery
// report comes in, well within the first; who cannot be asked for the second is not waited
// for any longer: then the message's class decides.
const (
	settleFor = 20 * time.Second
	doubtFor  = 2 * time.Minute
)

// settle is how long an ambiguous end of class rests before the provider is asked: safety
// as short as it would take to send again.
func (d *Delivery) settle(class Class) time.Duration {
	if class == Safety {
		return persistenceOf(Safety).first
	}
	return cmp.Or(d.Settle, settleFor)
}

// settleOn is settle on a channel whose provider can be asked, 0 on others.
func (d *Delivery) settleOn(channel Channel, class Class) time.Duration {
	if d.Resolvers[channel] == nil {
		return 0
	}
	return d.settle(class)
}

// resolve asks the provider about an attempt that was left open. decided means that done
// says it all; else the message is to be sent: as new when it was never taken, or as its
// class says when nobody could tell.
func (d *Delivery) resolve(ctx context.Context, channel Channel, lease *Lease, now time.Time) (done Done, decided bool) {
	resolver := d.Resolvers[channel]
	if resolver == nil || lease.EditsProvider != "" {
		return Done{}, false
	}
	out, ok := d.filled(lease.Outgoing)
	if !ok {
		return Done{}, false // send says why
	}
	found := resolver.Resolve(ctx, out, lease.Since)
	d.tellResolved(channel, lease, found)
	switch found.End {
	case Accepted, Refused:
		return Done{Lease: *lease, Result: found, Unsent: true}, true
	case RetryLater:
		if lease.Attempt > persistenceOf(lease.Class).tries {
			return Done{Lease: *lease, Result: found, Drop: dropGaveUp, Unsent: true}, true
		}
		lease.State = Fresh
		return Done{}, false
	}
	if lease.Class == Safety || now.Sub(lease.Since) >= doubtFor {
		return Done{}, false
	}
	found.After = spread(max(found.After, d.settle(lease.Class)), lease.ID, lease.Attempt)
	return Done{Lease: *lease, Result: found, Unsent: true}, true
}

func (d *Delivery) tellResolved(channel Channel, lease *Lease, found Result) {
	how := map[End]string{Accepted: "taken", Refused: "failed", RetryLater: "not_taken"}[found.End]
	how = cmp.Or(how, "unknown")
	d.log().Info("message in doubt looked up", "message", lease.ID, "class", lease.Class, "found", how)
	if d.Resolved != nil {
		d.Resolved(channel, how)
	}
}
