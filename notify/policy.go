package notify

import (
	"cmp"
	"math"
	"slices"
	"time"

	"skepline/triage"
)

// The rule of whom to ask, and when to ask one more. At each look it weighs, for the best
// candidate: how much likelier does the swarm get caught if they are asked now rather than
// at the next look? That is held against the price of the ask, times the chance that waiting
// shows it to be needless because somebody else has said yes by then.

// Pace is how a club weighs a swarm lost against its people's peace.
type Pace string

// The paces.
const (
	Gentle Pace = "gentle" // fewer asks, a longer wait
	Normal Pace = "normal"
	Fast   Pace = "fast" // more asks, a shorter wait
)

// askPrice is the price of one ask to a rested catcher, in swarms: 0.0015 means that one
// swarm saved is worth some 670 such asks (judgement).
func (p Pace) askPrice() float64 {
	switch p {
	case Gentle:
		return 0.003
	case Fast:
		return 0.00075
	}
	return 0.0015
}

const (
	horizon     = 120   // minutes that the rule looks ahead
	quickLeave  = 600.0 // mean stay after a report in minutes of scouting, half of Villa's (judgement)
	patience    = 0.5   // what of that hazard counts when no bee flies, see leaving (judgement)
	halfwayKm   = 25.0  // road at which half of those who would come still do (judgement)
	roads       = 1.4   // see Minutes
	tiring      = 0.03  // of each ask a week beyond restAsks (judgement)
	restAsks    = 2.0
	mostLikely  = 0.9                // nobody is likelier than this
	saysNo      = 0.3                // share of the unwilling who say so (judgement)
	replyMedian = 5.0                // minutes, lognormal (judgement; shape common in studies of replies)
	replySigma  = 1.3                // of its logarithm
	week        = 7 * 24 * time.Hour // how fast an ask is forgotten
	unjudged    = 0.25               // chance of a yes to an ask that a steward made

	// A yes from afar shuts out one from nearby that comes some minutes later: so many minutes
	// on the way leave 1/e of its worth. The bees' own hazard alone would be twenty times as
	// mild (tried out in simulated seasons).
	shutsOut = 25.0

	fairness = 1.1 // how much fewer jobs than others count in the order (tried out in simulated seasons)

	usualWay = 20.0 // minutes, when nobody knows how far it is (judgement)
)

// replied[m] is the share of answers that come within m minutes.
var replied = func() [24 * 60]float64 {
	var f [24 * 60]float64
	for m := 1; m < len(f); m++ {
		f[m] = 0.5 * math.Erfc(-math.Log(float64(m)/replyMedian)/replySigma/math.Sqrt2)
	}
	return f
}()

// answeredBy returns the share of answers that come within so many minutes.
func answeredBy(minutes float64) float64 {
	return replied[int(min(max(minutes, 0), float64(len(replied)-1)))]
}

// stillYes is the chance that an ask with chance p, silent for minutes, is yet answered yes.
func stillYes(p, minutes float64) float64 {
	f := answeredBy(minutes)
	return p * (1 - f) / (p*(1-f) + (1-p)*(1-saysNo*f))
}

// asksLately counts the asks that led to no job, fading over a week.
func (c CatcherCard) asksLately(now time.Time) float64 {
	sum := 0.0
	for _, at := range c.Asks {
		sum += math.Exp(-now.Sub(at).Hours() / week.Hours())
	}
	return sum
}

// JobsKept is for how long a call that somebody took counts when the next ones are shared out.
// Over two weeks alone chance decides who has had how many; who lives where few swarms are
// would never catch up.
const JobsKept = 8 * week

// jobsLately counts the calls taken in that time.
func (c CatcherCard) jobsLately(now time.Time) int {
	n := 0
	for _, at := range c.Today {
		if now.Sub(at) < JobsKept {
			n++
		}
	}
	return n
}

// weigh fills in what the rule thinks of asking k; atWork is whether most people work then.
func weigh(k Pick, card CatcherCard, club Club, atWork bool, now time.Time) Pick {
	tired := card.asksLately(now)
	k.Weight = math.Exp(-tiring * max(0, tired-restAsks))
	if k.Km >= 0 {
		far := roads * k.Km / halfwayKm
		k.Weight /= 1 + far*far
	}
	k.Weight *= card.Habits.presence(now)
	if card.OpenAsk != "" && samePart(card.LastAsk, now) && card.Habits.SilentAt.Before(card.LastAsk) {
		k.Weight *= math.Pow(silentFactor, answeredBy(now.Sub(card.LastAsk).Minutes()))
	}
	k.P = min(mostLikely, card.Habits.willing(club.Usual, atWork)*k.Weight)
	k.Price = 1 + max(0, tired-1)
	fair := math.Exp(-fairness * (float64(card.jobsLately(now)) - club.MeanJobs) / (1 + club.MeanJobs))
	k.Index = k.P * math.Exp(-k.Way()/shutsOut) / k.Price * fair
	return k
}

