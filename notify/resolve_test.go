package notify

import (
	"context"
	"errors"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
)

// logOf is a provider's log that answers as told and notes since when it was asked.
type logOf struct {
	says  Result
	since []time.Time
}

func (l *logOf) Resolve(_ context.Context, _ Outgoing, since time.Time) Result {
	l.since = append(l.since, since)
	return l.says
}

// TestDoubtIsLookedUp holds what becomes of a send in doubt on a channel whose log can be
// asked: nothing that was taken goes out again, nothing that was not is given up.
func TestDoubtIsLookedUp(t *testing.T) {
	taken := Result{End: Accepted, ProviderID: "P1"}
	notTaken := Result{End: RetryLater, Reason: "not_taken"}
	unread := Result{End: Ambiguous, Reason: "log_unread"}
	for _, c := range []struct {
		why   string
		class Class
		log   Result
		after time.Duration // between the send and the look
		sends int           // in all
		left  int
		gone  []string
	}{
		{"a claim that was taken", Claim, taken, 30 * time.Second, 1, 0, nil},
		{"news that were taken count as sent", News, taken, 30 * time.Second, 1, 0, nil},
		{"safety that was taken", Safety, taken, 2 * time.Second, 1, 0, nil},
		{"a claim that was not", Claim, notTaken, 30 * time.Second, 2, 0, nil},
		{"news that were not: certainty lets them go again", News, notTaken, 30 * time.Second, 2, 0, nil},
		{"words of a person, unmarked: nobody has read them", Relay, notTaken, 30 * time.Second, 2, 0, nil},
		{"not looked up before the log can show it", Claim, taken, 10 * time.Second, 1, 1, nil},
		{"a claim while the log is silent waits", Claim, unread, 30 * time.Second, 1, 1, nil},
		{"a claim when the log stays silent goes again", Claim, unread, 3 * time.Minute, 2, 0, nil},
		{"news when the log stays silent are dropped", News, unread, 3 * time.Minute, 1, 0, nil},
		{"safety waits for no log", Safety, unread, 2 * time.Second, 2, 0, nil},
		{"an offer that was taken and failed: the state reacts", Offer, Result{End: Refused, Reason: "unreachable"}, 30 * time.Second, 1, 0, []string{"m: unreachable"}},
	} {
		p := newPost(noon, Result{End: Ambiguous, Reason: "no_answer"})
		log := &logOf{says: c.log}
		p.Resolvers = map[Channel]Resolver{SMS: log}
		p.shelf.put(to("gwen", "m", c.class))
		p.step(t)
		p.shelf.now = noon.Add(c.after)
		p.step(t)
		if len(p.door.sent) != c.sends || len(p.shelf.items) != c.left {
			t.Errorf("%s: sent %d times, %d left; want %d and %d", c.why, len(p.door.sent), len(p.shelf.items), c.sends, c.left)
		}
		for _, out := range p.door.sent {
			if out.Text != "Hello, gwen" {
				t.Errorf("%s: sent as %q", c.why, out.Text)
			}
		}
		if diff := gocmp.Diff(c.gone, p.failed); diff != "" {
			t.Errorf("%s: undelivered (-want +got):\n%s", c.why, diff)
		}
		for _, since := range log.since {
			if !since.Equal(noon) {
				t.Errorf("%s: looked since %v, want since the first attempt", c.why, since)
			}
		}
	}
}

// TestDoubtEnds holds that a message which is never taken is given up, however often its
// end is in doubt.
func TestDoubtEnds(t *testing.T) {
	var ends []Result
	for range 30 {
		ends = append(ends, Result{End: Ambiguous})
	}
	p := newPost(noon, ends...)
	p.Resolvers = map[Channel]Resolver{SMS: &logOf{says: Result{End: RetryLater, Reason: "not_taken"}}}
	p.shelf.put(to("ada", "m", Offer))
	for range 30 {
		p.step(t)
		p.shelf.now = p.shelf.now.Add(time.Minute)
	}
	if want := persistences[Offer].tries; len(p.door.sent) != want || len(p.shelf.items) != 0 || len(p.failed) != 1 {
		t.Errorf("sent %d times, want %d; %d left; undelivered %v", len(p.door.sent), want, len(p.shelf.items), p.failed)
	}
}

