package triage

import (
	"math"

	"skepline/intake"
)

// Assess weighs what a caller told: which kind it is likely to be, how pressing it is, what
// happens with the report and what people are told. It never fails: with nothing told it
// returns the season's prior and sends the report to a steward.
//
// Why lists the facts that moved the likelihood of a swarm, strongest first (log odds); then
// what settled the route besides it ("route:…", in costs); then the parts of the urgency,
// largest first ("urgency:…", in points).
func Assess(a intake.Answers, s Scene) Assessment {
	p := posterior(a, s)
	d := decide(a, s, p)
	parts := urgencyParts(a, s, d.route, p)
	why := append(swarmReasons(a, s), d.why...)
	as := Assessment{
		Kinds:      ranked(p),
		Likelihood: p.of(HoneyBeeSwarm),
		Route:      d.route,
		Why:        append(why, parts...),
	}
	as.Urgency, as.Pace = urgency(parts)
	as.Advice = advise(a, s, as, p)
	return as
}

// Shown returns a probability as the whole percentage that a catcher or a steward may be
// shown: never above 95, since nobody knows that much from a text message.
func Shown(p float64) int {
	if math.IsNaN(p) {
		return 0
	}
	return int(math.Round(100 * min(max(p, 0), 0.95)))
}
