package notify

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Weighing is what one look at whom to ask went by, kept with the call so that a steward can
// be shown the very numbers of the rule.
type Weighing struct {
	At     time.Time    `json:"at"`
	Reason Reason       `json:"reason"`
	Lost   float64      `json:"lost"`           // chance that the swarm is lost in a minute
	Hope   float64      `json:"hope"`           // chance of a yes from the asks that were out before
	Price  float64      `json:"price"`          // of an ask to a rested catcher, in swarms
	Open   int          `json:"open,omitempty"` // asks that were out before
	Asked  []string     `json:"asked,omitempty"`
	Roster int          `json:"roster"`
	Able   int          `json:"able"`
	Next   []Considered `json:"next,omitempty"` // free to be asked and not asked, the best first
	Not    []LeftOut    `json:"not,omitempty"`  // could not be asked, the nearest first
	More   int          `json:"more,omitempty"` // of these, so many are not listed
}

// Considered is a catcher who could be asked and was not: Gain was less than Cost, or as many
// as may be asked at one look had been.
type Considered struct {
	Catcher string  `json:"catcher"`
	P       float64 `json:"p"`              // chance of a yes
	Gain    float64 `json:"gain,omitempty"` // see Pick; 0 when they did not come to be weighed
	Cost    float64 `json:"cost,omitempty"`
}

// LeftOut is a catcher who could not be asked, and what stood against it first.
type LeftOut struct {
	Catcher string `json:"catcher"`
	Reason  Reason `json:"reason"`
}

// What of a long roster is kept with a call.
const (
	keptNext = 3
	keptOut  = 40
)

// Explain says what plan, the outcome of NextRound from the same arguments, went by. Nothing
// in it is found in another way than NextRound found it.
func Explain(plan Plan, needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) *Weighing {
	roster, asked = inOrder(roster, asked)
	round := survey(needs, roster, board, asked, now, d)
	out := d.ahead(asked, now)
	pressed := board.club(roster, now).Strain
	w := &Weighing{
		At: now.UTC().Truncate(time.Second), Reason: plan.Reason, Roster: len(roster), Able: round.able,
		Lost: digits(leaving(needs, now)), Hope: digits(out.hope()), Price: digits(d.Pace.askPrice() * pressed), Open: len(StillOpen(asked)),
	}
	for _, k := range plan.Ask {
		w.Asked = append(w.Asked, k.Catcher)
		out.with(k.P, k.Way(), 0)
	}
	if plan.Reason == ReasonQuietHours || plan.Reason == ReasonTaken {
		return w
	}
	for _, k := range round.free {
		if !slices.Contains(w.Asked, k.Catcher) && len(w.Next) < keptNext {
			w.Next = append(w.Next, d.considered(k, out, leaving(needs, now), pressed))
		}
	}
	w.leaveOut(needs, roster, board, asked, now, d)
	return w
}

// considered weighs asking k now, on top of those who are asked.
func (d Dispatch) considered(k Pick, out *forecast, hazard, pressed float64) Considered {
	step := min(int(d.Every.Minutes()), horizon-1)
	return Considered{
		Catcher: k.Catcher, P: digits(k.P), Gain: digits(hazard * out.sooner(k, step)),
		Cost: digits(d.Pace.askPrice() * pressed * k.Price * (1 - out.open[step])),
	}
}

// leaveOut lists who could not be asked.
func (w *Weighing) leaveOut(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) {
	type leftOut struct {
		LeftOut
		km float64
	}
	var all []leftOut
	for _, c := range roster {
		why := d.whyNot(c, needs, board.Catchers[c.ID], asked, now)
		if why != ReasonFits {
			all = append(all, leftOut{LeftOut{c.ID, why}, kmTo(&c, needs.Place)})
		}
	}
	slices.SortStableFunc(all, func(a, b leftOut) int { return cmp.Compare(a.km, b.km) })
	for _, r := range all[:min(len(all), keptOut)] {
		w.Not = append(w.Not, r.LeftOut)
	}
	w.More = len(all) - len(w.Not)
}

// whyNot names what stands against asking c, as the survey of the round goes through it.
func (d Dispatch) whyNot(c Catcher, needs Needs, card CatcherCard, asked []Ask, now time.Time) Reason {
	if why, ok := Able(c, needs); !ok {
		return why
	}
	if before := askOf(asked, c.ID); before != nil {
		more := before.silent() && before.Before < d.Reask
		if !more || samePart(before.At, now) || now.Sub(before.At) < time.Hour {
			return ReasonAskedBefore
		}
	}
	why, _ := freeAt(c, card, now, d.Fresh)
	return why
}

// digits keeps four digits of a number: what is shown, and no more of a document.
func digits(x float64) float64 {
	if x == 0 {
		return 0
	}
	scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}
