package triage

import (
	"slices"

	"skepline/intake"
)

// aboutTheBees are the questions that tell one kind from another, in the order in which
// they are asked when two are worth the same.
var aboutTheBees = []intake.Question{
	intake.AskBody, intake.AskEntry, intake.AskCrowd, intake.AskSurface, intake.AskAge,
}

// NextQuestion returns the question to ask next, and false when nothing more is worth asking
// before acting. It never returns one that is in asked or that a already answers.
//
// Whether anybody is ill comes first, then what is to be seen. Where it is and how high are
// asked only while a catcher or a specialist may still go. Last comes, while the route is
// open, the question whose answer is expected to save the most. In an emergency nothing is
// asked; once the person is looked after, go on with Stung "someone" and without Stings.
func NextQuestion(a intake.Answers, asked []intake.Question, s Scene) (intake.Question, bool) {
	open := func(q intake.Question) bool { return !a.Told(q) && !slices.Contains(asked, q) }
	if emergency(a) {
		return "", false
	}
	for _, q := range []intake.Question{intake.AskStung, intake.AskShape} {
		if open(q) {
			return q, true
		}
	}
	if somebodyMayGo(a, s) {
		for _, q := range []intake.Question{intake.AskPlace, intake.AskHeight} {
			if open(q) {
				return q, true
			}
		}
	}
	q, worth := mostTelling(a, s, open)
	return q, worth >= tables.Route.WorthAsking
}

// Settled reports whether the route can be acted on now, without the must-asks that are
// still open: an emergency at once; a specialist, a redirect or a steward when no answer
// about the bees would be worth its question; an offer only when every must-ask is told.
func Settled(a intake.Answers, s Scene) bool {
	if emergency(a) {
		return true
	}
	untold := func(q intake.Question) bool { return !a.Told(q) }
	if untold(intake.AskStung) || untold(intake.AskShape) {
		return false
	}
	if decide(a, s, posterior(a, s)).route == RouteOffer {
		return !slices.ContainsFunc(intake.MustAsk, untold)
	}
	_, worth := mostTelling(a, s, untold)
	return worth < tables.Route.WorthAsking
}

// somebodyMayGo reports whether the report may still become a catcher's or a specialist's.
func somebodyMayGo(a intake.Answers, s Scene) bool {
	p := posterior(a, s)
	switch decide(a, s, p).route {
	case RouteOffer, RouteSpecialist:
		return true
	case RouteSteward:
		return p.ours() >= tables.Route.Ours
	}
	return false
}

// plainToSee reports whether what was seen speaks for the redirect, or the specialist, by
// itself: a paper nest is one in any month. Nobody is held up with another question then; a caller who sees it
// otherwise says so.
func plainToSee(a intake.Answers, s Scene) bool {
	d := decide(a, s, posterior(a, s))
	if a.Shape == "soil_holes" && a.Body == "" {
		return false // gentle bees or wasps: that is worth a question
	}
	if a.Shape == "gap_traffic" && a.Surface == "" && a.Body == "" {
		return false // bees or wasps at a gap: so is that
	}
	return (d.route == RouteRedirect || d.route == RouteSpecialist) && len(d.why) > 0
}

// mostTelling returns the open question about the bees that is worth most, and its worth:
// 0 when none is open or the route would not change.
func mostTelling(a intake.Answers, s Scene, open func(intake.Question) bool) (intake.Question, float64) {
	if plainToSee(a, s) {
		return "", 0
	}
	p := posterior(a, s)
	now := decide(a, s, p)
	var best intake.Question
	var most float64
	if now.route == RouteOffer && open(intake.AskBody) && a.Crowd != "thousands" && p.wasps() >= tables.Route.WaspsWorthLook {
		return intake.AskBody, tables.Route.WorthAsking // nobody is sent to wasps for want of one question
	}
	if now.route == RouteOffer || contradicts(a, s) != nil {
		return best, most // a catcher's eyes, or a steward's, are better than one more question
	}
	for _, q := range aboutTheBees {
		if !open(q) {
			continue
		}
		if worth := worthOf(q, a, s, p, now); worth > most {
			best, most = q, worth
		}
	}
	return best, most
}

// worthOf returns what asking q is expected to save: over its possible answers, how much
// cheaper the best route would then be than the one taken now.
func worthOf(q intake.Question, a intake.Answers, s Scene, p chances, now decision) float64 {
	var worth, all float64
	for _, answer := range s.weights().answersTo(q) {
		told := answer.set(a)
		after := posterior(told, s)
		likely := p.dot(answer.p)
		saved := now.costIf(told, after) - decide(told, s, after).cost
		worth += likely * max(0, saved)
		all += likely
	}
	return worth / all
}

// possibleAnswer is one answer to a question about the bees: how often each kind's callers
// give it, and the answers with it set.
type possibleAnswer struct {
	p   chances
	set func(intake.Answers) intake.Answers
}

func (w *weights) answersTo(q intake.Question) []possibleAnswer {
	var all []possibleAnswer
	add := func(t table, set func(*intake.Answers, *row)) {
		for i := range t {
			r := &t[i]
			all = append(all, possibleAnswer{r.P, func(a intake.Answers) intake.Answers {
				set(&a, r)
				return a
			}})
		}
	}
	switch q {
	case intake.AskBody:
		add(w.Body, func(a *intake.Answers, r *row) { a.Body = r.Says })
	case intake.AskEntry:
		add(w.Entry, func(a *intake.Answers, r *row) { a.Entry = r.Says })
	case intake.AskCrowd:
		add(w.Crowd, func(a *intake.Answers, r *row) { a.Crowd = r.Says })
	case intake.AskSurface:
		add(w.Surface, func(a *intake.Answers, r *row) { a.Surface = r.StandsFor[0] })
	case intake.AskAge:
		add(w.Age, func(a *intake.Answers, r *row) { a.AgeH = justBelow(r.BelowH) })
	}
	return all
}

// justBelow returns an age in the row that ends at limit.
func justBelow(limit float64) *float64 {
	age := limit - 0.5
	return &age
}
