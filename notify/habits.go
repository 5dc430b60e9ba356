package notify

import (
	"math"
	"time"
)

// Tally is what came of asks that had time to be answered: how often the answer was yes, and
// how many asks that was out of. An ask counts by its Weight (an ask to come far counts
// less), and one that was overtaken only by the share of answers that come as fast.
type Tally struct {
	Yes   float64 `json:"yes"`
	Asked float64 `json:"asked"`
}

// Habits is what is remembered of how a catcher answers. The zero value is somebody new.
type Habits struct {
	Work     Tally     `json:"work,omitzero"` // on working days from 7 to 17
	Free     Tally     `json:"free,omitzero"` // at other times
	Lately   Tally     `json:"lately,omitzero"`
	LatelyAt time.Time `json:"lately_at,omitzero"` // Lately fades from here, to 1/e in fourteen days
	Silent   float64   `json:"silent,omitempty"`   // unanswered asks of the part of the day of SilentAt
	SilentAt time.Time `json:"silent_at,omitzero"`
	YesAt    time.Time `json:"yes_at,omitzero"`
}

// fortnight is how fast Lately fades.
const fortnight = 14 * 24 * time.Hour

// SaidYes counts a yes at now to an ask of that weight. late says that the ask had already
// been counted as overtaken.
func (h Habits) SaidYes(weight float64, late bool, now time.Time) Habits {
	if late {
		weight = 0
	}
	h.Silent, h.YesAt = 0, now.UTC()
	return h.count(1, weight, now)
}

// SaidNo counts a no, said aloud.
func (h Habits) SaidNo(weight float64, now time.Time) Habits { return h.count(0, weight, now) }

// WasOvertaken counts an ask, made at asked, that nobody needs an answer to any more: somebody
// faster took the call, or it ended. Else good people would look bad for being second.
func (h Habits) WasOvertaken(weight float64, asked, now time.Time) Habits {
	share := answeredBy(now.Sub(asked).Minutes())
	if !samePart(h.SilentAt, now) {
		h.Silent = 0
	}
	h.Silent, h.SilentAt = h.Silent+share, now.UTC()
	return h.countIn(working(asked), 0, weight*share, now)
}

func (h Habits) count(yes, asked float64, now time.Time) Habits {
	return h.countIn(working(now), yes, asked, now)
}

// countIn counts in the hours in which the ask was made.
func (h Habits) countIn(atWork bool, yes, asked float64, now time.Time) Habits {
	t := &h.Free
	if atWork {
		t = &h.Work
	}
	t.Yes, t.Asked = t.Yes+yes, t.Asked+asked
	h.Lately, h.LatelyAt = h.lately(now), now.UTC()
	h.Lately.Yes, h.Lately.Asked = h.Lately.Yes+yes, h.Lately.Asked+asked
	return h
}

// lately returns what of Lately still counts at now.
func (h Habits) lately(now time.Time) Tally {
	fade := math.Exp(-now.Sub(h.LatelyAt).Hours() / fortnight.Hours())
	return Tally{h.Lately.Yes * fade, h.Lately.Asked * fade}
}

// What is assumed of somebody new: two yes in six asks (judgement; alerted volunteers answer
// 17 to 47 % of alerts: Khalemsky et al., JMIR mHealth uHealth 11:e41551, 2023, abstract).
const (
	priorYes   = 2.0
	priorAsked = 6.0
	ownHours   = 6.0 // asks of the other half of the week that tell as much as none of this one
)

// willing is the chance of a yes to an ask nearby, now: what is known of the catcher in all,
// bent towards what is known of this half of their week.
func (h Habits) willing(now time.Time) float64 {
	all := (priorYes + h.Work.Yes + h.Free.Yes) / (priorAsked + h.Work.Asked + h.Free.Asked)
	this := h.Free
	if working(now) {
		this = h.Work
	}
	return (ownHours*all + this.Yes) / (ownHours + this.Asked)
}

// presence bends the chance by what the last hours told: who left another ask of this part
// of the day unanswered is likely away from the phone, who said yes is likely near it
// (judgement).
func (h Habits) presence(now time.Time) float64 {
	factor := 1.0
	if samePart(h.SilentAt, now) {
		factor *= math.Pow(silentFactor, h.Silent)
	}
	if samePart(h.YesAt, now) {
		factor *= presentFactor
	}
	return factor
}

const (
	silentFactor  = 0.55
	presentFactor = 1.4
)

// working reports whether most people work then.
func working(t time.Time) bool {
	return t.Weekday() != time.Saturday && t.Weekday() != time.Sunday && t.Hour() >= 7 && t.Hour() < 17
}

// dayParts are the hours at which a part of the day begins: people's plans change about
// then, and who did not answer before may be asked once more.
var dayParts = [...]int{7, 12, 17, 21}

// samePart reports whether two moments are in the same part of one day.
func samePart(a, b time.Time) bool {
	if a.IsZero() || b.IsZero() {
		return false
	}
	return partBegan(a.In(b.Location())).Equal(partBegan(b))
}

func partBegan(t time.Time) time.Time {
	y, m, d := t.Date()
	began := time.Date(y, m, d-1, dayParts[len(dayParts)-1], 0, 0, 0, t.Location())
	for _, hour := range dayParts {
		if t.Hour() >= hour {
			began = time.Date(y, m, d, hour, 0, 0, 0, t.Location())
		}
	}
	return began
}

func nextPart(t time.Time) time.Time {
	y, m, d := t.Date()
	for _, hour := range dayParts {
		if t.Hour() < hour {
			return time.Date(y, m, d, hour, 0, 0, 0, t.Location())
		}
	}
	return time.Date(y, m, d+1, dayParts[0], 0, 0, 0, t.Location())
}
