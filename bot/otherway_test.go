package bot

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// TestOtherWay holds that what must arrive goes to the receiver's second address, with the
// words it had, that the answers from there count, and that a third failure goes to a steward.
func TestOtherWay(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Stewards = []string{"telegram:5550199"}
	second := notify.Address("sms:+16075550171")
	m.hear(t, Enrolled{Event: "ro:1", Catcher: notify.Catcher{ID: "ada", Name: "Ada", Address: "telegram:5550101", Also: second, Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	last := func(to notify.Address, class notify.Class) (found notify.Message) {
		for _, msg := range m.sent {
			if msg.To == to && msg.Class == class {
				found = msg
			}
		}
		return found
	}
	m.hear(t, Undelivered{Event: "ud:1", Message: last("telegram:5550101", notify.Offer), Reason: "unreachable"})
	if o := last(second, notify.Offer); !strings.Contains(o.Text, "TAKE") {
		t.Fatalf("the offer did not go to the second address, or does not say what to answer: %q", o.Text)
	}
	if o := m.calls(t)[0].offer("ada"); o.State != notify.AskOpen {
		t.Fatalf("the offer is %s", o.State)
	}
	if got := m.hear(t, Said{Event: "tw:2", From: second, Text: "TAKE"}); got != OutcomeWon {
		t.Fatalf("a take from the second address: %s", got)
	}
	claim := last("telegram:5550101", notify.Claim)
	if claim.Also != second {
		t.Fatalf("a claim carries %q as second address", claim.Also.Hint())
	}
	if got := m.hear(t, Undelivered{Event: "ud:2", Message: claim, Reason: "channel_down"}); got != OutcomeOtherWay {
		t.Fatalf("outcome %s", got)
	}
	copied := last(second, notify.Claim)
	if copied.Text != claim.Text || !reflect.DeepEqual(copied.Still, claim.Still) || copied.Also != "" {
		t.Errorf("went the other way as %+v", copied)
	}
	before := len(m.sent)
	m.hear(t, Undelivered{Event: "ud:3", Message: copied, Reason: "unreachable"})
	if last := m.sent[len(m.sent)-1]; len(m.sent) == before || last.To != "telegram:5550199" {
		t.Errorf("no steward heard that the second address failed too")
	}
	m.hear(t, Said{Event: "tw:3", From: second, Text: "STOP"})
	if c := m.calls(t)[0]; c.Holder == nil {
		t.Error("STOP from the second address ended the take")
	}
	if k := m.roster["ada"]; k.Also != "" || k.Address == "" {
		t.Errorf("after STOP from the second address the roster has %q and %q", k.Address.Hint(), k.Also.Hint())
	}
}

// TestSafetyByText holds that safety words which WhatsApp cannot bring go out as a text, and
// that this leaves no document of a number that never texted us.
func TestSafetyByText(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.hear(t, Said{Event: "tw:1", From: "whatsapp:+16075550144", Text: "i got stung and cant breathe"})
	first := m.sent[0]
	if first.Class != notify.Safety || first.Also != "sms:+16075550144" {
		t.Fatalf("first out is %+v", first)
	}
	documents := len(m.docs)
	m.hear(t, Undelivered{Event: "ud:1", Message: first, Reason: "outside_window"})
	again := m.sent[len(m.sent)-1]
	if again.To != "sms:+16075550144" || again.Text != first.Text || again.Class != notify.Safety {
		t.Fatalf("went out as %+v", again)
	}
	m.hear(t, Undelivered{Event: "ud:2", Message: again, Reason: "bad_number"})
	if len(m.docs) != documents {
		t.Errorf("%d documents, before %d", len(m.docs), documents)
	}
}
