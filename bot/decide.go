package bot

import "skepline/intake"

// Outcomes of Decide, kept under the event's id. A repeated tap or text gets the same one.
const (
	OutcomeNoted    Outcome = "noted"     // taken in; there may be messages
	OutcomeWon      Outcome = "won"       // the call is theirs
	OutcomeYours    Outcome = "yours"     // it was theirs already
	OutcomeKept     Outcome = "kept"      // they are the fallback
	OutcomeLate     Outcome = "late"      // somebody else has it
	OutcomeNoOffer  Outcome = "no_offer"  // there is no open offer to them
	OutcomeFull     Outcome = "full"      // they have taken as many as they wanted for the day
	OutcomeStale    Outcome = "stale"     // about something that is over
	OutcomeQuiet    Outcome = "quiet"     // deliberately not answered
	OutcomeStopped  Outcome = "stopped"   // opted out
	OutcomeOtherWay Outcome = "other_way" // undelivered, and sent to the second address
)

// Outcomes of Told besides noted, which is a take that was not lost.
const (
	OutcomeRestored Outcome = "restored" // lost, and given back to its catcher
	OutcomeConflict Outcome = "conflict" // lost, somebody else took the call meanwhile, and has to give it back
	OutcomeYielded  Outcome = "yielded"  // lost, and somebody else keeps the call, or it ended
	OutcomeUnknown  Outcome = "unknown"  // lost with its call
)

// OutcomeSettling is what a take is answered with as long as no second Redis has it.
const OutcomeSettling Outcome = "settling"

// TapWords returns the few words that answer a tap on the spot, "" for none.
func TapWords(o Outcome, lang string) string {
	if o == OutcomeNoted || o == OutcomeQuiet {
		return ""
	}
	w := intake.Words{Language: lang, Chat: true}
	if !w.Knows("tap_" + string(o)) {
		return ""
	}
	return w.Say("tap_"+string(o), nil)
}

// Decide says everything that follows from one event. It is pure: the same facts give the
// same bytes. When it lacks a document it returns what it needs and no change; it is then
// called again from the start with more facts.
func Decide(f Facts) (change Change, need Need) {
	d := newDecision(f)
	defer func() {
		// A missing fact unwinds from wherever it was needed; anything else is a fault.
		switch r := recover().(type) {
		case nil:
		case Need:
			change, need = Change{}, r
		default:
			panic(r)
		}
	}()
	switch e := f.Event.(type) {
	case Said:
		d.said(e)
	case Tapped:
		d.tapped(e)
	case Rang:
		d.rang(e)
	case Blocked:
		d.blocked(e)
	case Fired:
		d.fired(e)
	case Undelivered:
		d.undelivered(e)
	case Enrolled:
		d.enrolled(e)
	case Dismissed:
		d.dismissed(e)
	case Kicked:
		d.kick(e)
	case Returned:
		d.returned(e)
	case Told:
		d.told(e)
	case WentBack:
		d.wentBack()
	case Paged:
		d.paged(e)
	case Desked:
		d.desked(e)
	case Spent:
		d.spent(e)
	case Morning:
		d.morningOf(e)
	}
	return d.finish(), Need{}
}
