package notify

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"
)

// rules returns a policy's look, and whether it keeps a yes that starts late as a fallback.
func (p *play) rules(policy string) (look func(j int, now float64) ([]Pick, float64), holdsLate bool) {
	switch policy {
	case "skepline":
		return p.hotline, true
	case "insider":
		return p.told(p.exactly, p.absences), true
	case "told_willing":
		return p.told(p.onAverage), true
	case "told_away":
		return p.told(p.absences), true
	case "broadcast", "broadcast_best_eta":
		return p.everybody, policy == "broadcast_best_eta"
	case "phone_tree":
		return func(j int, now float64) ([]Pick, float64) { return p.nearest(j, now, 1, 10) }, false
	case "radius":
		return p.rings, false
	case "nearest3":
		return func(j int, now float64) ([]Pick, float64) { return p.nearest(j, now, 3, 15) }, true
	}
	panic("no such policy: " + policy)
}

// hotline is the policy of production.
func (p *play) hotline(j int, now float64) ([]Pick, float64) {
	for i := range p.people {
		p.remember(i, func(card CatcherCard) CatcherCard {
			card.Busy = p.volunteers[i].busyTo > now
			return card
		})
	}
	plan := NextRound(p.reports[j].needs, p.roster, p.board, p.calls[j].asked, clockTime(now), p.d)
	if plan.Again.IsZero() {
		return plan.Ask, forever
	}
	return plan.Ask, max(plan.Again.Sub(seasonStart).Minutes(), now+1)
}

// told is the policy of production with a board that nobody could keep: it is told things
// about everybody.
func (p *play) told(facts ...func(i, part int, card CatcherCard) CatcherCard) func(j int, now float64) ([]Pick, float64) {
	return func(j int, now float64) ([]Pick, float64) {
		part := partOf(now)
		for i := range p.people {
			p.remember(i, func(card CatcherCard) CatcherCard {
				for _, fact := range facts {
					card = fact(i, part, card)
				}
				return card
			})
		}
		return p.hotline(j, now)
	}
}

const sure = 1e9 // asks that told so

// exactly tells how likely somebody says yes to an ask nearby while they are not away.
func (p *play) exactly(i, _ int, card CatcherCard) CatcherCard {
	willing := p.people[i].willing
	card.Habits = Habits{Work: Tally{willing * sure, sure}, Free: Tally{willing * sure, sure}}
	return card
}

// onAverage tells the same over all the time that they are away or not, as somebody would
// learn it who asked for ever.
func (p *play) onAverage(i, _ int, card CatcherCard) CatcherCard {
	willing, h := p.people[i].willing, &card.Habits
	h.Work = Tally{willing * p.usuallyFree(i, true) * sure, sure}
	h.Free = Tally{willing * p.usuallyFree(i, false) * sure, sure}
	return card
}

// absences tells who is away in a part of the day.
func (p *play) absences(i, part int, card CatcherCard) CatcherCard {
	card.AwayUntil = time.Time{}
	if !p.free(i, part) {
		card.AwayUntil = clockTime(partBegins(part + 1))
	}
	return card
}

// able lists who could be asked for a call now, nearest first: it is theirs to do, they are
// free and not known to be away, have not said no, and were not asked in this part of the day.
func (p *play) able(j int, now float64) []Pick {
	var picks []Pick
	at := clockTime(now)
	for i := range p.people {
		c := &p.people[i]
		if _, ok := Able(c.Catcher, p.reports[j].needs); !ok || p.volunteers[i].busyTo > now || p.full(i, now) {
			continue
		}
		if p.board.Catchers[c.ID].AwayUntil.After(at) {
			continue
		}
		if a := askOf(p.calls[j].asked, c.ID); a != nil && (!a.silent() || samePart(a.At, at)) {
			continue
		}
		picks = append(picks, Pick{Catcher: c.ID, Km: p.line(j, i), Weight: 1})
	}
	slices.SortFunc(picks, func(a, b Pick) int {
		return cmp.Or(cmp.Compare(a.Km, b.Km), strings.Compare(a.Catcher, b.Catcher))
	})
	return picks
}

// everybody shouts into the group: all at once, and again in each part of the day.
func (p *play) everybody(j int, now float64) ([]Pick, float64) {
	return p.able(j, now), awakeAt(clockMinutes(nextPart(clockTime(now))))
}

// nearest rings down the list.
func (p *play) nearest(j int, now float64, most int, every float64) ([]Pick, float64) {
	picks := p.able(j, now)
	if len(picks) == 0 {
		return nil, awakeAt(now + every)
	}
	return picks[:min(most, len(picks))], awakeAt(now + every)
}

// rings asks all within 12 km of road, after a quarter of an hour all within 25, then all.
func (p *play) rings(j int, now float64) ([]Pick, float64) {
	reach := 12.0
	switch waited := wakingMinutes(awakeAt(p.reports[j].at), now); {
	case waited >= 30:
		reach = math.Inf(1)
	case waited >= 15:
		reach = 25
	}
	picks := slices.DeleteFunc(p.able(j, now), func(k Pick) bool { return p.Detour*k.Km > reach })
	return picks, awakeAt(now + 15)
}

func clockMinutes(t time.Time) float64 { return t.Sub(seasonStart).Minutes() }

// foresee plays a dispatcher who knows every draw: one call after the other, the one person
// who would arrive first is asked, nobody when all would come too late. It also counts the
// reports that any dispatcher at all could have caught: those for whom somebody, rested and
// free of other jobs, asked at the first waking minute of some part of the day, arrives in
// time. No policy catches another: an ask later in the same part has the same answer, later;
// tiredness and other jobs only take away.
func (s *scene) foresee() Season {
	out := newTotals(s)
	busyTo := make([]float64, len(s.people))
	today := make([]map[int]int, len(s.people))
	jobs := make([]float64, len(s.people))
	bound := 0.0
	for j, r := range s.reports {
		best, bestAsk, first, possible := -1, 0.0, forever, false
		for i := range s.people {
			if _, ok := Able(s.people[i].Catcher, r.needs); !ok {
				continue
			}
			for now := awakeAt(r.at); now < r.leaves; now = awakeAt(partBegins(partOf(now) + 1)) {
				a := s.answer(j, i, now, 1)
				arrives := a.at + a.starts + a.travel
				if !a.yes || a.dropsOut < a.starts+a.travel || arrives >= r.leaves {
					continue
				}
				possible = true
				day := int(a.at / dayMinutes)
				if arrives < first && a.at >= busyTo[i] && today[i][day] < s.people[i].JobsADay {
					best, bestAsk, first = i, now, arrives
				}
			}
		}
		if possible {
			bound++
		}
		if best < 0 {
			continue
		}
		a := s.answer(j, best, bestAsk, 1)
		if today[best] == nil {
			today[best] = map[int]int{}
		}
		today[best][int(a.at/dayMinutes)]++
		busyTo[best] = first + 60
		jobs[best]++
		out.pings++
		out.arrives(r, first, first-a.travel)
		out.yes = append(out.yes, wakingMinutes(awakeAt(r.at), a.at))
	}
	out.jobs = jobs
	season := out.season()
	season.UpperBound = bound / float64(len(s.reports))
	return season
}
