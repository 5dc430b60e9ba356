package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

const swarmOnFence = "hanging cluster of bees on the fence, nobody stung, 14 Mill Ln, I can reach it"

// kept returns everything the model stores, as text.
func (m *model) kept(t *testing.T) string {
	t.Helper()
	var all strings.Builder
	for key, d := range m.docs {
		all.WriteString(key.Kind + " " + key.ID + " " + string(d.Body) + "\n")
	}
	all.WriteString(asJSON(t, m.finds) + asJSON(t, m.board) + asJSON(t, m.roster) + asJSON(t, m.timers))
	return all.String()
}

// without fails the test when something of the caller at walkers[0] is stored.
func (m *model) without(t *testing.T, why string, words ...string) {
	t.Helper()
	left := m.kept(t)
	for _, w := range append(words, walkers[0].Number()) {
		if strings.Contains(left, w) {
			t.Errorf("%s: %q is still stored", why, w)
		}
	}
}

// TestStopKeepsNoNumber holds that of somebody who opted out, and whom nothing binds to us,
// only that is kept; and that START undoes it.
func TestStopKeepsNoNumber(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], "español")
	m.says(t, walkers[0], "STOP")
	m.without(t, "after STOP")
	if got := m.says(t, walkers[0], swarmOnFence); len(got) != 0 {
		t.Errorf("an opted-out person was answered %q", got)
	}
	m.without(t, "after a text that is not answered")
	m.wait(t, 40*24*time.Hour)
	id := PersonID(testSecret, walkers[0])
	if got, want := string(m.docs[Key{KindPerson, id}].Body), `{"schema":1,"id":"`+id+`","address":"","language":"","stopped":true}`; got != want {
		t.Errorf("kept for good is %s, want %s", got, want)
	}
	if len(m.timers) != 0 {
		for id := range m.timers {
			if strings.HasPrefix(id, personTimer) {
				t.Errorf("the timer %s is left", id)
			}
		}
	}
	m.says(t, walkers[0], "START")
	if got := m.says(t, walkers[0], swarmOnFence); len(got) == 0 {
		t.Error("after START nothing is answered")
	}
}

// TestEraseAfterStop holds that DELETE works for somebody who opted out, without a word.
func TestEraseAfterStop(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], swarmOnFence)
	m.says(t, walkers[0], "STOP") // which ends the call
	if !strings.Contains(m.kept(t), "Mill Ln") {
		t.Fatal("the place was never stored, so this test proves nothing")
	}
	if got := m.says(t, walkers[0], "DELETE"); len(got) != 0 {
		t.Errorf("an opted-out person was answered %q", got)
	}
	m.without(t, "after STOP and DELETE", "Mill Ln")

	m = crewed(t)
	m.says(t, walkers[0], swarmOnFence)
	m.says(t, walkers[4], "TAKE")
	m.says(t, walkers[0], "STOP")
	if got := m.says(t, walkers[0], "borrar"); len(got) != 0 {
		t.Errorf("an opted-out person was answered %q", got)
	}
	m.says(t, walkers[4], "FLOWN")
	m.wait(t, 2*time.Minute)
	m.without(t, "once the catcher is done", "Mill Ln")
}

// TestNobodyIsKeptForAsking holds that who only asked what this is is forgotten on a clock.
func TestNobodyIsKeptForAsking(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], "HELP")
	if !strings.Contains(m.kept(t), walkers[0].Number()) {
		t.Fatal("nothing was stored, so this test proves nothing")
	}
	m.wait(t, 29*24*time.Hour)
	m.says(t, walkers[0], "HELP")
	m.wait(t, 2*24*time.Hour)
	m.without(t, "after thirty days")
	// A report in between keeps them until it is scrubbed.
	m.says(t, walkers[0], "HELP")
	m.wait(t, 29*24*time.Hour)
	m.says(t, walkers[0], swarmOnFence)
	m.wait(t, 2*24*time.Hour)
	if !strings.Contains(m.kept(t), walkers[0].Number()) {
		t.Error("a caller was forgotten before their call")
	}
	m.wait(t, 40*24*time.Hour)
	m.without(t, "after the call was scrubbed", "Mill Ln")
}

