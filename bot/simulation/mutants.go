package simulation

// Mutant is a fault planted on purpose, to see that the simulation notices it.
type Mutant string

// The mutants of the store.
const (
	ForgetSeen    Mutant = "a repeated event is committed again"
	VersionsFirst Mutant = "versions are checked before the event is known"
	NoVersions    Mutant = "documents are written whatever their version"
	NoChecks      Mutant = "documents that were only read are not checked"
	DropLast      Mutant = "the last message of a change is lost"
	KeepFired     Mutant = "a timer that went off stays"
	NoTimers      Mutant = "timers are not stored"
	EarlyTimers   Mutant = "timers go off ten minutes early"
	TakeTimers    Mutant = "a timer is taken away when it is read"
	NoPause       Mutant = "a channel's pause is not kept"
	SafetyWaits   Mutant = "safety comes after the rest"
	NoLease       Mutant = "a line in flight is handed out again"
	IgnoreStop    Mutant = "opt-outs are not looked at before sending"
	ForgetOpen    Mutant = "an attempt left open counts as never begun"
	NoFuse        Mutant = "the day's money has no end"
	NoFence       Mutant = "the end of a superseded attempt is taken"
)
