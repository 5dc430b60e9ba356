package notify

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Ask is one call put to one catcher, as the call remembers it.
type Ask struct {
	Catcher  string    `json:"catcher"`
	At       time.Time `json:"at"`
	State    AskState  `json:"state"`
	Answered time.Time `json:"answered,omitzero"` // when it was taken, passed or dropped
	Starts   time.Time `json:"starts,omitzero"`   // of a yes: when they promised to set out; zero = not said
	Weight   float64   `json:"weight,omitempty"`  // see Pick
	P        float64   `json:"p,omitempty"`       // chance of a yes, as it was judged then
	Way      float64   `json:"way,omitempty"`     // see Pick; 0 = not known
	Before   int       `json:"before,omitempty"`  // how often the same catcher was asked for the call before
}

// AskState says what came of an ask.
type AskState string

// The states of an ask.
const (
	AskOpen        AskState = "open"        // no answer yet
	AskTaken       AskState = "taken"       // this catcher holds the call
	AskStandby     AskState = "standby"     // would have taken it; next if the holder drops out
	AskFallback    AskState = "fallback"    // said yes, but can only start in an hour or more
	AskPassed      AskState = "passed"      // said no
	AskLapsed      AskState = "lapsed"      // silent until it no longer mattered
	AskDropped     AskState = "dropped"     // held the call and gave it back
	AskUndelivered AskState = "undelivered" // never heard of it
)

// silent reports whether the ask was never answered.
func (a Ask) silent() bool { return a.State == AskOpen || a.State == AskLapsed }

// Pick is a catcher to ask now.
type Pick struct {
	Catcher string
	Km      float64 // straight line from home, -1 when the place is known in words only
	Minutes float64 // until arrival, -1 when the place is known in words only
	P       float64 // chance of a yes
	Weight  float64 // what of a willing catcher's yes is left by the way, the asks of the week and the last hours: how much the ask tells of them
	Price   float64 // of the ask, in asks to a rested catcher
	Index   float64 // candidates are asked from the highest down
	Gain    float64 // chance to catch the swarm that asking now adds over asking at the next look
	Cost    float64 // price times the chance that waiting makes the ask needless; asked if Gain is not less
}

// Way returns how many minutes it takes them from the yes to the swarm, as the rule goes by it.
func (k Pick) Way() float64 {
	if k.Minutes < 0 {
		return usualWay
	}
	return k.Minutes
}

// Dispatch is how a hotline asks around. The numbers of DefaultDispatch are judgement,
// unless they name a source.
type Dispatch struct {
	Pace      Pace          `toml:"pace"`       // how much an ask may cost
	First     int           `toml:"first"`      // asked at once, at most
	Next      int           `toml:"next"`       // asked at each further look, at most
	Every     time.Duration `toml:"every"`      // from one look to the next
	Fresh     time.Duration `toml:"fresh"`      // nobody gets a second call while an ask is younger than this
	Reask     int           `toml:"reask"`      // how often somebody silent is asked again, in later parts of the day
	GiveUp    time.Duration `toml:"give_up"`    // wait for answers after the last who could be asked
	QuietFrom TimeOfDay     `toml:"quiet_from"` // nobody is asked between QuietFrom
	QuietTo   TimeOfDay     `toml:"quiet_to"`   // and QuietTo, by the hotline's clock
	Travel    Travel        `toml:"-"`          // the zero value stands for DefaultTravel
}

// DefaultDispatch asks up to four every five minutes. Asking in small groups and
// replacing each no at once does better than asking everybody, and tires people less (van
// den Berg, Henderson, Li, Dicker, Jagtenberg, PLOS One 2026, on alerts to volunteers near
// a cardiac arrest, abstract). Between nine in the evening and seven in the morning nobody
// is asked: swarms do not leave in the dark, and the first scouts fly about nine.
func DefaultDispatch() Dispatch {
	return Dispatch{
		Pace: Normal, First: 4, Next: 4, Every: 5 * time.Minute, Fresh: 10 * time.Minute, GiveUp: 15 * time.Minute,
		Reask:     3,
		QuietFrom: 21 * 60, QuietTo: 7 * 60,
	}
}

// Validate reports every setting that cannot work.
func (d Dispatch) Validate() error {
	var faults []error
	want := func(ok bool, name, want string) {
		if !ok {
			faults = append(faults, fmt.Errorf("dispatch: %s must be %s", name, want))
		}
	}
	want(d.First >= 1, "first", "at least 1")
	want(d.Next >= 1, "next", "at least 1")
	want(d.Every >= time.Minute, "every", "at least 1m")
	want(d.Fresh >= 0, "fresh", "0s or more")
	want(d.GiveUp >= time.Minute, "give_up", "at least 1m")
	return errors.Join(faults...)
}