// TestLooksForWhatWasSent holds that a look-up asks for the words that went out, link and
// all, not for those in the outbox: they would never be found, and the text would go twice.
func TestLooksForWhatWasSent(t *testing.T) {
	p := newPost(noon, Result{End: Ambiguous, Reason: "no_answer"})
	p.Fill = func(out Outgoing) (Outgoing, bool) {
		out.Text += " at a link"
		return out, true
	}
	var asked []string
	p.Resolvers = map[Channel]Resolver{SMS: askedFor{&asked}}
	p.shelf.put(to("gwen", "m", Claim))
	p.step(t)
	p.shelf.now = noon.Add(30 * time.Second)
	p.step(t)
	if len(p.door.sent) != 1 || len(asked) != 1 || asked[0] != p.door.sent[0].Text {
		t.Errorf("sent %v, then looked for %q", p.door.sent, asked)
	}
}

// askedFor is a provider's log that finds everything and notes what it was asked for.
type askedFor struct{ words *[]string }

func (a askedFor) Resolve(_ context.Context, out Outgoing, _ time.Time) Result {
	*a.words = append(*a.words, out.Text)
	return Result{End: Accepted, ProviderID: "P1"}
}

// TestStoodStill holds that a program which stood still between taking a message and sending
// it leaves it to whoever has it by now, and that this costs no attempt.
func TestStoodStill(t *testing.T) {
	p := newPost(noon, Result{End: Accepted, ProviderID: "P1"})
	stood := 31 * time.Second
	p.Now = func() time.Time { return p.shelf.now.Add(stood) }
	p.shelf.put(to("gwen", "m", Claim))
	p.step(t)
	if len(p.door.sent) != 0 || len(p.shelf.items) != 1 {
		t.Fatalf("sent %d, left %d; want nothing sent and the message kept", len(p.door.sent), len(p.shelf.items))
	}
	stood = 0
	p.shelf.now = noon.Add(2 * time.Minute)
	p.step(t)
	if len(p.door.sent) != 1 || p.door.sent[0].Text != "Hello, gwen" {
		t.Errorf("sent %v, want it once", p.door.sent)
	}
}

// TestATakeIsAnnouncedWhenItIsKept holds that a catcher is told "yours" only when the loss of
// one server cannot take it back, or after a while all the same, and that waiting costs no
// attempt and nothing else waits.
func TestATakeIsAnnouncedWhenItIsKept(t *testing.T) {
	p := newPost(noon)
	kept := false
	p.Kept = func(context.Context) (bool, error) { return kept, nil }
	claim, news := to("ada", "c", Claim), to("bram", "n", News)
	claim.At, claim.Still = noon, Still{Call: "c1", Holder: "ada", Epoch: 1}
	p.shelf.put(claim, news)
	p.step(t)
	if len(p.door.sent) != 1 || p.door.sent[0].ID != "n" {
		t.Fatalf("sent %v", p.door.sent)
	}
	kept = true
	p.shelf.now = noon.Add(2 * time.Second)
	if p.step(t); len(p.door.sent) != 2 {
		t.Fatalf("a kept take was not announced: %+v", p.shelf.done)
	}
	p = newPost(noon)
	p.Kept = func(context.Context) (bool, error) { return false, errors.New("away") }
	p.shelf.put(claim)
	p.shelf.now = noon.Add(announceAfter - time.Millisecond)
	if p.step(t); len(p.door.sent) != 0 || !p.shelf.done[0].Unsent {
		t.Errorf("announced too soon: %+v", p.shelf.done)
	}
	p.shelf.now = p.shelf.now.Add(2 * time.Second)
	if p.step(t); len(p.door.sent) != 1 {
		t.Error("never announced")
	}
}
