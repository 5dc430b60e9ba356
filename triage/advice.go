package triage

import "skepline/intake"

// WatchWhere is advice for bees in the air or about to leave: see where they settle.
const WatchWhere Advice = "watch_where"

// BlockedDoor is advice for people who cannot pass the bees.
const BlockedDoor Advice = "blocked_door"

// MoreDefensive is advice where Africanized bees live.
const MoreDefensive Advice = "more_defensive"

// advise lists what people are told, first things first, each once: the person who is ill,
// then what can kill (wires, heights), then keeping back, then what to do about the nest. Its
// texts and their sources are in the wording files. That nobody is known to be allergic
// takes nothing off the list: half of those who die of a sting never reacted before.
func advise(a intake.Answers, s Scene, as Assessment, p chances) []Advice {
	var list []Advice
	add := func(advice Advice, holds bool) {
		if holds {
			list = append(list, advice)
		}
	}
	subject := as.Subject()
	wasps := subject.Wasp() || (as.Route == RouteSteward && p.wasps() >= tables.Route.Wasps)
	height := 0.0
	if a.HeightM != nil {
		height = *a.HeightM
	}

	add(EmergencyNumber, as.Route == RouteEmergency)
	add(StingFirstAid, a.Stung == "someone" || (a.Stung != "trouble_breathing" && a.Stings != nil && *a.Stings > 0))
	add(Allergy, a.Allergic == "yes")
	add(PowerLine, a.Has("power_line"))
	add(Indoors, a.Has("indoors"))
	add(TooHigh, height > tables.Height.TooHigh)
	add(KeepBack, true)
	add(MoreDefensive, s.Africanized && subject.HoneyBee())
	add(BlockedDoor, a.Has("blocked_door"))
	add(ChildrenPets, a.Has("children") || a.Has("crowd"))
	add(NoSpray, true)
	add(NoWaterHose, a.Has("power_line")) // water carries the current
	add(NoLadder, height > tables.Height.Ladder || a.Has("roof") || a.Has("power_line"))
	add(DontSealHole, usesGap(a) || subject == HoneyBeeColony)
	add(LeaveAlone, leavesAlone(subject) || height > tables.Height.LeaveAlone)
	add(LicensedControl, wasps)
	add(ReportNotifiable, subject == EuropeanHornet || (wasps && a.Body == "black_white"))
	add(WatchWhere, a.Shape == "flying_cloud")
	add(KeepPhoto, NeedsPhoto(as) || subject == EuropeanHornet)
	return list
}

// usesGap reports whether the insects go in and out of a hole that somebody might stop up.
func usesGap(a intake.Answers) bool {
	return a.Shape == "gap_traffic" || a.Surface == "cavity" || a.Entry == "one_hole"
}

// leavesAlone reports whether k is best left in peace: it is gentle, or gone by itself.
func leavesAlone(k Kind) bool {
	return k == BumbleBee || k == CarpenterBee || k == GroundBee || k == Foragers
}
