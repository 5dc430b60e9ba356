package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// memory is what a store held, for one that forgets what came after.
type memory struct {
	docs   map[Key]Document
	timers map[string]Timer
	sent   int
}

func (m *model) remembered() memory {
	s := memory{map[Key]Document{}, map[string]Timer{}, len(m.sent)}
	for k, d := range m.docs {
		s.docs[k] = d
	}
	for id, t := range m.timers {
		s.timers[id] = t
	}
	return s
}

// TestLostTakeIsRepaired plays a store that forgets a take of which its catcher was told.
func TestLostTakeIsRepaired(t *testing.T) {
	const ada, bram, steward notify.Address = "telegram:5550101", "telegram:5550102", "telegram:5550199"
	for _, test := range []struct {
		why     string
		after   func(t *testing.T, m *model) // what happened on the new server
		outcome Outcome
		holder  string
		ada     string // words that each of them hears
		bram    string
		steward string
	}{
		{"nothing was lost", nil, OutcomeNoted, "ada", "", "", ""},
		{"nobody else took it", func(*testing.T, *model) {}, OutcomeRestored, "ada", "It is yours", "need to go", ""},
		{"somebody else took it", func(t *testing.T, m *model) {
			m.hear(t, Tapped{Event: "tg:b", From: bram, Says: "TAKE"})
		}, OutcomeConflict, "ada", "It is yours", "promised to two", "promised to two"},
		{"somebody else took it and is on the way", func(t *testing.T, m *model) {
			m.hear(t, Tapped{Event: "tg:b", From: bram, Says: "TAKE"})
			m.hear(t, Said{Event: "tg:c", From: bram, Text: "ETA 20"})
		}, OutcomeYielded, "bram", "promised to two", "", "promised to two"},
		{"the call was ended", func(t *testing.T, m *model) {
			m.hear(t, Said{Event: "tw:9", From: walkers[0], Text: "GONE"})
		}, OutcomeYielded, "", "is over", "", ""},
		{"the whole call was lost", func(_ *testing.T, m *model) {
			for k := range m.docs {
				if k.Kind == KindCall {
					delete(m.docs, k)
				}
			}
		}, OutcomeUnknown, "", "lost our notes", "", "lost"},
	} {
		t.Run(test.why, func(t *testing.T) {
			m, told, before := toldOfATake(t, ada, bram, steward)
			if test.after != nil {
				m.docs, m.timers = before.docs, before.timers
				m.now = m.now.Add(20 * time.Second)
				test.after(t, m)
			}
			from := len(m.sent)
			if got := m.hear(t, told); got != test.outcome {
				t.Fatalf("outcome %q, want %q", got, test.outcome)
			}
			if calls := m.calls(t); len(calls) > 0 {
				if holder := holderOf(calls[0]); holder != test.holder {
					t.Errorf("held by %q, want %q", holder, test.holder)
				}
			}
			for _, who := range []struct {
				a     notify.Address
				words string
			}{{ada, test.ada}, {bram, test.bram}, {steward, test.steward}} {
				heard := ""
				for _, msg := range m.sent[from:] {
					if msg.To == who.a {
						heard += msg.Text + "\n"
					}
				}
				if who.words != "" && !strings.Contains(heard, who.words) || who.words == "" && heard != "" {
					t.Errorf("%s hears %q, want %q in it", who.a.Hint(), heard, who.words)
				}
			}
			m.wait(t, 30*time.Hour)
		})
	}
}

