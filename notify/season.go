package notify

import (
	"container/heap"
	"math"
	"slices"
	"strconv"
	"time"
)

// SeasonPolicies are the ways to ask around that a season compares: the hotline's own; what a
// club would do without it; one who asks as the hotline does and is told how willing everybody
// is, or who is away just now, or both, as an insider, everything but the future; and a
// dispatcher who knows the future, too.
var SeasonPolicies = []string{"skepline", "broadcast", "broadcast_best_eta", "phone_tree", "radius", "nearest3", "told_willing", "told_away", "insider", "oracle"}

// asHotline are those of SeasonPolicies that ask by the hotline's own rule.
var asHotline = []string{"skepline", "told_willing", "told_away", "insider"}

// Season is what came of one season under one policy.
type Season struct {
	Caught     float64 // share of reports whose swarm still hung when the catcher came
	Pings      float64 // asks a report
	Median     float64 // waking minutes to the first yes, of the reports that got one
	P90        float64
	Gini       float64 // of jobs over catchers: 0 = all alike
	Wasted     float64 // takes a report that would have come too late
	OnTheWay   float64 // of these, had set out before the swarm left; the caller's GONE spares the others the trip
	EverYes    float64
	Within60   float64 // share with a yes within sixty waking minutes
	WeekPings  float64 // asks a catcher and week
	SpareYes   float64 // a report: yes of people who were not needed
	UpperBound float64 // share that nobody could have bettered: oracle only
}

// PlaySeason plays the season that seed draws from w under one of SeasonPolicies; d is how
// the hotline's own policy asks.
func PlaySeason(w World, policy string, seed uint64, d Dispatch) Season {
	if policy == "oracle" {
		return drawScene(w, seed).foresee()
	}
	p := newPlay(w, policy, seed, d)
	p.run()
	return p.sumUp()
}

// newPlay sets a season up under any policy but the oracle's.
func newPlay(w World, policy string, seed uint64, d Dispatch) *play {
	s := drawScene(w, seed)
	p := &play{scene: s, d: d, board: Board{Catchers: make(map[string]CatcherCard, len(s.people))}}
	for _, c := range s.people {
		p.roster = append(p.roster, c.Catcher)
	}
	p.calls = make([]seasonCall, len(s.reports))
	p.volunteers = make([]volunteer, len(s.people))
	p.look, p.holdsLate = p.rules(policy)
	p.replaces = slices.Contains(asHotline, policy) || policy == "phone_tree"
	for j := range s.reports {
		p.calls[j].winner, p.calls[j].fallback = -1, -1
		p.calls[j].firstYes = forever
		p.at(awakeAt(s.reports[j].at), happens{what: aLook, call: j})
	}
	return p
}

// play is a season under way.
type play struct {
	*scene
	d          Dispatch
	roster     []Catcher
	board      Board // as the hotline knows it
	calls      []seasonCall
	volunteers []volunteer
	look       func(j int, now float64) (ask []Pick, again float64)
	replaces   bool // a no is answered by a look at once
	holdsLate  bool // a yes that starts late is a fallback
	queue      happenings
	pings      int
	spare      int
	events     int
}

// seasonCall is one report as a policy sees it.
type seasonCall struct {
	asked    []Ask
	who      []int // by place in asked
	out      []reply
	winner   int
	arrives  float64
	fallback int // place in asked
	holdTo   float64
	firstYes float64
	looking  float64 // when it is looked at next
	standby  []int   // places in asked, first yes first
}

type volunteer struct {
	busyTo float64
	day    int
	today  int
	jobs   int
}

type occasion int

const (
	aLook occasion = iota
	anAnswer
	aDecision // the time of a fallback is over
	aDropOut
)

type happens struct {
	at         float64
	n          int
	what       occasion
	call, slot int
}

type happenings []happens

func (h happenings) Len() int      { return len(h) }
func (h happenings) Swap(a, b int) { h[a], h[b] = h[b], h[a] }
func (h *happenings) Push(x any)   { *h = append(*h, x.(happens)) }
func (h *happenings) Pop() any {
	old := *h
	last := old[len(old)-1]
	*h = old[:len(old)-1]
	return last
}
func (h happenings) Less(a, b int) bool {
	if h[a].at != h[b].at {
		return h[a].at < h[b].at
	}
	return h[a].n < h[b].n
}

func (p *play) at(when float64, h happens) {
	if h.what == aLook {
		p.calls[h.call].looking = when
	}
	p.events++
	h.at, h.n = when, p.events
	heap.Push(&p.queue, h)
}

// givesUp is how long a call stays open, in minutes.
const givesUp = 3 * dayMinutes

