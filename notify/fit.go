package notify

import (
	"cmp"
	"slices"
	"time"

	"skepline/intake"
)

// Needs is what a call asks of the one who takes it.
type Needs struct {
	Place      intake.Place
	HeightM    *float64           // metres above the ground; nil = not known, which stops nobody
	Cutout     bool               // a colony in a structure: somebody who does removals
	PowerLine  bool               // a caution in the offer and the brief, no gate: the line may be far enough off
	Restless   float64            // how many times likelier than usual the swarm leaves; 0 = as usual
	Roads      map[string]float64 // minutes on the road by catcher, as far as they were looked up
	Likelihood float64            // 0 to 1; no gate either: what is put to catchers is triage's affair
}

// Why a catcher is not asked.
const (
	ReasonFits           Reason = "fits"            // nothing stands against it
	ReasonNotJoined      Reason = "not_joined"      // the invitation is not used yet
	ReasonOutOfReach     Reason = "out_of_reach"    // farther than they go
	ReasonTooHigh        Reason = "too_high"        // higher than they work
	ReasonNeedsLadder    Reason = "needs_ladder"    // above LadderFromM, and no ladder skill
	ReasonNeedsCutout    Reason = "needs_cutout"    // a removal, and no cutout skill
	ReasonAway           Reason = "away"            // OUT
	ReasonBusy           Reason = "busy"            // on the way to a swarm, or at one
	ReasonEnoughToday    Reason = "enough_today"    // as many calls today as they want
	ReasonOutsideHours   Reason = "outside_hours"   // not the hours they gave
	ReasonAskedBefore    Reason = "asked_before"    // for this call
	ReasonAskedElsewhere Reason = "asked_elsewhere" // a moment ago, for another call
)

// LadderFromM is the height, in metres, above which only somebody with the ladder skill is
// asked: about what a tall person with a stool and a pole reaches (judgement).
const LadderFromM = 3.0

// DefaultJobsADay is how many calls a catcher takes on one day unless they say otherwise.
const DefaultJobsADay = 3

// Fit checks everything about c that could stand against asking for a call, at the moment
// now in the hotline's zone, and names the first that does. Whether c was asked already is
// NextRound's affair.
func Fit(c Catcher, card CatcherCard, needs Needs, now time.Time) (Reason, bool) {
	if why, ok := Able(c, needs); !ok {
		return why, false
	}
	why, _ := freeAt(c, card, now, 0)
	return why, why == ReasonFits
}

// roughly is how much a height may be over, in metres: callers guess, and "ten feet" is
// three metres to everybody (judgement).
const roughly = 0.3

// Able checks what does not change by the hour: whether c could ever do it.
func Able(c Catcher, needs Needs) (Reason, bool) {
	switch {
	case c.Address == "":
		return ReasonNotJoined, false
	case needs.Cutout && !slices.Contains(c.Skills, Cutout):
		return ReasonNeedsCutout, false
	case needs.HeightM != nil && *needs.HeightM > c.MaxHeightM+roughly:
		return ReasonTooHigh, false
	case needs.HeightM != nil && *needs.HeightM > LadderFromM+roughly && !slices.Contains(c.Skills, Ladder):
		return ReasonNeedsLadder, false
	case kmTo(&c, needs.Place) > c.ReachKm:
		return ReasonOutOfReach, false
	}
	return ReasonFits, true
}

// whenUnknown is how long to wait for somebody whose coming back nobody can tell.
const whenUnknown = 10 * time.Minute

// freeAt says what keeps c from being asked at now, and when that is likely over.
func freeAt(c Catcher, card CatcherCard, now time.Time, fresh time.Duration) (Reason, time.Time) {
	switch {
	case card.AwayUntil.After(now):
		return ReasonAway, card.AwayUntil
	case card.Busy || card.Kept:
		return ReasonBusy, now.Add(whenUnknown)
	case takenToday(card, now) >= cmp.Or(c.JobsADay, DefaultJobsADay):
		return ReasonEnoughToday, TimeOfDay(0).Next(now)
	case card.OpenAsk != "" && now.Sub(card.LastAsk) < fresh:
		return ReasonAskedElsewhere, card.LastAsk.Add(fresh)
	}
	// Hours are checked when they are entered. Should a text be unreadable all the same, one
	// ask too many is better than a volunteer whom nobody ever asks again.
	if c.Hours == "" {
		return ReasonFits, now
	}
	hours, err := hoursOf(c.Hours)
	if err == nil && !hours.Open(now) {
		return ReasonOutsideHours, hours.NextOpen(now)
	}
	return ReasonFits, now
}

func takenToday(card CatcherCard, now time.Time) int {
	n := 0
	for _, t := range card.Today {
		t = t.In(now.Location())
		if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
			n++
		}
	}
	return n
}
