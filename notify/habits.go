package notify

import (
	"math"
	"time"
)

// Tally is what came of asks that had time to be answered: how often the answer was yes, and
// how many asks that was out of. An ask counts by its Weight (an ask to come far counts
// less), and one that was overtaken only by as much as its silence told, see silenceTells.
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

// SaidYes counts a yes at now to an ask of that weight. One that comes late, to an ask that was
// overtaken, shows that they are there and is not counted: nobody says no any more to a call
// that is taken, and yes without no made everybody look likelier than they were, most of all
// those who had been lucky (by a third, in simulated seasons). Nor is one to an ask that nobody
// weighed.
func (h Habits) SaidYes(weight float64, late bool, now time.Time) Habits {
	h.Silent, h.YesAt = 0, now.UTC()
	if late || weight == 0 {
		return h
	}
	return h.count(1, weight, now)
}

// SaidNo counts a no, said aloud.
func (h Habits) SaidNo(weight float64, now time.Time) Habits { return h.count(0, weight, now) }

// WasOvertaken counts an ask, made at asked with chance p, that nobody needs an answer to any
// more: somebody faster took the call, or it ended. Else good people would look bad for being
// second.
func (h Habits) WasOvertaken(weight, p float64, asked, now time.Time) Habits {
	share := answeredBy(now.Sub(asked).Minutes())
	if !samePart(h.SilentAt, now) {
		h.Silent = 0
	}
	h.Silent, h.SilentAt = h.Silent+share, now.UTC()
	return h.countIn(working(asked), 0, weight*silenceTells(p, share), now)
}

// silenceTells is how much of a no, 0 to 1, lies in the silence to an ask with chance p when
// that share of answers has come in: as much as moves the likelihood of p alike. A no said
// aloud counts 1, and so the silent ones count less than the share.
func silenceTells(p, share float64) float64 {
	told := saysNo + p*(1-saysNo) // of all asks, those that are answered at last
	return share * (1 - saysNo) * (1 - p) / (1 - share*told)
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

// What is assumed of a club that is new: two yes in six asks (judgement; alerted volunteers
// answer 17 to 47 % of alerts: Khalemsky et al., JMIR mHealth uHealth 11:e41551, 2023,
// abstract), and by how much people differ (judgement, about that of DefaultWorld).
const (
	priorYes    = 4.0
	priorAsked  = 12.0
	likeTheClub = 5.0  // yes expected of somebody until what they did counts as much as what the club does
	ownHours    = 10.0 // the same of this half of the week, against all they did
)

// Usual is how often a club says yes to an ask that counts whole: on working days from 7 to
// 17, and at other times.
type Usual struct{ Work, Free float64 }

// usual pools what is known of everybody. It tells somebody new, and the half of the week in
// which somebody has hardly been asked, from the first days of a season on.
func usual(board Board, roster []Catcher) Usual {
	work, free := Tally{priorYes, priorAsked}, Tally{priorYes, priorAsked}
	for _, c := range roster {
		h := board.Catchers[c.ID].Habits
		work.Yes, work.Asked = work.Yes+h.Work.Yes, work.Asked+h.Work.Asked
		free.Yes, free.Asked = free.Yes+h.Free.Yes, free.Asked+h.Free.Asked
	}
	return Usual{work.Yes / work.Asked, free.Yes / free.Asked}
}

// willing is the chance of a yes to an ask nearby, in that half of the week: the club's, times how much likelier
// than the club the catcher has been, times how much likelier than that in this half of their
// week. Both factors are means of a gamma distribution about 1, given their yes and how many
// were to be expected: few asks move nobody far from the others.
func (h Habits) willing(usual Usual, atWork bool) float64 {
	all := usual.Work*h.Work.Asked + usual.Free*h.Free.Asked
	likelier := (likeTheClub + h.Work.Yes + h.Free.Yes) / (likeTheClub + all)
	expected, this := usual.Free*likelier, h.Free
	if atWork {
		expected, this = usual.Work*likelier, h.Work
	}
	return expected * (ownHours + this.Yes) / (ownHours + expected*this.Asked)
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
