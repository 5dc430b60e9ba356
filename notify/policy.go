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

// askPrice is the price of one ask to a rested catcher, in swarms: 0.001 means that one
// swarm saved is worth a thousand such asks (judgement).
func (p Pace) askPrice() float64 {
	switch p {
	case Gentle:
		return 0.002
	case Fast:
		return 0.0005
	}
	return 0.001
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
	// on the way leave 1/e of its worth. The bees' own hazard alone would be ten times as mild
	// (tried out in simulated seasons).
	shutsOut = 40.0
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

// jobsLately counts the calls taken in fourteen days.
func (c CatcherCard) jobsLately(now time.Time) int {
	n := 0
	for _, at := range c.Today {
		if now.Sub(at) < fortnight {
			n++
		}
	}
	return n
}

// weigh fills in what the rule thinks of asking k.
func weigh(k Pick, card CatcherCard, meanJobs float64, now time.Time) Pick {
	tired := card.asksLately(now)
	k.Weight = math.Exp(-tiring * max(0, tired-restAsks))
	travel := 20.0 // as long as a usual drive, when nobody knows
	if k.Km >= 0 {
		far := roads * k.Km / halfwayKm
		k.Weight /= 1 + far*far
		travel = k.Minutes
	}
	present := card.Habits.presence(now)
	if card.OpenAsk != "" && samePart(card.LastAsk, now) && card.Habits.SilentAt.Before(card.LastAsk) {
		present *= math.Pow(silentFactor, answeredBy(now.Sub(card.LastAsk).Minutes()))
	}
	k.P = min(mostLikely, card.Habits.willing(now)*present*k.Weight)
	k.Price = 1 + max(0, tired-1)
	fair := math.Exp(-(float64(card.jobsLately(now)) - meanJobs) / (1 + meanJobs))
	k.Index = k.P * math.Exp(-travel/shutsOut) / k.Price * fair
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

// forecast is how likely nobody has said yes x minutes from now, x from 0 to horizon-1.
type forecast [horizon]float64

// ahead forecasts from the asks that are out.
func (d Dispatch) ahead(asked []Ask, now time.Time) *forecast {
	var s forecast
	for x := range s {
		s[x] = 1
	}
	for _, a := range asked {
		if a.State == AskOpen {
			s.with(cmp.Or(a.P, unjudged), int(d.waking(a.At, now).Minutes()))
		}
	}
	return &s
}

// with adds an ask with chance p that has been silent for so many minutes.
func (s *forecast) with(p float64, minutes int) {
	minutes = min(minutes, len(replied)-horizon-1)
	f := replied[minutes]
	silent := p*(1-f) + (1-p)*(1-saysNo*f)
	for x := range s {
		s[x] *= 1 - p*(replied[minutes+x]-f)/silent
	}
}

// hope is the chance of a yes from the asks that are out, in the hours to come.
func (s *forecast) hope() float64 { return 1 - s[horizon-1] }

// sooner returns by how many minutes, on average, asking somebody with chance p now rather
// than step minutes later brings the first yes forward.
func (s *forecast) sooner(p float64, step int) float64 {
	sum := 0.0
	for x := range s {
		late := 0.0
		if x >= step {
			late = replied[x-step]
		}
		sum += s[x] * p * (replied[x] - late)
	}
	return sum
}

// choose picks who of free, best first, is asked now: at most most.
func (d Dispatch) choose(free []Pick, s *forecast, hazard, strain float64, most int) []Pick {
	var chosen []Pick
	step := min(int(d.Every.Minutes()), horizon-1)
	for _, k := range free {
		if len(chosen) == most {
			break
		}
		k.Gain = hazard * s.sooner(k.P, step)
		k.Cost = d.Pace.askPrice() * strain * k.Price * (1 - s[step])
		if k.Gain < k.Cost {
			break
		}
		chosen = append(chosen, k)
		s.with(k.P, 0)
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
const muchAsked = 6.0

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
