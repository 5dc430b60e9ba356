package notify

import (
	"fmt"
	"math"
	"testing"
	"time"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: %.4f, want %.4f", what, got, want)
	}
}

// The lognormal with median 5 minutes and sigma 1.3, worked by hand: ln(15/5)/1.3 = 0.845,
// and the normal distribution up to that is 0.80.
func TestHowFastAnswersCome(t *testing.T) {
	for minutes, want := range map[float64]float64{0: 0, 1: 0.108, 5: 0.5, 15: 0.801, 30: 0.916, 60: 0.972} {
		near(t, "answered", answeredBy(minutes), want, 0.001)
	}
	// A chance of 0.35, and of the others 0.3 say no aloud. After 5 minutes:
	// 0.35*0.5 / (0.35*0.5 + 0.65*(1-0.15)) = 0.2406.
	for minutes, want := range map[float64]float64{0: 0.35, 5: 0.2406, 15: 0.1235, 30: 0.0586} {
		near(t, "still a yes", stillYes(0.35, minutes), want, 0.001)
	}
}

// Worked by hand. The club says yes to three in ten at work and to four in ten else.
func TestWillingnessIsLearned(t *testing.T) {
	tuesday, saturday := clock(t, "14:00"), clock(t, "14:00").AddDate(0, 0, 4)
	club := Usual{Work: 0.3, Free: 0.4}
	var h Habits
	near(t, "somebody new is like the club", h.willing(club, true), 0.3, 1e-9)
	near(t, "on a Saturday, too", h.willing(club, false), 0.4, 1e-9)
	for range 10 {
		h = h.SaidNo(1, tuesday)
	}
	// Three yes were to be expected: 5/(5+3) = 5/8 as likely as the club, that is 3/16 at work;
	// there 15/8 were to be expected of such a one: 10/(10+15/8) = 16/19 of it.
	near(t, "ten no at work", h.willing(club, true), 3.0/16*16/19, 1e-9)
	near(t, "on a Saturday only all together counts", h.willing(club, false), 0.4*5/8, 1e-9)
	yes := Habits{}.SaidYes(0.5, false, saturday)
	near(t, "one yes to an ask that counts half", yes.willing(club, true), 0.3*6/5.2, 1e-9)
	late := Habits{}.WasOvertaken(0.5, 0.3, saturday.Add(-time.Hour), saturday)
	near(t, "a yes that comes too late is not counted", late.SaidYes(0.5, true, saturday).Free.Yes, 0, 0)
	near(t, "but they are there", late.SaidYes(0.5, true, saturday).presence(saturday), presentFactor, 0)
	near(t, "nor is one to an ask that nobody weighed", Habits{}.SaidYes(0, false, saturday).Free.Yes, 0, 0)
}