// toldOfATake plays a take of Ada's up to the text that told her, and returns what her program
// remembers of it and what the store held before.
func toldOfATake(t *testing.T, ada, bram, steward notify.Address) (*model, Told, memory) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Stewards = []string{string(steward)}
	for i, a := range []notify.Address{ada, bram} {
		name := []string{"Ada", "Bram"}[i]
		m.hear(t, Enrolled{Event: EventID("ro:" + name), Catcher: notify.Catcher{ID: strings.ToLower(name), Name: name, Address: a,
			Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	before := m.remembered()
	m.hear(t, Tapped{Event: "tg:a", From: ada, Says: "TAKE"})
	var p promises
	for _, msg := range m.sent[before.sent:] {
		p.remember(notify.Done{Lease: notify.Lease{Outgoing: notify.Outgoing{Message: msg}}, Result: notify.Result{End: notify.Accepted}}, m.now)
	}
	if len(p.all()) != 1 {
		t.Fatalf("remembered %v", p.all())
	}
	told := p.all()[0]
	told.Event = "fo:x"
	return m, told, before
}

// TestTwoToldByOneProgram plays a store that forgets a take, whereupon the same program tells a
// second catcher that it is theirs: it goes back to the first, and does not change hands again.
func TestTwoToldByOneProgram(t *testing.T) {
	const ada, bram, steward notify.Address = "telegram:5550101", "telegram:5550102", "telegram:5550199"
	m, first, before := toldOfATake(t, ada, bram, steward)
	var p promises
	tells := func(from int) {
		for _, msg := range m.sent[from:] {
			p.remember(notify.Done{Lease: notify.Lease{Outgoing: notify.Outgoing{Message: msg}}, Result: notify.Result{End: notify.Accepted}}, m.now)
		}
	}
	tells(0)
	m.docs, m.timers = before.docs, before.timers
	m.now = m.now.Add(20 * time.Second)
	from := len(m.sent)
	m.hear(t, Tapped{Event: "tg:b", From: bram, Says: "TAKE"})
	tells(from)
	for round := range 3 { // a second and a third loss, of nothing
		m.now = m.now.Add(time.Minute)
		want := []Outcome{OutcomeNoted, OutcomeNoted}
		if round == 0 {
			want[0] = OutcomeConflict
		}
		all := p.all()
		if len(all) != 2 || all[0].Catcher != "ada" || !all[0].At.Equal(first.At) {
			t.Fatalf("round %d: remembered %+v, want Ada's of %v first", round, all, first.At)
		}
		for i, told := range all {
			from := len(m.sent)
			told.Event = EventID(fmt.Sprintf("fo:%d:%d", round, i))
			if got := m.hear(t, told); got != want[i] {
				t.Errorf("round %d, %s: %q, want %q", round, told.Catcher, got, want[i])
			}
			tells(from)
		}
		if holder := holderOf(m.calls(t)[0]); holder != "ada" {
			t.Errorf("round %d: held by %q, want ada", round, holder)
		}
	}
	m.wait(t, 30*time.Hour)
}

// TestLostTakeComesBackByItself plays a store that forgets a take together with every program
// that told of it: the next word of the catcher, who believes that it is theirs, makes it so, if
// nobody else has it by then; else they hear.
func TestLostTakeComesBackByItself(t *testing.T) {
	const ada, bram, steward notify.Address = "telegram:5550101", "telegram:5550102", "telegram:5550199"
	for _, says := range []string{"ETA %s 30", "THERE %s"} {
		for _, meanwhile := range []bool{false, true} {
			m, told, before := toldOfATake(t, ada, bram, steward)
			m.docs, m.timers = before.docs, before.timers
			m.now = m.now.Add(2 * time.Minute)
			want, hears, outcome := "ada", "Ada", OutcomeWon
			if meanwhile {
				m.hear(t, Tapped{Event: "tg:b", From: bram, Says: "TAKE"})
				want, hears, outcome = "bram", "", OutcomeStale
			}
			from := len(m.sent)
			if got := m.hear(t, Tapped{Event: "tg:c", From: ada, Says: fmt.Sprintf(says, told.Reference)}); got != outcome {
				t.Errorf("%s, taken meanwhile %v: %q, want %q", says, meanwhile, got, outcome)
			}
			if holder := holderOf(m.calls(t)[0]); holder != want {
				t.Errorf("%s, taken meanwhile %v: held by %q, want %q", says, meanwhile, holder, want)
			}
			caller, catcher := "", ""
			for _, msg := range m.sent[from:] {
				switch msg.To {
				case walkers[0]:
					caller += msg.Text
				case ada:
					catcher += msg.Text
				}
			}
			if !strings.Contains(caller, hears) || catcher == "" {
				t.Errorf("%s, taken meanwhile %v: the caller reads %q, Ada %q", says, meanwhile, caller, catcher)
			}
			m.wait(t, 30*time.Hour)
		}
	}
}

func holderOf(c Call) string {
	if c.Holder == nil {
		return ""
	}
	return c.Holder.Catcher
}
