package simulation

import (
	"context"
	"time"

	"skepline/notify"
)

// Mutant is a fault planted on purpose, to see that the simulation notices it.
type Mutant string

// The mutants of the store.
const (
	ForgetSeen  Mutant = "a repeated event is committed again"
	FreshAnswer Mutant = "a repeated event is answered by what would be said now"
	NoVersions  Mutant = "documents are written whatever their version"
	NoChecks    Mutant = "documents that were only read are not checked"
	DropLast    Mutant = "the last message of a change is lost"
	KeepFired   Mutant = "timers are never cleared"
	NoTimers    Mutant = "timers are not stored"
	EarlyTimers Mutant = "timers go off ten minutes early"
	TakeTimers  Mutant = "a timer is taken away when it is read"
	NoPause     Mutant = "a channel's pause is not kept"
	SafetyWaits Mutant = "safety comes after the rest"
	NoLease     Mutant = "a line in flight is handed out again"
	IgnoreStop  Mutant = "opt-outs are not looked at before sending"
	ForgetOpen  Mutant = "an attempt left open counts as never begun"
	NoFuse      Mutant = "the day's money has no end"
	NoFence     Mutant = "the end of a superseded attempt is taken"
)

// The mutants of what stands around the store.
const (
	NoResolver    Mutant = "sends in doubt are not looked up"
	BlindResolver Mutant = "the look-up finds nothing"
	NewIDs        Mutant = "every commit gets an event id of its own"
	LoseParked    Mutant = "what could not be handled is acknowledged and told to nobody"
	LoseStops     Mutant = "an opt-out does not reach the store's list"
	AckFirst      Mutant = "an arrival is acknowledged though its commit failed"
	NoSweep       Mutant = "lost texts are not read out of the provider's log"
	NoTruth       Mutant = "what is no longer true is sent all the same"
	AllTaken      Mutant = "every send counts as taken"
	DropFailed    Mutant = "a message that cannot be delivered is not told to the state"
	DoubtIsGone   Mutant = "what is in doubt counts as sent"
	NoRepair      Mutant = "takes that a failover lost are not repaired"
	NoKept        Mutant = "a take is told before a copy has it"
	NoSenderRate  Mutant = "a sender's rate is not kept"
	NoChatRate    Mutant = "a chat's rate is not kept"
)

// Mutants are all of them.
var Mutants = []Mutant{ForgetSeen, FreshAnswer, NoVersions, NoChecks, DropLast, KeepFired, NoTimers, EarlyTimers, TakeTimers,
	NoPause, SafetyWaits, NoLease, IgnoreStop, ForgetOpen, NoFuse, NoFence,
	NoResolver, BlindResolver, NewIDs, LoseParked, LoseStops, AckFirst, NoSweep, NoTruth, AllTaken, DropFailed, DoubtIsGone, NoRepair, NoKept, NoSenderRate, NoChatRate}

// mutate plants the mutants of the delivery.
func (r *replica) mutate() {
	switch r.mutant {
	case NoKept:
		r.delivery.Kept = nil
	case NoTruth:
		r.delivery.Truth = func(context.Context, notify.Message, time.Time) (string, error) { return "", nil }
	case DropFailed:
		r.delivery.Undelivered = func(context.Context, notify.Message, string) error { return nil }
	case AllTaken, DoubtIsGone:
		for c, s := range r.delivery.Senders {
			r.delivery.Senders[c] = lying{s, r.mutant}
		}
	}
}

// lying is a sender that says that messages were taken which were not.
type lying struct {
	notify.Sender
	mutant Mutant
}

// Send lies about how the send ended.
func (l lying) Send(ctx context.Context, out notify.Outgoing) notify.Result {
	result := l.Sender.Send(ctx, out)
	if l.mutant == AllTaken || result.End == notify.Ambiguous {
		result.End = notify.Accepted
	}
	return result
}
