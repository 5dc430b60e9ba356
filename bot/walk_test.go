package bot

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
	"skepline/notify"
)

// walkers are the people of a random walk: callers, catchers on both channels, a steward
// and somebody who is two of these at once.
var walkers = []notify.Address{
	"sms:+16075550142", "sms:+16075550143", "whatsapp:+16075550144", "telegram:5550145",
	"telegram:5550101", "telegram:5550102", "sms:+16075550123", "telegram:5550199",
}

// saidAtRandom are things that people text: answers, reports, commands in and out of place.
var saidAtRandom = []string{
	"there is a ball of bees on my fence", "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it", "1", "2", "3", "4", "5", "7", "9",
	"14 Mill Ln", "grey paper nest", "bees going in and out of a hole in the wall", "behind the school", "8 ft", "not sure", "BACK", "AGAIN", "MENU", "GONE",
	"thanks", "ok", "STOP", "START", "HELP", "he cannot breathe", "TAKE", "TAKE 60", "take in 3 hours", "NEXT", "PASS", "ETA 30", "30", "THERE", "BOXED", "LIFTED", "LIFTED ALL", "HIVED", "FLOWN", "NOT BEES",
	"TOO HIGH", "too high 20 ft", "UNSAFE", "COLONY", "RETRY", "TOMORROW", "tomorrow 18:00", "SOMEONE ELSE", "DONE", "LATER 2h", "SKIP", "SKIP ALL", "LEFT",
	"HOURS Mo-Fr 17:00-21:00", "HOURS always", "REACH 15", "SHARE", "BOX", "BOX old oak, 40 L, 3 m", "BOX 1 caught", "BOX 1 checked", "BOX 1 moving", "BOX 1 remove",
	"KIT ladder 12 ft, nuc", "SIZE large", "SIZE 3 lb", "FRAMES", "NO FRAMES", "SEASON", "share my number", "DELETE",
	"she is here", "I'm here at the gate", "NOT BEES wasps",
	"DROP", "OUT", "OUT 3d", "IN", "MINE", "OPEN", "NEW", "yes", "no", "side gate, big dog", "qwerty asdf", "", "🐝", "ES", "English", "Gwen", "hay un enjambre en mi casa",
	"212 Maple St", "Dunmere", "3 Harbor Street, Saltmarsh", "behind the red barn", "OTHER", "hanging ball of bees on a fence, nobody stung, 16 Mill Ln, 5 ft up",
}

// TestRandomWalk lets people text, tap and fall silent at random and holds after every event
// what must always hold.
func TestRandomWalk(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := newModel(t, time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 23).Draw(rt, "hour"))*time.Hour))
		m.settings.Stewards = []string{"telegram:5550199"}
		if rapid.Bool().Draw(rt, "maps") {
			m.settings.Places.Nominatim = "https://maps.example.org"
		}
		for i, id := range []string{"ada", "bram", "chidi"} {
			m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{
				ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: walkers[4+i], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5,
				Skills: []notify.Skill{notify.Ladder}, JobsADay: 3,
			}})
		}
		for n := range rapid.IntRange(1, 60).Draw(rt, "steps") {
			before := len(m.sent)
			m.errand(t, rt)
			m.step(t, rt, n)
			m.check(t, rt, m.sent[before:])
		}
	})
}

// step is one thing that somebody does.
func (m *model) step(t *testing.T, rt *rapid.T, n int) {
	who := rapid.SampledFrom(walkers).Draw(rt, "who")
	id := EventID(fmt.Sprintf("tw:%d", n))
	switch rapid.IntRange(0, 9).Draw(rt, "act") {
	case 0:
		m.wait(t, time.Duration(rapid.SampledFrom([]int{1, 5, 20, 60, 300, 600, 1440, 7 * 1440}).Draw(rt, "minutes"))*time.Minute)
		m.hear(t, Morning{Day: m.now.Format(time.DateOnly)})
	case 1, 2:
		if says, ok := m.aButton(rt, who); ok {
			m.hear(t, Tapped{Event: id, From: who, Says: says})
		}
	case 3:
		m.hear(t, Said{Event: id, From: who, Pin: &Point{Lat: 42.446, Lon: -76.49}})
	case 4:
		m.hear(t, Said{Event: id, From: who, Photos: []string{"tg:photo"}})
	case 5:
		said := rapid.SampledFrom([]Event{
			Rang{Event: id, From: who}, Blocked{Event: id, From: who}, Blocked{Event: id, From: who, Open: true}, Said{Event: id, From: who, Other: "voice"},
		}).Draw(rt, "event")
		m.hear(t, said)
	case 6:
		if len(m.sent) > 0 {
			msg := rapid.SampledFrom(m.sent).Draw(rt, "lost")
			m.hear(t, Undelivered{Event: id, Message: msg, Reason: rapid.SampledFrom([]string{"blocked", "unreachable", "gave_up"}).Draw(rt, "why")})
		}
	default:
		m.hear(t, Said{Event: id, From: who, Text: rapid.SampledFrom(saidAtRandom).Draw(rt, "text")})
	}
}

