package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/notify"
)

// fallbackWords are what ends, moves or renews a yes that is kept.
var fallbackWords = []string{
	"TAKE", "TAKE 60", "take in 2 hours", "take in 3 hours", "TAKE 30", "NEXT", "PASS", "DROP", "OUT", "IN", "STOP", "START", "ETA 90", "30", "THERE", "BOXED", "HIVED", "MINE", "1", "2",
}

// TestFallbackWalk lets three catchers answer one report at random, with its caller and a
// steward in between, and holds after every event what must hold of a yes that is kept. The
// walk of everything seldom gets here.
func TestFallbackWalk(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC)) // five past two in the hotline's zone
		m.settings.Stewards = []string{"telegram:5550199"}
		m.threeCatchers(t, rapid.IntRange(1, 3).Draw(rt, "jobs"))
		m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
		ref := m.calls(t)[0].Reference
		if rapid.Bool().Draw(rt, "two swarms") {
			m.wait(t, 11*time.Minute)
			m.hear(t, Said{Event: "tw:report2", From: walkers[1], Text: reportAt(42.476, -76.52)})
		}
		for n := range rapid.IntRange(1, 20).Draw(rt, "steps") {
			before := len(m.sent)
			id := EventID(fmt.Sprintf("tw:%d", n))
			switch rapid.IntRange(0, 7).Draw(rt, "act") {
			case 0:
				m.wait(t, time.Duration(rapid.SampledFrom([]int{1, 5, 21}).Draw(rt, "minutes"))*time.Minute)
			case 1:
				says := rapid.SampledFrom([]string{"OFFER " + ref + " bram", "OFFER " + ref, "CLOSE " + ref, "OPEN"}).Draw(rt, "steward")
				m.hear(t, Said{Event: id, From: walkers[7], Text: says})
			case 2:
				m.hear(t, Said{Event: id, From: walkers[0], Text: rapid.SampledFrom([]string{"GONE", "1", "2", "is anybody coming", "STOP"}).Draw(rt, "caller")})
			default:
				who := rapid.SampledFrom(walkers[4:7]).Draw(rt, "who")
				m.hear(t, Said{Event: id, From: who, Text: rapid.SampledFrom(fallbackWords).Draw(rt, "text")})
			}
			m.check(t, rt, m.sent[before:])
		}
	})
}

func (m *model) threeCatchers(t *testing.T, jobs int) {
	t.Helper()
	for i, id := range []string{"ada", "bram", "chidi"} {
		m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{
			ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: walkers[4+i], Lat: 42.45, Lon: -76.48 + 0.02*float64(i), ReachKm: 30, MaxHeightM: 5,
			Skills: []notify.Skill{notify.Ladder}, JobsADay: jobs,
		}})
	}
}

// TestFallbackTellsNoAddress holds that whoever is only the fallback reads no address, and is
// told by the hour that they were promised.
func TestFallbackTellsNoAddress(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
	if got := m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE 60"}); got != OutcomeKept {
		t.Fatalf("a yes for in an hour is %q", got)
	}
	until := m.calls(t)[0].kept().Until
	read := func() (yours bool) {
		for _, msg := range m.sent {
			yours = yours || msg.To == walkers[4] && strings.Contains(msg.Text, "14 Mill Ln")
		}
		return yours
	}
	m.wait(t, until.Sub(m.now)-time.Second)
	if c := m.calls(t)[0]; read() || c.Holder != nil {
		t.Errorf("before %v it is held by %v and the address is out: %v", until, c.Holder, read())
	}
	m.wait(t, time.Second)
	c := m.calls(t)[0]
	if !read() || !c.heldBy("ada") || c.Holder.ETA.Before(until.Add(30*time.Minute)) {
		t.Errorf("at %v it is held by %+v and the address is out: %v", until, c.Holder, read())
	}
}

// TestFallbackIsReplacedAtOnce holds that the place of a late yes among those asked is filled
// at once, and that the fallback hears of it all the same.
func TestFallbackIsReplacedAtOnce(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Dispatch.First = 4 // as many as a list that was read has room for: the next ask moves it
	m.threeCatchers(t, 3)
	for i, id := range []string{"dora", "emil", "fern"} {
		m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{
			ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: notify.Address(fmt.Sprintf("sms:+1607555013%d", i)), Lat: 42.47, Lon: -76.4,
			ReachKm: 30, MaxHeightM: 5, JobsADay: 3,
		}})
	}
	m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
	asked, sent := len(m.calls(t)[0].Offers), len(m.sent)
	m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE 60"})
	told := map[notify.Address]string{}
	for _, msg := range m.sent[sent:] {
		told[msg.To] += msg.Text
	}
	if c := m.calls(t)[0]; len(c.Offers) <= asked {
		t.Errorf("%d were asked before a late yes, %d after it", asked, len(c.Offers))
	}
	if !strings.Contains(told[walkers[4]], "our fallback until") || !strings.Contains(told[walkers[0]], "can come about") {
		t.Errorf("the fallback reads %q, the caller %q", told[walkers[4]], told[walkers[0]])
	}
}

// TestLateYesInTheEveningIsNoFallback holds that where bees will not fly before the start,
// there is nothing to wait for.
func TestLateYesInTheEveningIsNoFallback(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 22, 35, 0, 0, time.UTC)) // 18:35
	m.threeCatchers(t, 3)
	m.hear(t, Said{Event: "tw:report", From: walkers[0], Text: "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"})
	if got := m.hear(t, Said{Event: "tw:1", From: walkers[4], Text: "TAKE 60"}); got != OutcomeWon {
		t.Errorf("a yes for half past seven is %q", got)
	}
}
