package triage

import (
	"math"
	"slices"
	"time"

	"skepline/intake"
)

// urgencyParts lists what makes a report pressing, each with its points: the people near
// it, how soon a swarm may leave, and how easy it is to get at. Largest first.
func urgencyParts(a intake.Answers, s Scene, r Route, p chances) []Because {
	var parts []Because
	add := func(fact string, holds bool, share float64) {
		if points := share * pointsFor(fact); holds && points != 0 {
			parts = append(parts, Because{"urgency:" + fact, points})
		}
	}
	stung := a.Stung == "someone" || a.Stung == "trouble_breathing"
	add("trouble_breathing", a.Stung == "trouble_breathing", 1)
	add("many_stings", a.Stings != nil && *a.Stings >= s.manyStings(), 1)
	add("stung", stung, 1)
	add("allergic", a.Allergic == "yes", 1) // "no" takes nothing off: half of sting deaths had no earlier reaction
	for _, hazard := range []string{"indoors", "blocked_door", "children", "crowd", "road"} {
		add(hazard, a.Has(hazard), 1)
	}

	swarm := p.of(HoneyBeeSwarm)
	add("swarm", r == RouteOffer, 1)
	add("colony", r == RouteSpecialist, 1)
	add("unclear", r == RouteSteward, 1)
	add("gone", r != RouteRedirect && !s.At.IsZero(), swarm*goneSoon(a, s))
	add("in_the_air", a.Shape == "flying_cloud", swarm)

	add("within_reach", a.HeightM != nil && *a.HeightM <= tables.Height.Ladder, 1)
	add("high_up", a.HeightM != nil && *a.HeightM > tables.Height.TooHigh, 1)
	add("africanized", s.Africanized, 1)
	add("not_their_property", a.Owner == "no", 1)
	return strongestFirst(parts)
}

func (s Scene) manyStings() int {
	if s.ManyStings > 0 {
		return s.ManyStings
	}
	return tables.Urgency.ManyStings
}

// goneSoon returns the chance that a swarm hanging there now leaves within the next hours.
func goneSoon(a intake.Answers, s Scene) float64 {
	lat, lon := where(a, s)
	return 1 - Stays(s.At, s.At.Add(time.Duration(tables.Urgency.GoneWithinH*float64(time.Hour))), lat, lon)
}

func pointsFor(fact string) float64 {
	i := slices.IndexFunc(tables.Urgency.Points, func(r pointRow) bool { return r.Fact == fact })
	return tables.Urgency.Points[i].Points
}

// urgency adds the parts up, 0 to 100, and says what pace that means.
func urgency(parts []Because) (int, Pace) {
	var sum float64
	for _, part := range parts {
		sum += part.Weight
	}
	sum = min(max(math.Round(sum), 0), 100)
	switch {
	case sum >= tables.Urgency.Now:
		return int(sum), Now
	case sum >= tables.Urgency.Today:
		return int(sum), Today
	}
	return int(sum), Unhurried
}
