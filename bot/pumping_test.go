package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// TestOnlySomeCountriesAreAnswered holds that an SMS from elsewhere costs nothing, unless it
// tells of an emergency. The numbers are of ranges set
// aside for fiction (NANPA: 555-0100 to 555-0199; Ofcom: 07700 900xxx), but for the satellite one.
func TestOnlySomeCountriesAreAnswered(t *testing.T) {
	for _, row := range []struct {
		why       string
		from      notify.Address
		countries []string
		answered  bool
	}{
		{"the hotline's own country", "sms:+16075550142", nil, true},
		{"an island with the same country code and dear texts", "sms:+18765550142", nil, false},
		{"another country", "sms:+447700900123", nil, false},
		{"another country that the club wants", "sms:+447700900123", []string{"US", "GB"}, true},
		{"a premium number at home", "sms:+19005550142", nil, false},
		{"a chat costs nothing", "telegram:5550150", nil, true},
		{"a message over the internet costs the same from anywhere", "whatsapp:+447700900123", nil, true},
		{"a range that earns by being called", "sms:+882345678901", nil, false},
	} {
		m := crewed(t)
		m.settings.Limits.Countries = row.countries
		for _, text := range []string{"START", swarmOnFence, "HELP", "JOIN abcdefgh"} {
			if got := m.says(t, row.from, text); (len(got) > 0) != row.answered {
				t.Errorf("%s: %q was answered %q", row.why, text, got)
			}
		}
		before := len(m.sent)
		m.hear(t, Rang{Event: "tw:CA1", From: row.from})
		if got := m.got(row.from, before); !row.answered && len(got) > 0 {
			t.Errorf("%s: a phone call was answered %q", row.why, got)
		}
		if !row.answered && strings.Contains(m.kept(t), row.from.Number()) {
			t.Errorf("%s: the number is stored", row.why)
		}
		got := m.says(t, row.from, "i was stung and can't breathe")
		if len(got) == 0 || !strings.HasPrefix(got[0], "CALL 911 NOW") {
			t.Errorf("%s: an emergency got %q", row.why, got)
		}
		before = len(m.sent)
		m.says(t, row.from, "ok", "1", "thanks")
		m.wait(t, 2*time.Hour)
		if got := m.got(row.from, before); !row.answered && len(got) > 0 {
			t.Errorf("%s: after the emergency came %q", row.why, got)
		}
	}
}

// TestACrowdOfStrangers holds that one block of numbers brings only so many strangers a day,
// that the stewards hear of it once, and that nobody known and no emergency is held up.
func TestACrowdOfStrangers(t *testing.T) {
	m := crewed(t)
	m.settings.Limits.NewInBlock = 20
	m.says(t, walkers[0], swarmOnFence)
	answered, before := 0, len(m.sent)
	stranger := func(n int) notify.Address { return notify.Address(fmt.Sprintf("sms:+1608555%04d", 100+n)) }
	for n := range 95 {
		if got := m.says(t, stranger(n), []string{"START", "bees", "HELP", swarmOnFence}[n%4]); len(got) > 0 {
			answered++
		}
	}
	if answered != 20 {
		t.Errorf("of 95 strangers from one block %d were answered", answered)
	}
	if told := m.got("telegram:5550199", before); strings.Count(strings.Join(told, "\n"), "looks like fraud") != 1 {
		t.Errorf("the steward was told %q", told)
	}
	if docs := len(m.docs); docs > 60 {
		t.Errorf("%d documents of them are kept", docs)
	}
	if got := m.says(t, "whatsapp:+16085550198", swarmOnFence); len(got) > 0 {
		t.Errorf("over WhatsApp the block was answered %q", got)
	}
	if got := m.says(t, walkers[0], "GONE"); len(got) == 0 {
		t.Error("a caller whom we know is not answered any more")
	}
	if got := m.says(t, stranger(94), "she can't breathe"); len(got) == 0 || !strings.HasPrefix(got[0], "CALL 911 NOW") {
		t.Errorf("an emergency out of the crowd got %q", got)
	}
	if got := m.says(t, "sms:+16095550142", swarmOnFence); len(got) == 0 {
		t.Error("somebody of another block is not answered")
	}
	m.wait(t, 25*time.Hour)
	if got := m.says(t, stranger(99), swarmOnFence); len(got) == 0 {
		t.Error("a day later the block is still shut")
	}
}

// TestAlarmsAreBounded holds that one person's emergencies cost a bounded sum, also after STOP.
func TestAlarmsAreBounded(t *testing.T) {
	for _, first := range []string{swarmOnFence, "STOP"} {
		m := crewed(t)
		m.says(t, walkers[0], first)
		before := len(m.sent)
		for range 300 {
			m.says(t, walkers[0], "i can't breathe")
			m.now = m.now.Add(2 * time.Second)
		}
		if n := len(m.got(walkers[0], before)); n < 10 || n > 40 {
			t.Errorf("after %q: 300 emergencies in ten minutes got %d texts", first, n)
		}
		if others := len(m.sent) - before - len(m.got(walkers[0], before)); others > 40 {
			t.Errorf("after %q: %d texts to others", first, others)
		}
	}
}

// TestStopAndStart holds that turning texts off and on again costs a bounded sum.
func TestStopAndStart(t *testing.T) {
	m := crewed(t)
	for range 150 {
		m.says(t, walkers[0], "STOP", "START")
		m.now = m.now.Add(4 * time.Second)
	}
	if n := len(m.got(walkers[0], 0)); n > 12 {
		t.Errorf("150 times STOP and START got %d texts", n)
	}
}

// TestStewardsHearOfSpending holds that half, most and all of a day's money are told once.
func TestStewardsHearOfSpending(t *testing.T) {
	m := crewed(t)
	m.settings.Limits.SegmentsADay, m.settings.Limits.SafetyReserve = 1000, 100
	var marks []int
	for segments := 0; segments <= 1200; segments += 50 {
		e, ok := m.settings.SpentOn(m.now, segments)
		if !ok {
			continue
		}
		if before := len(m.sent); true {
			m.hear(t, e)
			if told := m.got("telegram:5550199", before); len(told) == 1 {
				marks = append(marks, segments)
			}
		}
	}
	if fmt.Sprint(marks) != "[500 800 900]" {
		t.Errorf("told at %v segments of 1000, 100 of them a reserve", marks)
	}
	if e, ok := m.settings.SpentOn(m.now.Add(24*time.Hour), 600); !ok || m.hear(t, e) != OutcomeNoted || len(m.sent) != 4 {
		t.Errorf("the next day told %d times in all", len(m.sent))
	}
}
