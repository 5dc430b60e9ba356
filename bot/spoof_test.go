package bot

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

// A sender's number can be forged, and a reference is read over a shoulder. What either
// gains is held here, word by word: a word acts only for the one whose stored number it comes
// from, on a call that is theirs to act on; and whatever is answered goes to that number.

// spoofed are the words, each with the stages through which Ada has brought her call before,
// as she texts them.
var spoofed = []struct {
	word  string
	needs []string
}{
	{"TAKE", nil},
	{"PASS", nil},
	{"ETA 30", []string{"TAKE"}},
	{"THERE", []string{"TAKE"}},
	{"BOXED", []string{"TAKE", "THERE"}},
	{"TOO HIGH", []string{"TAKE", "THERE"}},
	{"UNSAFE", []string{"TAKE", "THERE"}},
	{"COLONY", []string{"TAKE", "THERE"}},
	{"NOT BEES", []string{"TAKE", "THERE"}},
	{"FLOWN", []string{"TAKE", "THERE"}},
	{"DROP", []string{"TAKE"}},
	{"RETRY", []string{"TAKE", "THERE", "BOXED"}},
	{"SOMEONE ELSE", []string{"TAKE", "THERE", "BOXED"}},
	{"TOMORROW", []string{"TAKE", "THERE", "BOXED"}},
	{"LIFTED", []string{"TAKE", "THERE", "BOXED"}},
	{"HIVED", []string{"TAKE", "THERE", "BOXED", "LIFTED"}},
}

const (
	adaAt    = notify.Address("telegram:5550201")
	bramAt   = notify.Address("telegram:5550202")
	cleoAt   = notify.Address("sms:+16075550193") // on the roster, asked for nothing here
	gwenAt   = notify.Address("sms:+16075550142")
	hugoAt   = notify.Address("sms:+16075550143")
	inesAt   = notify.Address("sms:+16075550144")
	nobodyAt = notify.Address("sms:+16075550177")
	nobodyTg = notify.Address("telegram:5550277")
	theDesk  = notify.Address("telegram:5550199")
)

// spoofing is a hotline with two calls that Ada and Bram were asked for, and one of Cleo's.
type spoofing struct {
	*model
	one, two, ended, foreign string // references
}

func newSpoofing(t *testing.T, needs []string, both bool) spoofing {
	t.Helper()
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.settings.Stewards = []string{string(theDesk)}
	enrol := func(id string, at notify.Address) {
		m.hear(t, Enrolled{Event: EventID("ro:" + id + string(at)), Catcher: notify.Catcher{
			ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: at, Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 9,
			Skills: []notify.Skill{notify.Ladder, notify.Suit}}})
	}
	s := spoofing{model: m}
	report := func(from notify.Address, place string) string {
		before := len(m.calls(t))
		m.says(t, from, "hanging cluster of bees on the fence, nobody stung, "+place+", I can reach it")
		calls := m.calls(t)
		if len(calls) != before+1 {
			t.Fatalf("the report at %s made no call", place)
		}
		for _, c := range calls {
			if c.Caller.Address == from && c.Ended.IsZero() {
				return c.Reference
			}
		}
		t.Fatal("no open call")
		return ""
	}
	enrol("cleo", cleoAt)
	s.foreign = report(inesAt, "77 Ferry St")
	m.says(t, cleoAt, "TAKE")
	m.says(t, cleoAt, "OUT")
	enrol("ada", adaAt)
	s.ended = report(hugoAt, "5 Quarry Rd")
	m.says(t, adaAt, "TAKE "+s.ended, "FLOWN "+s.ended)
	enrol("bram", bramAt)
	s.one = report(gwenAt, "14 Mill Ln")
	m.says(t, theDesk, "OFFER "+s.one+" ada", "OFFER "+s.one+" bram")
	for _, word := range needs {
		m.says(t, adaAt, word+" "+s.one)
	}
	if both {
		m.wait(t, 2*time.Minute)
		s.two = report("sms:+16075550145", "900 Ridge Rd")
		m.says(t, theDesk, "OFFER "+s.two+" ada", "OFFER "+s.two+" bram")
		for _, word := range needs {
			m.says(t, adaAt, word+" "+s.two)
		}
	}
	return s
}

// state is everything that a word could change of calls and catchers. What was said, to whom
// it was passed on and who was told is left out: anybody may talk.
func (s spoofing) state(t *testing.T, from notify.Address) string {
	t.Helper()
	var all strings.Builder
	for _, c := range s.calls(t) {
		if c.Reference != s.one && c.Reference != s.two && c.Reference != s.ended && c.Reference != s.foreign {
			continue // a stranger's text may begin a report of their own
		}
		c.Words, c.Story, c.Relayed = nil, nil, 0
		if c.Caller.Address == from { // their own answers are theirs to change
			c = Call{Reference: c.Reference, Stage: c.Stage, Ended: c.Ended, Offers: c.Offers, Holder: c.Holder, OnSite: c.OnSite, Epoch: c.Epoch, InBox: c.InBox}
		}
		all.WriteString(asJSON(t, c) + "\n")
	}
	for _, id := range []string{"ada", "bram", "cleo"} {
		all.Write(s.docs[Key{KindCatcher, id}].Body)
	}
	return all.String()
}