// Reason says why: why a round looks as it does, or why a catcher is not asked.
type Reason string

// Why a round looks as it does.
const (
	ReasonFirstRound Reason = "first_round"   // the first asks of the call
	ReasonWidened    Reason = "widened"       // nobody has answered, so more are asked
	ReasonReplaced   Reason = "replaced_a_no" // somebody passed or could not be reached
	ReasonWaiting    Reason = "waiting"       // those asked have a moment yet
	ReasonQuietHours Reason = "quiet_hours"   // it is night
	ReasonNobodyFree Reason = "nobody_free"   // some could do it, but not now
	ReasonAllAsked   Reason = "all_asked"     // everybody who could do it has been asked
	ReasonAskedOnce  Reason = "asked_once"    // the same; who was silent is asked once more in the next part of the day
	ReasonNobodyAble Reason = "nobody_able"   // nobody on the roster could ever do it
	ReasonTaken      Reason = "taken"         // somebody holds the call
)

// Plan is what to do about a call now.
type Plan struct {
	Ask    []Pick    // whom to ask now, best first
	Again  time.Time // when to look again; zero = not by itself
	Reason Reason
	Able   int // how many on the roster could ever do it, asked or not
}

// NextRound decides whom to ask now for a call, by the rule of policy.go. It is called when
// the call opens, when somebody passes, drops out or could not be reached, and at
// Plan.Again. now is in the hotline's zone. The order of roster and asked does not matter.
func NextRound(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) Plan {
	roster, asked = inOrder(roster, asked)
	club := board.club(roster, now)
	board.Club = &club
	round := survey(needs, roster, board, asked, now, d)
	plan := Plan{Able: round.able}
	switch {
	case slices.ContainsFunc(asked, func(a Ask) bool { return a.State == AskTaken }):
		plan.Reason = ReasonTaken
	case round.able == 0:
		plan.Reason = ReasonNobodyAble
	case d.quiet(now):
		plan.Reason, plan.Again = ReasonQuietHours, d.QuietTo.Next(now)
	case len(round.free) > 0:
		plan.Ask = d.choose(round.free, d.ahead(asked, now), leaving(needs, now), club.Strain, d.most(asked, now))
		plan.Reason, plan.Again = ReasonWaiting, d.nextStep(asked, now)
		if len(plan.Ask) > 0 {
			plan.Reason = d.whyAsk(asked, now)
		}
	case round.left > 0:
		plan.Reason, plan.Again = ReasonNobodyFree, round.soonest
		if next := d.awake(nextPart(now)); round.silent && next.Before(plan.Again) {
			plan.Again = next
		}
	default:
		plan.Reason, plan.Again = ReasonAllAsked, d.giveUpAt(asked, now)
		if plan.Again.IsZero() && round.silent {
			plan.Reason, plan.Again = ReasonAskedOnce, d.awake(nextPart(now))
		}
	}
	return plan
}

// inOrder puts roster and asked into one order, whatever they came in: sums differ in their
// last digit by the order of their parts.
func inOrder(roster []Catcher, asked []Ask) ([]Catcher, []Ask) {
	byID := func(a, b Catcher) int { return strings.Compare(a.ID, b.ID) }
	if !slices.IsSortedFunc(roster, byID) {
		roster = slices.Clone(roster)
		slices.SortFunc(roster, byID)
	}
	asked = slices.SortedFunc(slices.Values(asked), func(a, b Ask) int {
		return cmp.Or(byTime(a, b), strings.Compare(a.Catcher, b.Catcher))
	})
	return roster, asked
}

// most is how many may be asked now: First, then Next at each look; between two looks one
// for each no since the last ask.
func (d Dispatch) most(asked []Ask, now time.Time) int {
	switch {
	case len(asked) == 0:
		return d.First
	case d.steps(asked, now) > d.steps(asked, lastAsk(asked)):
		return d.Next
	}
	noes := 0
	for _, a := range asked {
		no := a.State == AskPassed || a.State == AskDropped || a.State == AskUndelivered || a.State == AskFallback
		if no && !a.Answered.Before(lastAsk(asked)) {
			noes++
		}
	}
	return noes
}