// leaving is the chance, by the minute, that the swarm is lost in the next hour or so. Bees
// stay in the dark, but an evening without asks is lost all the same: more people are free
// then than on the next morning, and callers lose patience. A share of the hazard, tried out
// in simulated seasons, stands for that.
func leaving(needs Needs, now time.Time) float64 {
	soon, later := now.Add(20*time.Minute), now.Add(100*time.Minute)
	share := triage.ScoutingHours(soon, later, needs.Place.Lat, needs.Place.Lon) / later.Sub(soon).Hours()
	restless := max(needs.Restless, 1)
	return (share*restless + patience) / quickLeave
}

// forecast is what the asks that are out lead to, by the minute from now on, should nobody
// else be asked.
type forecast struct {
	open [horizon]float64 // how likely nobody has said yes by then
	rate [horizon]float64 // of yes in that minute
	ways [horizon]float64 // the same, each times its minutes on the way
}

// ahead forecasts from the asks that are out.
func (d Dispatch) ahead(asked []Ask, now time.Time) *forecast {
	var s forecast
	for x := range s.open {
		s.open[x] = 1
	}
	for _, a := range asked {
		if a.State == AskOpen {
			s.with(cmp.Or(a.P, unjudged), cmp.Or(a.Way, usualWay), int(d.waking(a.At, now).Minutes()))
		}
	}
	return &s
}

// with adds an ask with chance p to come way minutes far, that has been silent for so many
// minutes.
func (s *forecast) with(p, way float64, minutes int) {
	minutes = min(minutes, len(replied)-horizon-1)
	f := replied[minutes]
	silent := p*(1-f) + (1-p)*(1-saysNo*f)
	for x := range s.open {
		left := 1 - p*(replied[minutes+x]-f)/silent
		rate := p * (replied[minutes+x+1] - replied[minutes+x]) / silent / left
		s.rate[x] += rate
		s.ways[x] += rate * way
		s.open[x] *= left
	}
}

// hope is the chance of a yes from the asks that are out, in the hours to come.
func (s *forecast) hope() float64 { return 1 - s.open[horizon-1] }

// sooner returns by how many minutes, on average, asking k now rather than step minutes later
// brings forward that somebody is there. A yes ends the wait, and spares the way of whoever
// would have said yes after it; its own way comes to it.
func (s *forecast) sooner(k Pick, step int) float64 {
	more := func(x int) float64 { // share of k's answers that come by x, and would not have
		if x < step {
			return replied[x]
		}
		return replied[x] - replied[x-step]
	}
	sum, now := 0.0, more(0)
	for x := range horizon - 1 {
		next := more(x + 1)
		sum += s.open[x] * now
		if s.rate[x] > 0 {
			sum += (s.open[x] - s.open[x+1]) * (now + next) / 2 * s.ways[x] / s.rate[x]
		}
		sum -= (s.open[x] + s.open[x+1]) / 2 * (next - now) * k.Way()
		now = next
	}
	return k.P * sum
}

// choose picks who of free, best first, is asked now: at most most.
func (d Dispatch) choose(free []Pick, s *forecast, hazard, strain float64, most int) []Pick {
	var chosen []Pick
	step := min(int(d.Every.Minutes()), horizon-1)
	for _, k := range free {
		if len(chosen) == most {
			break
		}
		k.Gain = hazard * s.sooner(k, step)
		k.Cost = d.Pace.askPrice() * strain * k.Price * (1 - s.open[step])
		if k.Gain < k.Cost {
			break
		}
		chosen = append(chosen, k)
		s.with(k.P, k.Way(), 0)
	}
	return chosen
}

// strain raises the price of asks when the club says yes less often than it did: asking
// more of tired people makes them answer less, and that must not feed itself.
func strain(board Board, roster []Catcher, now time.Time) float64 {
	lately, ever := Tally{priorYes, priorAsked}, Tally{priorYes, priorAsked}
	asks := 0.0
	for _, c := range roster {
		h := board.Catchers[c.ID].Habits
		l := h.lately(now)
		lately.Yes, lately.Asked = lately.Yes+l.Yes, lately.Asked+l.Asked
		ever.Yes, ever.Asked = ever.Yes+h.Work.Yes+h.Free.Yes, ever.Asked+h.Work.Asked+h.Free.Asked
		asks += board.Catchers[c.ID].asksLately(now)
	}
	usual := max(ever.Yes/ever.Asked, priorYes/priorAsked)
	fewer := usual / (lately.Yes / lately.Asked)
	crowded := 1.0
	if len(roster) > 0 {
		crowded = asks / float64(len(roster)) / muchAsked
	}
	return min(max(1, fewer/2, crowded*crowded), 8)
}

// muchAsked is how many fruitless asks a week, on average over the club, are many.
const muchAsked = 8.0

// byIndex orders picks: likely to say yes, near, not asked much this week, fewer swarms
// lately.
func byIndex(picks []Pick) {
	slices.SortFunc(picks, func(a, b Pick) int {
		switch {
		case a.Index > b.Index:
			return -1
		case a.Index < b.Index:
			return 1
		case a.Catcher < b.Catcher:
			return -1
		}
		return 1
	})
}