// errand answers the oldest look-up, or lets it lie.
func (m *model) errand(t *testing.T, rt *rapid.T) {
	if len(m.errands) == 0 || rapid.Bool().Draw(rt, "later") {
		return
	}
	e := m.errands[0]
	m.errands = m.errands[1:]
	at := func(lat float64) intake.Spot {
		return intake.Spot{Name: "Somewhere", Place: intake.Place{Lat: lat, Lon: -76.5, Text: e.Words, PrecisionM: 50}}
	}
	found := rapid.SampledFrom([][]intake.Spot{nil, {at(42.44)}, {at(42.44), at(42.5)}, {at(45)}}).Draw(rt, "found")
	m.hear(t, Returned{Errand: e, Spots: found})
}

// aButton picks one of the buttons on who's screen.
func (m *model) aButton(rt *rapid.T, who notify.Address) (string, bool) {
	var says []string
	for _, msg := range m.sent {
		for _, row := range msg.Buttons {
			for _, b := range row {
				if msg.To == who {
					says = append(says, b.Says)
				}
			}
		}
	}
	if len(says) == 0 {
		return "", false
	}
	return rapid.SampledFrom(says).Draw(rt, "button"), true
}

// check holds the promises.
func (m *model) check(t *testing.T, rt *rapid.T, fresh []notify.Message) {
	open := map[string]Call{}
	for _, c := range m.calls(t) {
		if !c.Ended.IsZero() {
			for _, timer := range c.Timers {
				if !timer.At.IsZero() && timer.Purpose != scrubPurpose {
					rt.Fatalf("%s ended %s and still has the timer %s", c.Reference, c.Stage, timer.Purpose)
				}
			}
			continue
		}
		open[c.ID] = c
		if c.next().IsZero() {
			rt.Fatalf("%s is %s (held %q) and has no next step; story %v", c.Reference, c.Stage, c.Held, c.Story)
		}
		if taken := (c.Stage == Taken || c.Stage == There || c.Stage == Boxed || c.Stage == Lifted); taken != (c.Holder != nil) {
			rt.Fatalf("%s is %s and its holder is %v", c.Reference, c.Stage, c.Holder)
		}
	}
	m.checkFallbacks(t, rt, open)
	for _, msg := range fresh {
		m.checkMessage(t, rt, msg, open)
	}
}

// checkFallbacks holds that a yes that is kept is the only one of its call, that nobody holds
// the call meanwhile, that an end of the wait is set, and that both sides know of it.
func (m *model) checkFallbacks(t *testing.T, rt *rapid.T, open map[string]Call) {
	kept := map[string]string{} // call to catcher
	for _, c := range open {
		n := 0
		for _, o := range c.Offers {
			if o.State == notify.AskFallback {
				kept[c.ID] = o.Catcher
				n++
			}
		}
		waits := !c.timer("fallback").At.IsZero()
		if n > 1 || (n == 1) != waits || n == 1 && (c.Stage != Looking || c.Holder != nil) {
			rt.Fatalf("%s is %s with %d fallbacks, an end of the wait: %v, story %v", c.Reference, c.Stage, n, waits, c.Story)
		}
	}
	for key, doc := range m.docs {
		if key.Kind != KindCatcher {
			continue
		}
		var k Catcher
		decode(t, doc.Body, &k)
		for _, id := range k.Kept {
			if kept[id] != k.ID {
				rt.Fatalf("%s is kept for %s, whose fallback is %q", k.ID, id, kept[id])
			}
			delete(kept, id)
		}
	}
	if len(kept) > 0 {
		rt.Fatalf("fallbacks that do not know of it: %v", kept)
	}
}

func (m *model) checkMessage(t *testing.T, rt *rapid.T, msg notify.Message, open map[string]Call) {
	if strings.Contains(msg.Text, "[") || strings.Contains(msg.Text, "<no value>") {
		rt.Fatalf("a text lacks words: %q", msg.Text)
	}
	if msg.Text == "" && msg.Pin == nil {
		rt.Fatalf("an empty message to %s", msg.To)
	}
	for _, row := range msg.Buttons {
		for _, b := range row {
			if len(b.Says) > 64 || b.Label == "" || strings.HasPrefix(b.Label, "[") {
				rt.Fatalf("button %+v", b)
			}
		}
	}
	if strings.Contains(msg.Text, "14 Mill") && !m.mayReadAddress(msg) {
		rt.Fatalf("the address went to %s, who does not hold the call: %q", msg.To, msg.Text)
	}
	if n := notify.Segments(msg.Text); msg.To.Channel() == notify.SMS && n > 3 {
		rt.Fatalf("a text of %d segments: %q", n, msg.Text)
	}
}