// unmoved hears a text of somebody who has no right to it: nothing changes, and nobody but
// the holder learns an address or a number.
func (s spoofing) unmoved(t *testing.T, why string, e Event) {
	t.Helper()
	was, before := s.state(t, sender(e)), len(s.sent)
	s.hear(t, e)
	if is := s.state(t, sender(e)); is != was {
		t.Errorf("%s: %s changed %s", why, asJSON(t, e), firstDifference(was, is))
	}
	for _, m := range s.sent[before:] {
		if m.To != sender(e) {
			continue
		}
		for _, secret := range []string{"14 Mill", "900 Ridge", "77 Ferry", "5 Quarry", "5550142", "5550144"} {
			if strings.Contains(m.Text, secret) && sender(e) != adaAt {
				t.Errorf("%s: %s was answered %q", why, asJSON(t, e), m.Text)
			}
		}
		if m.Pin != nil {
			t.Errorf("%s: %s was answered with a place on the map", why, asJSON(t, e))
		}
	}
}

// firstDifference shows where two texts part.
func firstDifference(was, is string) string {
	for i := range min(len(was), len(is)) {
		if was[i] != is[i] {
			return "…" + was[max(0, i-80):min(len(was), i+60)] + "… to …" + is[max(0, i-20):min(len(is), i+60)] + "…"
		}
	}
	return "in length"
}

func TestForgedWords(t *testing.T) {
	for _, row := range spoofed {
		t.Run(row.word, func(t *testing.T) {
			n := 0
			said := func(from notify.Address, text string) Said {
				n++
				return Said{Event: EventID(fmt.Sprint("tw:x", n)), From: from, Text: text}
			}
			// A wrong reference, somebody else's, an old one.
			s := newSpoofing(t, row.needs, false)
			for why, ref := range map[string]string{"a reference that is none": "9ZZ9", "somebody else's call": s.foreign, "a call that has ended": s.ended} {
				s.unmoved(t, why, said(adaAt, row.word+" "+ref))
			}
			// A stranger, the caller, another catcher, who know the reference.
			others := []notify.Address{nobodyAt, nobodyTg, gwenAt, cleoAt}
			if len(row.needs) > 0 {
				others = append(others, bramAt) // he was asked, she has it
			}
			for _, from := range others {
				s.unmoved(t, "a forged sender", said(from, row.word+" "+s.one))
				if from == nobodyAt || from == nobodyTg { // the others have a call of their own
					s.unmoved(t, "a forged sender without reference", said(from, row.word))
				}
				if from.Channel() == notify.Telegram {
					n++
					s.unmoved(t, "a button passed on", Tapped{Event: EventID(fmt.Sprint("tg:x", n)), From: from, Says: row.word + " " + s.one})
				}
			}
			// The right number, no reference, one call fits: it acts.
			was := s.state(t, adaAt)
			s.hear(t, said(adaAt, row.word))
			if s.state(t, adaAt) == was {
				t.Fatalf("%s from Ada changes nothing, so this row proves nothing", row.word)
			}
			// Several fit: they are listed, and only the choice acts, on the one chosen.
			s = newSpoofing(t, row.needs, true)
			s.unmoved(t, "several fit", said(adaAt, row.word))
			if list := s.sent[len(s.sent)-1]; list.To != adaAt || !strings.Contains(list.Text, s.one) || !strings.Contains(list.Text, s.two) {
				t.Errorf("several fit, and Ada was sent %q", list.Text)
			}
			was = s.state(t, adaAt)
			s.hear(t, said(adaAt, "2"))
			if is := s.state(t, adaAt); is == was {
				t.Error("her choice changes nothing")
			}
		})
	}
}

// TestForgedWordsAboutOneself holds the words of a catcher about themselves, and those of a
// steward: from anybody else's number they change nobody.
func TestForgedWordsAboutOneself(t *testing.T) {
	s := newSpoofing(t, []string{"TAKE"}, false)
	s.says(t, bramAt, "OUT") // else he, overtaken and so free, is asked for what a stranger reports
	words := []string{
		"OUT", "OUT 3d", "IN", "MINE", "LIFTED ALL", "DONE", "LATER", "SKIP", "SKIP ALL", "LEFT", "HOURS Mo-Fr 17:00-21:00", "REACH 80", "SHARE",
		"BOX old oak, 20 L, 5 m, 8 cm2", "BOX 1 caught", "JOIN abcdefghijklmnopqrstuv",
		"SAY " + s.one + " hello", "OFFER " + s.one + " bram", "CLOSE " + s.one, "NEW bees at 3 Oak St", "OPEN",
		"SPLIT " + s.one, "JOIN " + s.one + " " + s.foreign,
	}
	n := 0
	for _, from := range []notify.Address{nobodyAt, nobodyTg, gwenAt} {
		for _, word := range words {
			if from == gwenAt && word == "SHARE" {
				continue // her own number is hers to share with who comes to her
			}
			n++
			s.unmoved(t, "a forged sender", Said{Event: EventID(fmt.Sprint("tw:y", n)), From: from, Text: word})
		}
	}
	for _, word := range words[16:] { // a catcher is no steward
		n++
		s.unmoved(t, "a catcher", Said{Event: EventID(fmt.Sprint("tw:y", n)), From: bramAt, Text: word})
	}
	if got := s.says(t, theDesk, "SAY "+s.one+" hello"); len(got) == 0 {
		t.Error("a steward's word does nothing, so this test proves nothing")
	}
}

// TestForgedTies holds that only a steward says that two reports are one swarm.
func TestForgedTies(t *testing.T) {
	s := newSpoofing(t, nil, true)
	for n, from := range []notify.Address{nobodyAt, nobodyTg, gwenAt, adaAt} { // Cleo's words go to her own caller
		s.unmoved(t, "a forged sender", Said{Event: EventID(fmt.Sprint("tw:z", n)), From: from, Text: "JOIN " + s.two + " " + s.one})
	}
	was := s.state(t, theDesk)
	s.says(t, theDesk, "JOIN "+s.two+" "+s.one)
	if s.state(t, theDesk) == was {
		t.Error("a steward's JOIN does nothing, so this test proves nothing")
	}
}
