package triage

import (
	"math"

	"skepline/intake"
)

// decision is what is done with a report, what that is expected to cost, and what settled it
// besides the probabilities. Costs are in stewards' looks: 1 is one report that a person
// must read.
type decision struct {
	route Route
	to    group // with a redirect
	cost  float64
	why   []Because
}

// decide chooses the course with the least expected cost for kinds of probability p. An
// emergency goes before it; a contradiction, a report that says nothing about the bees, and
// bees that nobody may go near, need a person.
func decide(a intake.Answers, s Scene, p chances) decision {
	if emergency(a) {
		return decision{route: RouteEmergency}
	}
	if c := contradicts(a, s); c != nil {
		return toSteward("contradiction " + c.Because)
	}
	if len(s.weights().facts(a)) == 0 {
		return toSteward("nothing told about the bees")
	}
	best := decision{cost: math.Inf(1)}
	for _, row := range tables.Route.Costs {
		d := decision{route: row.Route, to: row.To}
		if d.cost = d.costIf(a, p); d.cost < best.cost-rounding {
			best = d
		}
	}
	if best.route == RouteOffer && a.Has("power_line") && tables.Route.PowerLineSteward {
		return toSteward("power_line near the bees")
	}
	best.why = sightReasons(a, best.route)
	return best
}

// rounding keeps a sum that should be exactly at a threshold on its near side: of two equal
// courses the first in the file is taken.
const rounding = 1e-9

// toSteward is the decision that a person must look, whatever else it may cost.
func toSteward(because string) decision {
	return decision{route: RouteSteward, cost: 1, why: []Because{{"route:" + because, 1}}}
}

// costIf returns what the course of d is expected to cost with answers a and kinds of
// probability p.
func (d decision) costIf(a intake.Answers, p chances) float64 {
	var cost float64
	for _, row := range tables.Route.Costs {
		if row.Route == d.route && row.To == d.to {
			cost = p.dot(row.P)
		}
	}
	for _, seen := range tables.Route.Sights {
		if seen.fits(a, false) {
			cost += seen.adds(d.route)
		}
	}
	return cost
}

// emergency reports whether somebody needs the emergency number: allergic signs, or so many
// stings that the poison alone is dangerous.
func emergency(a intake.Answers) bool {
	return a.Stung == "trouble_breathing" || (a.Stings != nil && *a.Stings >= tables.Route.StingsEmergency)
}

// contradicts returns the first set of answers that cannot be true together, or nil.
func contradicts(a intake.Answers, s Scene) *contradiction {
	cold := winter(a, s)
	for i, c := range tables.Route.Contradictions {
		if c.fits(a, cold) {
			return &tables.Route.Contradictions[i]
		}
	}
	return nil
}

// sightReasons names the sights that spoke for route r, or closed the road to catchers.
func sightReasons(a intake.Answers, r Route) []Because {
	var why []Because
	for _, seen := range tables.Route.Sights {
		if !seen.fits(a, false) {
			continue
		}
		if weight := -seen.adds(r); weight > 0 {
			why = append(why, Because{"route:" + seen.Because, weight})
		} else if r == RouteSteward && seen.Offer > 0 {
			why = append(why, Because{"route:not offered, " + seen.Because, seen.Offer})
		}
	}
	return strongestFirst(why)
}

// NeedsPhoto reports whether a picture would help most: a swarm is neither likely nor
// unlikely, and a person would have to look.
func NeedsPhoto(as Assessment) bool {
	return as.Route == RouteSteward &&
		as.Likelihood >= tables.Route.PhotoFrom && as.Likelihood < tables.Route.PhotoBelow
}

// Subject returns the kind that the route speaks of. It is not always the most likely one:
// a paper nest in May is redirected as wasps although most reports in May are swarms. For
// an offer it is the swarm; for a specialist the likelier of colony and open comb; for a
// redirect the likeliest kind of those whose words cost least if they are wrong; else the
// likeliest of all.
func (as Assessment) Subject() Kind {
	switch as.Route {
	case RouteOffer:
		return HoneyBeeSwarm
	case RouteSpecialist:
		return as.likeliest(func(k Kind) bool { return k == HoneyBeeColony || k == ExposedComb })
	case RouteRedirect:
		words := as.safestWords()
		return as.likeliest(func(k Kind) bool { return k.group() == words })
	}
	return as.likeliest(func(Kind) bool { return true })
}

func (as Assessment) likeliest(may func(Kind) bool) Kind {
	for _, k := range as.Kinds {
		if may(k.Kind) {
			return k.Kind
		}
	}
	return ""
}

// safestWords returns the group that a redirect names. Sights weigh on all redirects alike,
// so the probabilities alone tell.
func (as Assessment) safestWords() group {
	var p chances
	for i, k := range Kinds {
		for _, kp := range as.Kinds {
			if kp.Kind == k {
				p[i] = kp.P
			}
		}
	}
	var words group
	least := math.Inf(1)
	for _, row := range tables.Route.Costs {
		if cost := p.dot(row.P); row.Route == RouteRedirect && cost < least-rounding {
			words, least = row.To, cost
		}
	}
	return words
}

// RedirectKey returns the key of the words that tell a caller whom no catcher will help
// what it is likely to be and where to turn: redirect_<kind>, redirect_specialist, or
// redirect_unsure where a person must look and nobody does.
func (as Assessment) RedirectKey() string {
	switch as.Route {
	case RouteSpecialist:
		return "redirect_specialist"
	case RouteSteward, RouteEmergency:
		return "redirect_unsure"
	}
	return "redirect_" + string(as.Subject())
}