// surveyed is the roster as one call sees it.
type surveyed struct {
	able    int       // could ever do it
	left    int       // of these, may still be asked
	free    []Pick    // of these, may be asked now; best first
	silent  bool      // some who were asked may be asked once more in the next part of the day
	soonest time.Time // when the first of the others is likely free
}

func survey(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) surveyed {
	s := surveyed{free: make([]Pick, 0, len(roster))}
	club, atWork := board.club(roster, now), working(now)
	for _, c := range roster {
		card := board.Catchers[c.ID]
		if _, ok := Able(c, needs); !ok {
			continue
		}
		s.able++
		if before := askOf(asked, c.ID); before != nil {
			more := before.silent() && before.Before < d.Reask
			if !more || samePart(before.At, now) || now.Sub(before.At) < time.Hour {
				s.silent = s.silent || more
				continue
			}
		}
		s.left++
		why, at := freeAt(c, card, now, d.Fresh)
		if why == ReasonFits {
			s.free = append(s.free, weigh(d.pick(c.Start(card.Stand, now), needs), card, club, atWork, now))
		} else if s.soonest.IsZero() || at.Before(s.soonest) {
			s.soonest = at
		}
	}
	s.soonest = d.awake(s.soonest)
	byIndex(s.free)
	return s
}

func askOf(asked []Ask, catcher string) *Ask {
	for i := len(asked) - 1; i >= 0; i-- {
		if asked[i].Catcher == catcher {
			return &asked[i]
		}
	}
	return nil
}

func meanJobs(roster []Catcher, board Board, now time.Time) float64 {
	sum := 0
	for _, c := range roster {
		sum += board.Catchers[c.ID].jobsLately(now)
	}
	return float64(sum) / float64(max(1, len(roster)))
}

func (d Dispatch) pick(c Catcher, needs Needs) Pick {
	km := kmTo(&c, needs.Place)
	if km < 0 {
		return Pick{Catcher: c.ID, Km: -1, Minutes: -1}
	}
	if road, known := needs.Roads[c.ID]; known {
		return Pick{Catcher: c.ID, Km: km, Minutes: OnRoad(road)}
	}
	return Pick{Catcher: c.ID, Km: km, Minutes: d.Travel.Minutes(km)}
}

// steps returns how many silences have gone by since the first ask.
func (d Dispatch) steps(asked []Ask, now time.Time) int {
	if len(asked) == 0 {
		return 0
	}
	return int(d.waking(firstAsk(asked), now) / d.Every)
}

// nextStep returns when the next silence is over.
func (d Dispatch) nextStep(asked []Ask, now time.Time) time.Time {
	var gone time.Duration
	if len(asked) > 0 {
		gone = d.waking(firstAsk(asked), now) % d.Every
	}
	return d.awake(now.Add(d.Every - gone))
}

func (d Dispatch) whyAsk(asked []Ask, now time.Time) Reason {
	switch {
	case len(asked) == 0:
		return ReasonFirstRound
	case d.steps(asked, now) > d.steps(asked, lastAsk(asked)):
		return ReasonWidened
	}
	return ReasonReplaced
}

// giveUpAt returns when the last ones asked have had their time, zero when they have.
func (d Dispatch) giveUpAt(asked []Ask, now time.Time) time.Time {
	left := d.GiveUp - d.waking(lastAsk(asked), now)
	if left <= 0 {
		return time.Time{}
	}
	return d.awake(now.Add(left))
}

func (d Dispatch) quiet(t time.Time) bool { return Quiet(t, d.QuietFrom, d.QuietTo) }

// awake returns t, or the end of the quiet hours that t falls into.
func (d Dispatch) awake(t time.Time) time.Time {
	if !t.IsZero() && d.quiet(t) {
		return d.QuietTo.Next(t)
	}
	return t
}

// waking returns how much time passed between two moments outside quiet hours, 0 when the
// second is the earlier one.
func (d Dispatch) waking(from, to time.Time) time.Duration {
	var sum time.Duration
	from = from.In(to.Location())
	for from = d.awake(from); from.Before(to); from = d.awake(from) {
		next := to
		if evening := d.QuietFrom.Next(from); d.QuietFrom != d.QuietTo && evening.Before(to) {
			next = evening
		}
		sum += next.Sub(from)
		from = next
	}
	return sum
}

func firstAsk(asked []Ask) time.Time { return slices.MinFunc(asked, byTime).At }
func lastAsk(asked []Ask) time.Time  { return slices.MaxFunc(asked, byTime).At }

func byTime(a, b Ask) int { return a.At.Compare(b.At) }