// TestNothingBringsBackTheErased lets everything that can come late come late.
func TestNothingBringsBackTheErased(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], swarmOnFence)
	call, link := m.calls(t)[0], ""
	for name := range m.finds {
		if hash, ok := strings.CutPrefix(name, "tok:"); ok {
			link = hash
		}
	}
	var texts []notify.Message
	for _, msg := range m.sent {
		if msg.To == walkers[0] {
			texts = append(texts, msg)
		}
	}
	if m.says(t, walkers[0], "DELETE", "DELETE"); len(texts) == 0 {
		t.Fatal("no text of theirs can come late")
	}
	m.without(t, "after DELETE", "Mill Ln")
	late := []Event{
		Kicked{Event: "x:1", Call: call.ID}, Returned{Errand: Errand{ID: "e1", Call: call.ID, Words: "14 Mill Ln"}, Spots: []intake.Spot{{}}},
		Paged{Event: "x:2", Token: link, Does: "says", Text: "14 Mill Ln"}, Desked{Event: "x:3", Call: call.ID, Does: "say", Words: "hello"},
		DeskSaw(call.ID, "k3x7", m.now), Tapped{Event: "x:4", From: walkers[4], Says: "TAKE " + call.Reference},
		Said{Event: "x:5", From: "telegram:5550199", Text: "SAY " + call.Reference + " hello"},
	}
	for _, purpose := range []string{"silence", "photo", "round", "news", "steward", "lapse", "eta", "dusk", "lift", "hive", "scrub"} {
		for n := range 4 {
			late = append(late, Fired{Timer: Timer{ID: call.ID + "/" + purpose, N: n}})
		}
	}
	for _, text := range texts {
		for _, reason := range []string{"unreachable", "bad_number", "expired", "opted_out", "blocked"} {
			late = append(late, Undelivered{Event: EventID("x:" + text.ID + reason), Message: text, Reason: reason})
		}
	}
	late = append(late, Blocked{Event: "x:6", From: walkers[0]})
	for _, e := range late {
		m.hear(t, e)
		m.without(t, asJSON(t, e), "Mill Ln")
	}
}

// TestDismissedCatcherIsErased holds that who is taken off the roster leaves no name, number
// or home behind.
func TestDismissedCatcherIsErased(t *testing.T) {
	m := crewed(t)
	m.hear(t, Enrolled{Event: "ro:zed", Catcher: notify.Catcher{ID: "zed", Name: "Zedekiah", Address: walkers[0], Lat: 42.4519, Lon: -76.48, ReachKm: 30, JobsADay: 3}})
	m.says(t, walkers[0], "BOX old quarry, 20 L, 5 m, 8 cm2")
	if !strings.Contains(m.kept(t), "quarry") {
		t.Fatal("their bait box was never stored, so this test proves nothing")
	}
	m.hear(t, Dismissed{Event: "ro:out", Catcher: "zed"})
	m.wait(t, 31*24*time.Hour)
	m.without(t, "a month after they left", "Zedekiah", "42.4519", "quarry")
}

// TestManyDrops holds that stewards hear of somebody who takes calls, sees the addresses and
// gives the calls back.
func TestManyDrops(t *testing.T) {
	m := crewed(t)
	for day := range 6 {
		m.says(t, walkers[0], "more bees again", "2", swarmOnFence)
		before := len(m.sent)
		m.says(t, walkers[4], "TAKE", "DROP")
		told := strings.Contains(strings.Join(m.got("telegram:5550199", before), "\n"), "given back 4 calls")
		if told != (day == 3) {
			t.Errorf("after %d drops told is %v", day+1, told)
		}
		m.says(t, walkers[0], "GONE")
		m.wait(t, 24*time.Hour)
	}
}

// TestWhoSawTheAddress holds that the story says who was shown the address, once a day each,
// and that the trail goes with the address.
func TestWhoSawTheAddress(t *testing.T) {
	m := crewed(t)
	m.says(t, walkers[0], swarmOnFence)
	m.says(t, walkers[4], "TAKE")
	id := m.calls(t)[0].ID
	for range 3 {
		m.hear(t, DeskSaw(id, "k3x7", m.now))
	}
	m.hear(t, DeskSaw(id, "zz22", m.now))
	m.wait(t, 24*time.Hour)
	m.hear(t, DeskSaw(id, "k3x7", m.now))
	var who []string
	for _, l := range m.calls(t)[0].Seen {
		who = append(who, l.What)
	}
	if got := strings.Join(who, ", "); got != "ada, desk k3x7, desk zz22, desk k3x7" {
		t.Errorf("the address was seen by %s", got)
	}
	m.says(t, walkers[4], "FLOWN")
	m.wait(t, 31*24*time.Hour)
	m.hear(t, DeskSaw(id, "k3x7", m.now))
	if seen := m.calls(t)[0].Seen; len(seen) != 0 {
		t.Errorf("after the erasure the trail is %v", seen)
	}
}