// Two new people stand for the club as long as nobody has answered: four yes in twelve. Then
// 4+3 in 12+8 at work.
func TestTheClubIsPooled(t *testing.T) {
	roster := []Catcher{{ID: "ada"}, {ID: "bram"}}
	if got, want := usual(Board{}, roster), (Usual{1.0 / 3, 1.0 / 3}); got != want {
		t.Errorf("a new club: %v, want %v", got, want)
	}
	board := Board{Catchers: map[string]CatcherCard{
		"ada": {Habits: Habits{Work: Tally{Yes: 3, Asked: 4}}}, "bram": {Habits: Habits{Work: Tally{Asked: 4}}},
	}}
	if got, want := usual(board, roster), (Usual{7.0 / 20, 1.0 / 3}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

// What is learned from asks that end when somebody is faster is what people do: the chance
// that is found from yes, no and silences, each counted for what it tells, is the one they
// were drawn with, whenever the asks end. The silences are counted at the chance they have.
func TestSilencesAreCountedForWhatTheyTell(t *testing.T) {
	for _, p := range []float64{0.1, 0.3, 0.6} {
		for _, share := range []float64{0.1, 0.5, 0.9} {
			yes, no := p*share, (1-p)*saysNo*share
			asked := yes + no + (1-yes-no)*silenceTells(p, share)
			near(t, "chance", yes/asked, p, 1e-9)
		}
	}
	near(t, "who has had all the time there is has said no", silenceTells(0.3, 1), 1, 1e-9)
}

func TestWhoWasFasterIsNoFaultOfTheOthers(t *testing.T) {
	now := clock(t, "14:00")
	h := Habits{}.WasOvertaken(1, 0.3, now.Add(-5*time.Minute), now)
	// 0.5*0.7*0.7/(1-0.5*0.51): half of the answers come within five minutes, and more of the
	// yes than of the no are heard.
	near(t, "a third of a no", h.Work.Asked, 0.245/0.745, 1e-9)
	near(t, "and bends the chance for the rest of the afternoon", h.presence(now), math.Sqrt(silentFactor), 1e-9)
	near(t, "not of the evening", h.presence(clock(t, "18:00")), 1, 1e-9)
}

// Asking somebody with chance 1 who answers like everybody, at once rather than five minutes
// later, with nobody else asked: they are there five minutes sooner, less what falls beyond
// the two hours, wherever they live.
func TestSooner(t *testing.T) {
	s := DefaultDispatch().ahead(nil, clock(t, "14:00"))
	next := func(p, way float64) Pick { return Pick{P: p, Minutes: way} }
	near(t, "minutes sooner", s.sooner(next(1, 0), 5), 4.97, 0.05)
	near(t, "in proportion", s.sooner(next(0.3, 0), 5), 0.3*s.sooner(next(1, 0), 5), 1e-9)
	near(t, "far off as well", s.sooner(next(1, 60), 5), s.sooner(next(1, 0), 5), 0.2)
	s.with(0.5, 5, 0)
	near(t, "hope", s.hope(), 0.5*answeredBy(horizon-1)/(0.5+0.5*1), 0.01)
	// By hand: where all have the same way, it is the same whoever goes.
	sum := 0.0
	for x := range horizon - 1 {
		sum += s.open[x] * (answeredBy(float64(x)) - answeredBy(float64(x-5)))
	}
	near(t, "as far as the others", s.sooner(next(1, 5), 5), sum, 0.05)
	if near, far := s.sooner(next(0.5, 5), 5), s.sooner(next(0.5, 60), 5); far >= near/2 {
		t.Errorf("somebody an hour away would shut out who is near: %.2f minutes, %.2f for somebody near", far, near)
	}
}

func TestAnAskCostsMoreTheMoreOnesWeekHad(t *testing.T) {
	now := clock(t, "14:00")
	k := weigh(Pick{Km: 0, Minutes: 3}, CatcherCard{Asks: []time.Time{now, now, now, now.Add(-week)}}, Club{Usual: usual(Board{}, nil)}, true, now)
	lately := 3 + 1/math.E
	near(t, "price", k.Price, lately, 1e-9)
	near(t, "chance", k.P, math.Exp(-tiring*(lately-restAsks))/3, 1e-9)
}

func TestTheSwarmLeavesByDay(t *testing.T) {
	noon, night := clock(t, "13:00"), clock(t, "20:30")
	near(t, "at noon", leaving(branch(), noon), (1+patience)/quickLeave, 1e-9)
	near(t, "in the evening", leaving(branch(), night), patience/quickLeave, 1e-9)
	needs := branch()
	needs.Restless = 2
	near(t, "since yesterday", leaving(needs, noon), (2+patience)/quickLeave, 1e-9)
}

// A club that says yes a third as often as it did is asked at a higher price; one that is
// asked very much, too. A new club is not.
func TestThePriceNeverFeedsASpiral(t *testing.T) {
	now := clock(t, "14:00")
	roster := []Catcher{north("ada", 2), north("bram", 3)}
	near(t, "a new club", strain(Board{}, roster, now), 1, 1e-9)
	tired := CatcherCard{Habits: Habits{Free: Tally{60, 100}, Lately: Tally{1, 60}, LatelyAt: now}}
	if got := strain(Board{Catchers: map[string]CatcherCard{"ada": tired, "bram": tired}}, roster, now); got < 2 {
		t.Errorf("a tired club: %v", got)
	}
	var asks []time.Time
	for range 24 {
		asks = append(asks, now)
	}
	near(t, "asked twenty-four times a week", strain(Board{Catchers: map[string]CatcherCard{"ada": {Asks: asks}, "bram": {Asks: asks}}}, roster, now), 8, 1e-9)
}

func TestPaceIsOneKnob(t *testing.T) {
	var roster []Catcher
	for i, id := range []string{"ada", "bram", "chidi", "dora", "emil", "fern"} {
		roster = append(roster, north(id, float64(10+i)))
	}
	asked := []Ask{{Catcher: "ada", At: clock(t, "17:00"), State: AskOpen, P: 0.45}, {Catcher: "bram", At: clock(t, "17:00"), State: AskOpen, P: 0.45}}
	last := -1
	for _, pace := range []Pace{Gentle, Normal, Fast} {
		d := DefaultDispatch()
		d.Pace = pace
		n := len(NextRound(branch(), roster, Board{}, asked, clock(t, "17:05"), d).Ask)
		if n < last {
			t.Errorf("%s asks %d, fewer than the gentler pace (%d)", pace, n, last)
		}
		last = n
	}
	if last == 0 {
		t.Error("the fast pace asks nobody")
	}
}

// BenchmarkTenCallsOf400 is a hot day in a big club: ten looks at four hundred cards, in the
// order in which the store gives them, with the club summed up once as it is there.
func BenchmarkTenCallsOf400(b *testing.B) {
	var roster []Catcher
	board := Board{Catchers: map[string]CatcherCard{}}
	now := clock(b, "14:00")
	for i := range 400 {
		c := north(fmt.Sprintf("c%03d", i), float64(i*37%400)/20)
		if i%2 == 0 {
			c.Hours = "Mo-Fr 12:00-21:00; Sa-Su 08:00-20:00"
		}
		roster = append(roster, c)
		board.Catchers[c.ID] = CatcherCard{Asks: []time.Time{now.Add(-30 * time.Hour), now.Add(-50 * time.Hour), now.Add(-90 * time.Hour)}}
	}
	asked := []Ask{{Catcher: roster[0].ID, At: now.Add(-6 * time.Minute), State: AskOpen, P: 0.3}}
	for b.Loop() {
		club := ClubOf(board, roster, now) // once a reading of the board
		board.Club = &club
		for range 10 {
			NextRound(branch(), roster, board, asked, now, DefaultDispatch())
		}
	}
}