func (p *play) run() {
	for p.queue.Len() > 0 {
		h := heap.Pop(&p.queue).(happens)
		c := &p.calls[h.call]
		if r := &p.reports[h.call]; h.at > r.at+givesUp || h.at > r.leaves && c.winner < 0 {
			p.overtake(h.call, clockTime(min(h.at, r.leaves))) // the caller has seen the swarm off
			continue
		}
		switch h.what {
		case aLook:
			if c.winner < 0 && h.at == c.looking {
				p.looks(h.call, h.at)
			}
		case anAnswer:
			p.answered(h.call, h.slot, h.at)
		case aDecision:
			if c.winner < 0 && c.fallback >= 0 && h.at == c.holdTo {
				p.wins(h.call, c.fallback, h.at)
			}
		case aDropOut:
			p.dropsOut(h.call, h.slot, h.at)
		}
	}
}

// looks lets the policy ask.
func (p *play) looks(j int, now float64) {
	if wake := awakeAt(now); wake > now {
		p.at(wake, happens{what: aLook, call: j})
		return
	}
	p.declare(now)
	ask, again := p.look(j, now)
	c := &p.calls[j]
	for _, k := range ask {
		p.asks(j, k, now)
	}
	if again < forever && c.winner < 0 {
		p.at(again, happens{what: aLook, call: j})
	}
}

// declare puts the absences that people told the hotline of on the board.
func (p *play) declare(now float64) {
	if p.Declared == 0 {
		return
	}
	for i := range p.people {
		card := p.board.Catchers[p.people[i].ID]
		card.AwayUntil = time.Time{}
		if part := partOf(now); p.knownAway(i, part) {
			card.AwayUntil = clockTime(awakeAt(partBegins(part+1) - 0.01))
			if part%3 < 2 {
				card.AwayUntil = clockTime(partBegins(part + 1))
			}
		}
		p.board.Catchers[p.people[i].ID] = card
	}
}

func (p *play) asks(j int, k Pick, now float64) {
	i := p.number[k.Catcher]
	c, card := &p.calls[j], p.board.Catchers[k.Catcher]
	ask := Ask{Catcher: k.Catcher, At: clockTime(now), State: AskOpen, Weight: k.Weight, P: k.P, Way: k.Way()}
	out := 1
	for n := range c.asked {
		if c.asked[n].Catcher == k.Catcher {
			ask.Before = c.asked[n].Before + 1
			c.asked[n].Catcher += " before" // its answer may still come
		} else if c.asked[n].State == AskOpen {
			out++
		}
	}
	tired := card.asksLately(ask.At)
	factor := math.Exp(-p.Tiring*max(0, tired-restAsks)) * math.Pow(float64(out), -p.Diffusion)
	c.asked, c.who = append(c.asked, ask), append(c.who, i)
	c.out = append(c.out, p.answer(j, i, now, factor))
	card.Asks = append(since(card.Asks, ask.At.Add(-3*week)), ask.At)
	card.LastAsk, card.OpenAsk = ask.At, callID(j)
	p.board.Catchers[k.Catcher] = card
	p.pings++
	if a := c.out[len(c.out)-1]; a.at < forever {
		p.at(a.at, happens{what: anAnswer, call: j, slot: len(c.out) - 1})
	}
}

func callID(j int) string { return "call " + strconv.Itoa(j) }

func since(times []time.Time, from time.Time) []time.Time {
	return slices.DeleteFunc(slices.Clone(times), func(t time.Time) bool { return t.Before(from) })
}

// remember changes what the hotline remembers of how somebody answers.
func (p *play) remember(i int, change func(CatcherCard) CatcherCard) {
	id := p.people[i].ID
	p.board.Catchers[id] = change(p.board.Catchers[id])
}

func (p *play) answered(j, slot int, now float64) {
	c := &p.calls[j]
	a, i, r := &c.asked[slot], c.who[slot], c.out[slot]
	late, at := a.State != AskOpen, clockTime(now)
	p.remember(i, func(card CatcherCard) CatcherCard {
		if card.OpenAsk == callID(j) {
			card.OpenAsk = ""
		}
		switch {
		case r.yes:
			card.Habits = card.Habits.SaidYes(a.Weight, late, at)
		case !late:
			card.Habits = card.Habits.SaidNo(a.Weight, at)
		}
		return card
	})
	if !r.yes || p.volunteers[i].busyTo > now || p.full(i, now) {
		if a.State = AskPassed; a.Answered.IsZero() {
			a.Answered = at
		}
		if c.winner < 0 && p.replaces {
			p.at(awakeAt(now), happens{what: aLook, call: j})
		}
		return
	}
	if c.firstYes == forever {
		c.firstYes = wakingMinutes(awakeAt(p.reports[j].at), now)
	}
	switch {
	case c.winner >= 0:
		p.spare++
		a.State, a.Answered = AskStandby, at
		c.standby = append(c.standby, slot)
	case p.holdsLate && StartsLate(p.reports[j].needs.Place, at, at.Add(time.Duration(r.starts*float64(time.Minute)))):
		p.keeps(j, slot, now)
	default:
		p.wins(j, slot, now)
	}
}