// mayReadAddress reports whether a message may name the house: to its caller, its holder,
// or a steward.
func (m *model) mayReadAddress(msg notify.Message) bool {
	if m.settings.IsSteward(msg.To) || msg.Class == notify.Relay {
		return true
	}
	for _, d := range m.docs {
		if d.Key.Kind != KindCall {
			continue
		}
		var c Call
		if err := json.Unmarshal(d.Body, &c); err != nil {
			return false
		}
		if c.Caller.Address == msg.To || c.Holder != nil && c.Holder.Party.Address == msg.To {
			return true
		}
	}
	return false
}

// TestEmergencyComesFirst says words of a severe reaction at every point of a call and wants
// the emergency text, first of all that goes to that person.
func TestEmergencyComesFirst(t *testing.T) {
	steps := []string{"hanging cluster of bees on the fence", "1", "14 Mill Ln", "1", "2", "3", "thanks", "GONE", "STOP"}
	for n := range len(steps) + 1 {
		m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
		for i, text := range steps[:n] {
			m.hear(t, Said{Event: EventID(fmt.Sprintf("tw:%d", i)), From: walkers[0], Text: text})
		}
		before := len(m.sent)
		m.hear(t, Said{Event: "tw:emergency", From: walkers[0], Text: "my throat is swelling and i cant breathe"})
		var first *notify.Message
		for i := range m.sent[before:] {
			if msg := &m.sent[before+i]; msg.To == walkers[0] {
				first = msg
				break
			}
		}
		if first == nil || first.Class != notify.Safety || !strings.HasPrefix(first.Text, "CALL 911 NOW") {
			t.Errorf("after %q the first text is %v", steps[:n], first)
		}
	}
}

// TestRepeatedEventIsHeardOnce holds that a second arrival changes nothing and gets the
// outcome of the first, whatever happened in between.
func TestRepeatedEventIsHeardOnce(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.hear(t, Enrolled{Event: "ro:1", Catcher: notify.Catcher{ID: "ada", Name: "Ada", Address: walkers[4], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it"})
	if got := m.hear(t, Said{Event: "tg:1", From: walkers[4], Text: "TAKE"}); got != OutcomeWon {
		t.Fatalf("the first take is %q", got)
	}
	m.hear(t, Said{Event: "tg:2", From: walkers[4], Text: "DROP"})
	before := len(m.sent)
	if got := m.hear(t, Said{Event: "tg:1", From: walkers[4], Text: "TAKE"}); got != OutcomeWon || len(m.sent) != before {
		t.Errorf("the same take again is %q with %d more messages", got, len(m.sent)-before)
	}
}

// TestFloodIsAnsweredAFewTimes holds the cap on answers that move nothing: six in ten
// minutes, thirty a day, and never on safety.
func TestFloodIsAnsweredAFewTimes(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	for n := range 200 {
		m.hear(t, Said{Event: EventID(fmt.Sprintf("tw:%d", n)), From: walkers[0], Text: "MENU"})
	}
	if len(m.sent) != m.settings.Limits.TextsIn10Minutes+1 { // and one that says so
		t.Errorf("200 texts in a minute got %d answers", len(m.sent))
	}
	m.hear(t, Said{Event: "tw:e", From: walkers[0], Text: "i cant breathe, got stung"})
	if last := m.sent[len(m.sent)-1]; last.Class != notify.Safety {
		t.Errorf("an emergency in a flood got %q", last.Text)
	}
}

// TestMovesGoForward holds the table of stages: nothing leads back but a drop and a
// correction.
func TestMovesGoForward(t *testing.T) {
	order := []Stage{Asking, Looking, Taken, There, Boxed, Lifted, Hived}
	rank := map[Stage]int{}
	for i, s := range order {
		rank[s] = i
	}
	for from, next := range moves {
		for _, to := range next {
			r, ok := rank[to]
			back := ok && r < rank[from] && from.Open()
			if back && to != Looking {
				t.Errorf("%s leads back to %s", from, to)
			}
		}
	}
	if Lifted.MayMove(Flown) {
		t.Error("a box on its way home cannot fly")
	}
	if !There.MayMove(Lifted) || !There.MayMove(Hived) {
		t.Error("moves may skip")
	}
}
