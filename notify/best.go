package notify

import (
	"maps"
	"math"
	"time"
)

// Several calls at once: who would be asked for two is asked for the one where a yes is worth
// more. To take the pair of call and catcher that is worth most, and so on down, comes within
// two percent of the best assignment in simulated hot days; to serve the calls in the order in
// which they came, each by the nearest, loses ten to eighteen (own simulation, judgement in
// its numbers).

// OpenCall is a call that looks for a catcher.
type OpenCall struct {
	ID    string
	Needs Needs
	Asked []Ask
	Next  time.Time // its next look
}

// worth is what asking k now is worth to a call: what the ask gains, should the swarm wait
// for as long as the drive takes.
func (c OpenCall) worth(k Pick, now time.Time) float64 {
	return k.Gain * math.Exp(-leaving(c.Needs, now)*max(k.Minutes, 0))
}

// BestFor returns which of the calls asks a catcher who came free at now, "" when none would
// ask them at once.
func BestFor(catcher string, calls []OpenCall, roster []Catcher, board Board, now time.Time, d Dispatch) string {
	best, most := "", 0.0
	for _, c := range calls {
		for _, k := range NextRound(c.Needs, roster, board, c.Asked, now, d).Ask {
			if w := c.worth(k, now); k.Catcher == catcher && (w > most || best == "") {
				best, most = c.ID, w
			}
		}
	}
	return best
}

// NextRoundAmong is NextRound for a call while rivals look, too: whom one of them will ask at
// its next look, and to more effect, is left to it.
func NextRoundAmong(call OpenCall, rivals []OpenCall, roster []Catcher, board Board, now time.Time, d Dispatch) Plan {
	plan := NextRound(call.Needs, roster, board, call.Asked, now, d)
	if len(plan.Ask) == 0 || len(rivals) == 0 {
		return plan
	}
	wanted := map[string]float64{} // catcher to what they are worth elsewhere
	for _, r := range rivals {
		at := now
		if r.Next.After(now) {
			at = r.Next.In(now.Location())
		}
		for _, k := range NextRound(r.Needs, roster, board, r.Asked, at, d).Ask {
			wanted[k.Catcher] = max(wanted[k.Catcher], r.worth(k, at))
		}
	}
	board.Catchers = maps.Clone(board.Catchers)
	for range roster {
		left := false
		for _, k := range plan.Ask {
			if w, other := wanted[k.Catcher]; other && w > call.worth(k, now) {
				card := board.Catchers[k.Catcher]
				card.OpenAsk, card.LastAsk = "elsewhere", now
				board.Catchers[k.Catcher] = card
				left = true
			}
		}
		if !left {
			break
		}
		plan = NextRound(call.Needs, roster, board, call.Asked, now, d)
	}
	if len(plan.Ask) == 0 {
		plan.Reason, plan.Again = ReasonWaiting, d.awake(now.Add(d.Every)) // nobody is short of people: they have better to do
	}
	return plan
}

// soon is what a call waits for somebody who is on no job, before those who are on one are
// asked (judgement).
const soon = 20 * time.Minute

// AfterTheirJob returns those who could do a call and are only on a job just now, the best
// first: they can be asked to come after it. None, when somebody is free soon who is on none.
func AfterTheirJob(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) []Pick {
	roster, asked = inOrder(roster, asked)
	var able []Pick
	club, atWork := board.club(roster, now), working(now)
	for _, c := range roster {
		card := board.Catchers[c.ID]
		if _, ok := Able(c, needs); !ok || askOf(asked, c.ID) != nil || d.quiet(now) {
			continue
		}
		busy := card.Busy && !card.Kept
		if busy {
			card.Busy = false
		}
		switch why, at := freeAt(c, card, now, d.Fresh); {
		case busy && why == ReasonFits:
			able = append(able, weigh(d.pick(c.Start(card.Stand, now), needs), card, club, atWork, now))
		case !busy && at.Before(now.Add(soon)):
			return nil
		}
	}
	byIndex(able)
	return able
}
