package notify

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"skepline/intake"
)

// The place of the tests: the middle of Quillbrook County. A degree of latitude is 111 km.
const (
	centreLat, centreLon = 42.444, -76.502
	kmNorth              = 1 / 111.195
)

func metresUp(m float64) *float64 { return &m }

// north is a catcher so many km north of the centre, who can do everything.
func north(id string, km float64) Catcher {
	return Catcher{
		ID: id, Name: id, Address: "telegram:5550101", Lat: centreLat + km*kmNorth, Lon: centreLon,
		ReachKm: 30, MaxHeightM: 6, Skills: []Skill{Ladder, Cutout}, JobsADay: 2,
	}
}

func branch() Needs {
	return Needs{Place: intake.Place{Lat: centreLat, Lon: centreLon, PrecisionM: 15}, HeightM: metresUp(2)}
}

// clock is a moment of Tuesday, 12 May 2026, in Quillbrook.
func clock(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", "2026-05-12 "+text, newYork(t))
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestNextRound(t *testing.T) {
	roster := []Catcher{north("fern", 26), north("ada", 2), north("chidi", 12), north("bram", 7), north("dora", 17), north("emil", 22)}
	ask := func(state AskState, at string, ids ...string) (asks []Ask) {
		for _, id := range ids {
			asks = append(asks, Ask{Catcher: id, At: clock(t, at), State: state, P: 0.3})
		}
		return asks
	}
	no := func(state AskState, at string, ids ...string) []Ask {
		asks := ask(state, "14:00", ids...)
		for i := range asks {
			asks[i].Answered = clock(t, at)
		}
		return asks
	}
	lapse := func(n int) []Ask {
		return ask(AskLapsed, "14:00", []string{"ada", "bram", "chidi", "dora", "emil", "fern"}[:n]...)
	}
	again := func(asks []Ask) []Ask {
		for i := range asks {
			asks[i].Before = DefaultDispatch().Reask
		}
		return asks
	}
	everybody := func(card CatcherCard) Board {
		b := Board{Catchers: map[string]CatcherCard{}}
		for _, c := range roster {
			b.Catchers[c.ID] = card
		}
		return b
	}
	for _, test := range []struct {
		why   string
		now   string
		asked []Ask
		board Board
		needs func(*Needs)
		ask   []string
		again string
		want  Reason
		able  int
	}{
		{why: "the nearest at once", now: "14:00",
			ask: []string{"ada", "bram", "chidi"}, again: "14:05", want: ReasonFirstRound, able: 6},
		{why: "they have five minutes", now: "14:04", asked: ask(AskOpen, "14:00", "ada", "bram", "chidi"),
			again: "14:05", want: ReasonWaiting, able: 6},
		{why: "then more", now: "14:05", asked: ask(AskOpen, "14:00", "ada", "bram", "chidi"),
			ask: []string{"dora"}, again: "14:10", want: ReasonWidened, able: 6},
		{why: "a no is replaced at once, and the beat stays", now: "14:02",
			asked: slices.Concat(ask(AskOpen, "14:00", "ada", "bram"), no(AskPassed, "14:01", "chidi")),
			ask:   []string{"dora"}, again: "14:05", want: ReasonReplaced, able: 6},
		{why: "so is one who could not be reached", now: "14:01",
			asked: slices.Concat(ask(AskOpen, "14:00", "ada", "bram"), no(AskUndelivered, "14:01", "chidi")),
			ask:   []string{"dora"}, again: "14:05", want: ReasonReplaced, able: 6},
		{why: "and one who took it and gave it back", now: "14:02",
			asked: slices.Concat(ask(AskOpen, "14:00", "ada", "bram"), no(AskDropped, "14:01", "chidi")),
			ask:   []string{"dora"}, again: "14:05", want: ReasonReplaced, able: 6},
		{why: "a no that was replaced is not replaced again", now: "14:03",
			asked: slices.Concat(ask(AskOpen, "14:00", "ada", "bram"), no(AskPassed, "14:01", "chidi"), ask(AskOpen, "14:02", "dora")),
			again: "14:05", want: ReasonWaiting, able: 6},
		{why: "with the tenth minute it widens, whatever was replaced", now: "14:10",
			asked: slices.Concat(ask(AskOpen, "14:00", "ada", "bram"), no(AskPassed, "14:01", "chidi"), ask(AskOpen, "14:02", "dora")),
			ask:   []string{"emil", "fern"}, again: "14:15", want: ReasonWidened, able: 6},
		{why: "the holder dropped out after an hour: four more", now: "15:00",
			asked: slices.Concat(no(AskDropped, "15:00", "ada"), ask(AskLapsed, "14:00", "bram")),
			ask:   []string{"chidi", "dora", "emil", "fern"}, again: "15:05", want: ReasonWidened, able: 6},
		{why: "the last one left, who is far off, when the others have been silent for long", now: "14:40", asked: ask(AskOpen, "14:00", "ada", "bram", "chidi", "dora", "emil"),
			ask: []string{"fern"}, again: "14:45", want: ReasonWidened, able: 6},
		{why: "all asked: wait a quarter of an hour for the last", now: "14:12",
			asked: slices.Concat(lapse(4), ask(AskOpen, "14:05", "emil", "fern")), again: "14:20", want: ReasonAllAsked, able: 6},
		{why: "and then, who was silent is asked once more when the part of the day is over", now: "14:20",
			asked: slices.Concat(lapse(4), ask(AskOpen, "14:05", "emil", "fern")), again: "17:00", want: ReasonAskedOnce, able: 6},
		{why: "and at last give up", now: "17:45", asked: again(slices.Concat(lapse(4), ask(AskOpen, "14:05", "emil", "fern"))),
			want: ReasonAllAsked, able: 6},
		{why: "taken", now: "14:20", asked: slices.Concat(ask(AskTaken, "14:00", "ada"), ask(AskOpen, "14:00", "bram")), want: ReasonTaken, able: 6},
		{why: "nobody works that high", now: "14:00", needs: func(n *Needs) { n.HeightM = metresUp(9) }, want: ReasonNobodyAble},
		{why: "nobody at night, not even who could never", now: "22:00", needs: func(n *Needs) { n.HeightM = metresUp(9) }, want: ReasonNobodyAble},
		{why: "night: in the morning", now: "21:00", again: "31:00", want: ReasonQuietHours, able: 6},
		{why: "before the morning", now: "06:59", again: "07:00", want: ReasonQuietHours, able: 6},
		{why: "the night is no silence: what was asked at 20:58 has three minutes left", now: "20:58",
			ask: []string{"ada", "bram"}, again: "31:00", want: ReasonFirstRound, able: 6},
		{why: "all have another call's ask", now: "14:00",
			board: everybody(CatcherCard{OpenAsk: "other", LastAsk: clock(t, "13:53")}), again: "14:03", want: ReasonNobodyFree, able: 6},
		{why: "an older ask of another call does not count", now: "14:00",
			board: everybody(CatcherCard{OpenAsk: "other", LastAsk: clock(t, "13:50")}),
			ask:   []string{"ada", "bram", "chidi", "dora"}, again: "14:05", want: ReasonFirstRound, able: 6},
		{why: "nor one that was answered", now: "14:00",
			board: everybody(CatcherCard{LastAsk: clock(t, "13:59")}),
			ask:   []string{"ada", "bram", "chidi"}, again: "14:05", want: ReasonFirstRound, able: 6},
		{why: "all busy: nobody knows for how long", now: "14:00", board: everybody(CatcherCard{Busy: true}), again: "14:10", want: ReasonNobodyFree, able: 6},
		{why: "all away until the night: not before the morning", now: "14:00",
			board: everybody(CatcherCard{AwayUntil: clock(t, "23:00")}), again: "31:00", want: ReasonNobodyFree, able: 6},
	} {
		needs := branch()
		if test.needs != nil {
			test.needs(&needs)
		}
		plan := NextRound(needs, roster, test.board, test.asked, clock(t, test.now), DefaultDispatch())
		want := Plan{Reason: test.want, Able: test.able}
		switch test.again {
		case "":
		case "31:00": // seven o'clock of the next morning
			want.Again = clock(t, "07:00").AddDate(0, 0, 1)
		default:
			want.Again = clock(t, test.again)
		}
		var ids []string
		for _, p := range plan.Ask {
			ids = append(ids, p.Catcher)
		}
		if diff := cmp.Diff(test.ask, ids, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s: asked (-want +got):\n%s", test.why, diff)
		}
		if diff := cmp.Diff(want, plan, cmpopts.IgnoreFields(Plan{}, "Ask")); diff != "" {
			t.Errorf("%s: plan (-want +got):\n%s", test.why, diff)
		}
	}
}

// The night is no silence: who was asked at two minutes to nine has three minutes left in
// the morning, and the rounds go on from there.
func TestTheNightIsNoSilence(t *testing.T) {
	roster := []Catcher{north("ada", 2), north("bram", 7), north("chidi", 12), north("dora", 17), north("emil", 22)}
	evening := clock(t, "20:58").AddDate(0, 0, -1)
	asked := []Ask{{Catcher: "ada", At: evening, State: AskOpen, Before: 2}, {Catcher: "bram", At: evening, State: AskOpen, Before: 2}, {Catcher: "chidi", At: evening, State: AskOpen, Before: 2}}
	plan := NextRound(branch(), roster, Board{}, asked, clock(t, "07:02"), DefaultDispatch())
	if want := (Plan{Again: clock(t, "07:03"), Reason: ReasonWaiting, Able: 5}); !cmp.Equal(plan, want) {
		t.Errorf("at 07:02: %+v, want %+v", plan, want)
	}
	plan = NextRound(branch(), roster, Board{}, asked, clock(t, "07:03"), DefaultDispatch())
	if len(plan.Ask) == 0 || !plan.Again.Equal(clock(t, "07:08")) {
		t.Errorf("at 07:03: %+v, want some more and a look at 07:08", plan)
	}
}

func TestNextRoundKnowsTheWay(t *testing.T) {
	roster := []Catcher{north("ada", 15)}
	plan := NextRound(branch(), roster, Board{}, nil, clock(t, "14:00"), DefaultDispatch())
	want := []Pick{{Catcher: "ada", Km: 15, Minutes: 31}}
	if diff := cmp.Diff(want, way(plan.Ask), cmpopts.EquateApprox(0, 0.01)); diff != "" {
		t.Errorf("picks (-want +got):\n%s", diff)
	}
	needs := branch()
	needs.Place.PrecisionM = intake.InWordsOnly
	plan = NextRound(needs, roster, Board{}, nil, clock(t, "14:00"), DefaultDispatch())
	if diff := cmp.Diff([]Pick{{Catcher: "ada", Km: -1, Minutes: -1}}, way(plan.Ask)); diff != "" {
		t.Errorf("picks for a place in words (-want +got):\n%s", diff)
	}
}

// way leaves of picks what tells the way.
func way(picks []Pick) (out []Pick) {
	for _, k := range picks {
		out = append(out, Pick{Catcher: k.Catcher, Km: k.Km, Minutes: k.Minutes})
	}
	return out
}

func TestOfTwoAboutAsNearTheLessAskedIsAsked(t *testing.T) {
	now := clock(t, "14:00")
	board := Board{Catchers: map[string]CatcherCard{"ada": {Asks: []time.Time{now.AddDate(0, 0, -2), now.AddDate(0, 0, -1)}}}}
	d := DefaultDispatch()
	d.First = 1
	for _, test := range []struct {
		bram float64
		want string
		why  string
	}{
		{2.6, "bram", "a minute farther, but not asked this week"},
		{20, "ada", "that is no longer about as near"},
	} {
		plan := NextRound(branch(), []Catcher{north("ada", 2), north("bram", test.bram)}, board, nil, now, d)
		if plan.Ask[0].Catcher != test.want {
			t.Errorf("asked %s, want %s: %s", plan.Ask[0].Catcher, test.want, test.why)
		}
	}
}

// A drawn hotline: catchers of all kinds, cards of all kinds, a call, some already asked.
type hotline struct {
	needs  Needs
	roster []Catcher
	board  Board
	asked  []Ask
	now    time.Time
}

func drawHotline(t *rapid.T, zone *time.Location) hotline {
	h := hotline{needs: branch(), board: Board{Catchers: map[string]CatcherCard{}}}
	h.now = time.Date(2026, 5, 12, 0, rapid.IntRange(0, 7*24*60).Draw(t, "minute"), 0, 0, zone)
	h.needs.HeightM = metresUp(rapid.Float64Range(0, 8).Draw(t, "height"))
	h.needs.Cutout = rapid.IntRange(0, 5).Draw(t, "cutout") == 0
	states := []AskState{AskOpen, AskPassed, AskLapsed, AskUndelivered, AskDropped, AskStandby}
	for i := range rapid.IntRange(0, 25).Draw(t, "catchers") {
		c := north(fmt.Sprintf("c%02d", i), rapid.Float64Range(0, 40).Draw(t, "km"))
		c.MaxHeightM = rapid.Float64Range(0, 8).Draw(t, "max height")
		c.Hours = rapid.SampledFrom([]string{"", "", "Mo-Fr 17:00-21:00"}).Draw(t, "hours")
		if rapid.Bool().Draw(t, "unskilled") {
			c.Skills = nil
		}
		h.roster = append(h.roster, c)
		h.board.Catchers[c.ID] = CatcherCard{
			Busy:    rapid.IntRange(0, 4).Draw(t, "busy") == 0,
			OpenAsk: rapid.SampledFrom([]string{"", "", "other"}).Draw(t, "open ask"),
			LastAsk: h.now.Add(-time.Duration(rapid.IntRange(0, 20).Draw(t, "last ask")) * time.Minute),
		}
		if rapid.IntRange(0, 2).Draw(t, "asked") == 0 {
			ago := time.Duration(rapid.IntRange(0, 60).Draw(t, "ago")) * time.Minute
			h.asked = append(h.asked, Ask{Catcher: c.ID, At: h.now.Add(-ago), State: rapid.SampledFrom(states).Draw(t, "state")})
		}
	}
	return h
}

func TestNextRoundProperties(t *testing.T) {
	zone, d := newYork(t), DefaultDispatch()
	rapid.Check(t, func(t *rapid.T) {
		h := drawHotline(t, zone)
		plan := NextRound(h.needs, h.roster, h.board, h.asked, h.now, d)
		if len(plan.Ask) > d.First {
			t.Fatalf("asks %d at once", len(plan.Ask))
		}
		if len(plan.Ask) > 0 && Quiet(h.now, d.QuietFrom, d.QuietTo) {
			t.Fatal("asks at night")
		}
		if !plan.Again.IsZero() && (!plan.Again.After(h.now) || Quiet(plan.Again, d.QuietFrom, d.QuietTo)) {
			t.Fatalf("looks again at %v, now %v", plan.Again, h.now)
		}
		if plan.Again.IsZero() && len(plan.Ask) > 0 {
			t.Fatal("asks and never looks again")
		}
		picked := map[string]bool{}
		for _, p := range plan.Ask {
			again := func(a Ask) bool { return a.Catcher == p.Catcher && (!a.silent() || samePart(a.At, h.now)) }
			if picked[p.Catcher] || slices.ContainsFunc(h.asked, again) {
				t.Fatalf("%s is asked twice", p.Catcher)
			}
			picked[p.Catcher] = true
		}
		lowest := math.Inf(1)
		for _, k := range plan.Ask {
			lowest = min(lowest, k.Index)
			if k.Gain < k.Cost || k.P <= 0 || k.P > mostLikely {
				t.Fatalf("%s is asked with gain %v, cost %v, chance %v", k.Catcher, k.Gain, k.Cost, k.P)
			}
		}
		for _, c := range h.roster {
			if why, ok := Fit(c, h.board.Catchers[c.ID], h.needs, h.now); picked[c.ID] && !ok {
				t.Fatalf("%s is asked against %s", c.ID, why)
			}
		}
		for _, k := range survey(h.needs, h.roster, h.board, h.asked, h.now, d).free {
			if !picked[k.Catcher] && k.Index > lowest {
				t.Fatalf("%s is better than one who is asked", k.Catcher)
			}
		}
	})
}

func TestNextRoundDoesNotDependOnOrder(t *testing.T) {
	zone := newYork(t)
	rapid.Check(t, func(t *rapid.T) {
		h := drawHotline(t, zone)
		before := NextRound(h.needs, h.roster, h.board, h.asked, h.now, DefaultDispatch())
		after := NextRound(h.needs, rapid.Permutation(h.roster).Draw(t, "roster"), h.board,
			rapid.Permutation(h.asked).Draw(t, "asked"), h.now, DefaultDispatch())
		if diff := cmp.Diff(before, after); diff != "" {
			t.Fatalf("plan (-before +after):\n%s", diff)
		}
	})
}

// Playing the rounds of a call whom nobody answers asks everybody who can do it once, and
// ends.
func TestRoundsComeToAnEnd(t *testing.T) {
	zone := newYork(t)
	rapid.Check(t, func(t *rapid.T) {
		h := drawHotline(t, zone)
		h.asked, h.board = nil, Board{}
		var plan Plan
		for range 2000 {
			plan = NextRound(h.needs, h.roster, h.board, h.asked, h.now, DefaultDispatch())
			for _, p := range plan.Ask {
				before := slices.IndexFunc(h.asked, func(a Ask) bool { return a.Catcher == p.Catcher })
				if before >= 0 {
					h.asked[before].At, h.asked[before].Before = h.now, h.asked[before].Before+1
					continue
				}
				h.asked = append(h.asked, Ask{Catcher: p.Catcher, At: h.now, State: AskOpen})
			}
			if plan.Again.IsZero() {
				break
			}
			h.now = plan.Again
		}
		if !plan.Again.IsZero() || len(h.asked) != plan.Able {
			t.Fatalf("asked %d of %d, %s, again %v", len(h.asked), plan.Able, plan.Reason, plan.Again)
		}
	})
}

func TestDispatchValidateNamesEveryFault(t *testing.T) {
	if err := DefaultDispatch().Validate(); err != nil {
		t.Errorf("the default: %v", err)
	}
	err := Dispatch{}.Validate()
	want := "dispatch: first must be at least 1\ndispatch: next must be at least 1\ndispatch: every must be at least 1m\n" +
		"dispatch: give_up must be at least 1m"
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want\n%s", err, want)
	}
}

func BenchmarkNextRound400(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	var roster []Catcher
	for i := range 400 {
		c := north(fmt.Sprintf("c%03d", i), r.Float64()*40)
		if i%2 == 0 {
			c.Hours = "Mo-Fr 12:00-21:00; Sa-Su 08:00-20:00"
		}
		roster = append(roster, c)
	}
	now := clock(b, "14:00")
	for b.Loop() {
		NextRound(branch(), roster, Board{}, nil, now, DefaultDispatch())
	}
}