// keeps holds a yes that starts late as the fallback, the one that arrives first.
func (p *play) keeps(j, slot int, now float64) {
	c := &p.calls[j]
	a := &c.asked[slot]
	a.State, a.Answered = AskFallback, clockTime(now)
	a.Starts = clockTime(now + c.out[slot].starts)
	until := now + FallbackHold(a.Answered, a.Starts).Minutes()
	switch {
	case c.fallback < 0:
		c.fallback, c.holdTo = slot, until
		p.at(c.holdTo, happens{what: aDecision, call: j})
		if p.replaces {
			p.at(awakeAt(now), happens{what: aLook, call: j})
		}
	case now+c.out[slot].starts+c.out[slot].travel < c.arrival(c.fallback):
		c.standby = append(c.standby, c.fallback)
		c.asked[c.fallback].State = AskStandby
		c.fallback = slot
		if until < c.holdTo {
			c.holdTo = until
			p.at(until, happens{what: aDecision, call: j})
		}
	default:
		a.State = AskStandby
		c.standby = append(c.standby, slot)
	}
}

// arrival is when a yes, once given, arrives.
func (c *seasonCall) arrival(slot int) float64 {
	yes := c.asked[slot].Answered.Sub(seasonStart).Minutes()
	return yes + c.out[slot].starts + c.out[slot].travel
}

func (p *play) wins(j, slot int, now float64) {
	c := &p.calls[j]
	i, r, at := c.who[slot], c.out[slot], clockTime(now)
	a := &c.asked[slot]
	if p.volunteers[i].busyTo > now { // a fallback that has gone to another swarm since
		c.fallback, a.State = -1, AskPassed
		p.at(now, happens{what: aLook, call: j})
		return
	}
	if a.Answered.IsZero() {
		a.Answered = at
	}
	a.State, c.winner = AskTaken, slot
	if c.fallback >= 0 && c.fallback != slot {
		p.spare++
		c.standby = append(c.standby, c.fallback)
		c.asked[c.fallback].State = AskStandby
	}
	c.fallback = -1
	c.arrives = max(now, c.arrival(slot))
	v := &p.volunteers[i]
	if day := int(now / dayMinutes); v.day != day {
		v.day, v.today = day, 0
	}
	v.today++
	v.jobs++
	v.busyTo = c.arrives + 60
	p.remember(i, func(card CatcherCard) CatcherCard {
		card.Today = append(since(card.Today, at.Add(-JobsKept)), at)
		if n := len(card.Asks); n > 0 {
			card.Asks = card.Asks[:n-1]
		}
		return card
	})
	p.overtake(j, at)
	if r.dropsOut < forever && c.arrives > now+r.dropsOut {
		p.at(now+r.dropsOut, happens{what: aDropOut, call: j, slot: slot})
	}
}

func (p *play) overtake(j int, at time.Time) {
	c := &p.calls[j]
	for n := range c.asked {
		a := &c.asked[n]
		if a.State != AskOpen {
			continue
		}
		a.State = AskLapsed
		p.remember(c.who[n], func(card CatcherCard) CatcherCard {
			card.Habits = card.Habits.WasOvertaken(a.Weight, a.P, a.At, at)
			if card.OpenAsk == callID(j) {
				card.OpenAsk = "" // free for another call at once
			}
			return card
		})
	}
}

// dropsOut gives a call back: whoever is in line goes, else more are asked.
func (p *play) dropsOut(j, slot int, now float64) {
	c := &p.calls[j]
	i := c.who[slot]
	c.asked[slot].State, c.asked[slot].Answered, c.winner = AskDropped, clockTime(now), -1
	p.volunteers[i].busyTo = now
	p.volunteers[i].jobs--
	for n, next := range c.standby {
		v := p.volunteers[c.who[next]]
		if v.busyTo <= now && !p.full(c.who[next], now) {
			c.standby = slices.Delete(c.standby, n, n+1)
			c.asked[next].Answered = clockTime(now + 5)
			p.wins(j, next, now)
			return
		}
	}
	p.at(awakeAt(now), happens{what: aLook, call: j})
}

// full reports whether somebody has taken as many calls today as they want.
func (p *play) full(i int, now float64) bool {
	v := p.volunteers[i]
	return v.day == int(now/dayMinutes) && v.today >= p.people[i].JobsADay
}

func (p *play) sumUp() Season {
	out := newTotals(p.scene)
	for j := range p.calls {
		c := &p.calls[j]
		if c.firstYes < forever {
			out.yes = append(out.yes, c.firstYes)
		}
		if c.winner >= 0 {
			out.arrives(p.reports[j], c.arrives, c.arrives-c.out[c.winner].travel)
		}
	}
	for _, v := range p.volunteers {
		out.jobs = append(out.jobs, float64(v.jobs))
	}
	out.pings, out.spare = float64(p.pings), float64(p.spare)
	return out.season()
}
