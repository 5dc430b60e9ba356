package notify

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"skepline/intake"
)

// Ask is one call put to one catcher, as the call remembers it.
type Ask struct {
	Catcher  string    `json:"catcher"`
	At       time.Time `json:"at"`
	State    AskState  `json:"state"`
	Answered time.Time `json:"answered,omitzero"` // when it was taken, passed or dropped
}

// AskState says what came of an ask.
type AskState string

// The states of an ask.
const (
	AskOpen        AskState = "open"        // no answer yet
	AskTaken       AskState = "taken"       // this catcher holds the call
	AskStandby     AskState = "standby"     // would have taken it; next if the holder drops out
	AskPassed      AskState = "passed"      // said no
	AskLapsed      AskState = "lapsed"      // silent until it no longer mattered
	AskDropped     AskState = "dropped"     // held the call and gave it back
	AskUndelivered AskState = "undelivered" // never heard of it
)

// Pick is a catcher to ask now.
type Pick struct {
	Catcher string
	Km      float64 // straight line from home, -1 when the place is known in words only
	Minutes float64 // until arrival, -1 when the place is known in words only
}

// Dispatch is how a hotline asks around. The numbers of DefaultDispatch are judgement,
// unless they name a source.
type Dispatch struct {
	First     int           `toml:"first"`      // asked at once
	Next      int           `toml:"next"`       // asked after each further silence
	Every     time.Duration `toml:"every"`      // that silence
	Fresh     time.Duration `toml:"fresh"`      // nobody gets a second call while an ask is younger than this
	GiveUp    time.Duration `toml:"give_up"`    // wait for answers after the last who could be asked
	QuietFrom TimeOfDay     `toml:"quiet_from"` // nobody is asked between QuietFrom
	QuietTo   TimeOfDay     `toml:"quiet_to"`   // and QuietTo, by the hotline's clock
}

// DefaultDispatch asks three, then two more every five minutes. Asking in small groups and
// replacing each no at once does better than asking everybody, and tires people less (van
// den Berg, Henderson, Li, Dicker, Jagtenberg, PLOS One 2026, on alerts to volunteers near
// a cardiac arrest, abstract). Between nine in the evening and seven in the morning nobody
// is asked: swarms do not leave in the dark, and the first scouts fly about nine.
func DefaultDispatch() Dispatch {
	return Dispatch{
		First: 3, Next: 2, Every: 5 * time.Minute, Fresh: 10 * time.Minute, GiveUp: 15 * time.Minute,
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
	ReasonNobodyAble Reason = "nobody_able"   // nobody on the roster could ever do it
	ReasonTaken      Reason = "taken"         // somebody holds the call
)

// Plan is what to do about a call now.
type Plan struct {
	Ask    []Pick    // whom to ask now, nearest first
	Again  time.Time // when to look again; zero = not by itself
	Reason Reason
	Able   int // how many on the roster could ever do it, asked or not
}

// NextRound decides whom to ask now for a call: the nearest first, then wider, and another
// one at once for each who says no. It is called when the call opens, when somebody passes,
// drops out or could not be reached, and at Plan.Again. now is in the hotline's zone. The
// order of roster and asked does not matter.
func NextRound(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) Plan {
	round := survey(needs, roster, board, asked, now, d)
	plan := Plan{Able: round.able}
	missing := d.wanted(asked, now) - len(asked)
	switch {
	case slices.ContainsFunc(asked, func(a Ask) bool { return a.State == AskTaken }):
		plan.Reason = ReasonTaken
	case round.able == 0:
		plan.Reason = ReasonNobodyAble
	case d.quiet(now):
		plan.Reason, plan.Again = ReasonQuietHours, d.QuietTo.Next(now)
	case missing <= 0:
		plan.Reason, plan.Again = ReasonWaiting, d.nextStep(asked, now)
	case len(round.free) > 0:
		plan.Ask = round.free[:min(missing, d.First, len(round.free))]
		plan.Reason, plan.Again = d.whyAsk(asked, now), d.nextStep(asked, now)
	case round.left > 0:
		plan.Reason, plan.Again = ReasonNobodyFree, round.soonest
	default:
		plan.Reason, plan.Again = ReasonAllAsked, d.giveUpAt(asked, now)
	}
	return plan
}

// surveyed is the roster as one call sees it.
type surveyed struct {
	able    int       // could ever do it
	left    int       // of these, not asked yet
	free    []Pick    // of these, may be asked now; best first
	soonest time.Time // when the first of the others is likely free
}

func survey(needs Needs, roster []Catcher, board Board, asked []Ask, now time.Time, d Dispatch) surveyed {
	var s surveyed
	before := make(map[string]bool, len(asked))
	for _, a := range asked {
		before[a.Catcher] = true
	}
	for _, c := range roster {
		if _, ok := Able(c, needs); !ok {
			continue
		}
		s.able++
		if before[c.ID] {
			continue
		}
		s.left++
		why, at := freeAt(c, board.Catchers[c.ID], now, d.Fresh)
		if why == ReasonFits {
			s.free = append(s.free, pick(c, needs.Place))
		} else if s.soonest.IsZero() || at.Before(s.soonest) {
			s.soonest = at
		}
	}
	s.soonest = d.awake(s.soonest)
	slices.SortFunc(s.free, func(a, b Pick) int { return better(a, b, board) })
	return s
}

func pick(c Catcher, p intake.Place) Pick {
	far := FarFrom(c, p)
	if far.Km < 0 {
		return Pick{Catcher: c.ID, Km: -1, Minutes: -1}
	}
	return Pick{Catcher: c.ID, Km: far.Km, Minutes: Minutes(far.Km)}
}

// about is how many minutes of driving count as the same: the estimate is no better than
// that, and so there is room to be fair (judgement).
const about = 5

// better orders picks: nearest first; of two about as near, the one asked and sent less
// lately; then the nearer one after all.
func better(a, b Pick, board Board) int {
	lately := func(p Pick) int {
		card := board.Catchers[p.Catcher]
		return len(card.Asks) + len(card.Today)
	}
	return cmp.Or(
		cmp.Compare(math.Floor(a.Minutes/about), math.Floor(b.Minutes/about)),
		cmp.Compare(lately(a), lately(b)),
		cmp.Compare(a.Minutes, b.Minutes),
		strings.Compare(a.Catcher, b.Catcher),
	)
}

// wanted returns how many should have been asked by now: the first ones, some more for
// each silence since, and one for each no. Quiet hours do not count as silence.
func (d Dispatch) wanted(asked []Ask, now time.Time) int {
	n := d.First + d.Next*d.steps(asked, now)
	for _, a := range asked {
		if a.State == AskPassed || a.State == AskDropped || a.State == AskUndelivered {
			n++
		}
	}
	return n
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
