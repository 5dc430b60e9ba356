package notify

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// shelf is an outbox in memory: lines in commit order, one message of a line in flight.
type shelf struct {
	mu    sync.Mutex
	now   time.Time
	items []*shelved
	fence int64
	done  []Done
	err   error // what Finish answers
}

type shelved struct {
	Message
	attempt int
	since   time.Time // when the open attempt began
	due     time.Time
	held    time.Time // until then it is leased
	fence   int64
	state   LeaseState
	open    bool // an attempt began and has no end
}

func (s *shelf) put(messages ...Message) {
	for _, m := range messages {
		s.items = append(s.items, &shelved{Message: m, state: Fresh})
	}
}

func (s *shelf) Lease(_ context.Context, channel Channel, most int, hold time.Duration) (Leased, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var leased Leased
	lines := map[string]bool{}
	order := slices.Clone(s.items)
	slices.SortStableFunc(order, func(a, b *shelved) int { return cmp.Compare(rank(a), rank(b)) })
	for _, item := range order {
		if item.To.Channel() != channel || lines[item.Line()] {
			continue
		}
		lines[item.Line()] = true // whoever is first in the line stands for it
		if item.held.After(s.now) || item.due.After(s.now) || len(leased.Items) == most {
			continue
		}
		s.fence++
		item.attempt++
		state := item.state
		if item.open && state == Fresh {
			state = LeftOpen
		}
		if state != LeftOpen {
			item.since = s.now
		}
		item.held, item.fence, item.open = s.now.Add(hold), s.fence, true
		leased.Items = append(leased.Items, Lease{
			Outgoing: Outgoing{Message: item.Message, Attempt: item.attempt}, Fence: s.fence, State: state, Since: item.since,
		})
	}
	if len(leased.Items) == 0 {
		leased.Wait = time.Second
	}
	return leased, nil
}

func rank(s *shelved) int {
	if s.Class == Safety {
		return 0
	}
	return 1
}

func (s *shelf) Finish(_ context.Context, done Done) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.done = append(s.done, done)
	if s.err != nil {
		return s.err
	}
	i := slices.IndexFunc(s.items, func(item *shelved) bool { return item.ID == done.Lease.ID && item.fence == done.Lease.Fence })
	if i < 0 {
		return nil
	}
	end := done.Result.End
	if done.Drop != "" || end == Accepted || end == Refused {
		s.items = slices.Delete(s.items, i, i+1)
		return nil
	}
	item := s.items[i]
	item.open, item.held, item.due = end == Ambiguous, time.Time{}, s.now.Add(done.Result.After)
	return nil
}

// door is a sender that answers as its ends say, in turn, and then accepts.
type door struct {
	mu   sync.Mutex
	ends []Result
	sent []Outgoing
}

func (d *door) Send(_ context.Context, out Outgoing) Result {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sent = append(d.sent, out)
	if len(d.ends) == 0 {
		return Result{End: Accepted, ProviderID: "P" + out.ID}
	}
	r := d.ends[0]
	d.ends = d.ends[1:]
	return r
}

// post is a delivery with everything around it.
type post struct {
	*Delivery
	shelf  *shelf
	door   *door
	truth  string
	failed []string // "message: reason"
}

func newPost(now time.Time, ends ...Result) *post {
	p := &post{shelf: &shelf{now: now}, door: &door{ends: ends}}
	var mu sync.Mutex
	p.Delivery = &Delivery{
		Outbox: p.shelf, Senders: map[Channel]Sender{SMS: p.door},
		Truth: func(context.Context, Message, time.Time) (string, error) { return p.truth, nil },
		Undelivered: func(_ context.Context, m Message, reason string) error {
			mu.Lock()
			defer mu.Unlock()
			p.failed = append(p.failed, m.ID+": "+reason)
			return nil
		},
	}
	return p
}

func (p *post) step(t testing.TB) (sent int) {
	t.Helper()
	sent, _, err := p.Step(t.Context(), SMS, p.shelf.now)
	if err != nil {
		t.Fatal(err)
	}
	return sent
}

func to(person, id string, class Class) Message {
	return Message{ID: id, To: "sms:+16075550142", Recipient: person, Class: class, Text: "Hello, " + person}
}

var noon = time.Date(2026, 5, 12, 16, 0, 0, 0, time.UTC)

// Every class meets every end of a first attempt.
func TestEveryEndOfEveryClass(t *testing.T) {
	for _, class := range allClasses {
		again, repeated := "again", "Hello, gwen"
		switch class {
		case News, Reminder, Goodbye:
			again = "dropped in_doubt"
		case Relay:
			repeated = "(repeat) Hello, gwen"
		}
		for _, test := range []struct {
			why     string
			result  Result
			becomes string
			failed  []string
		}{
			{"the provider has it", Result{End: Accepted, ProviderID: "P1"}, "gone", nil},
			{"it will never take it", Result{End: Refused, Reason: "bad_number"}, "gone", []string{"m: bad_number"}},
			{"nor say why", Result{End: Refused}, "gone", []string{"m: refused"}},
			{"it may take it later", Result{End: RetryLater}, "again", nil},
			{"nobody knows", Result{End: Ambiguous, Reason: "no_answer"}, again, nil},
		} {
			p := newPost(noon, test.result)
			p.shelf.put(to("gwen", "m", class))
			p.step(t)
			becomes := "gone"
			switch done := p.shelf.done[0]; {
			case done.Drop != "":
				becomes = "dropped " + done.Drop
			case len(p.shelf.items) == 1:
				becomes = "again"
			}
			if becomes != test.becomes {
				t.Errorf("%s: %s: %s, want %s", class, test.why, becomes, test.becomes)
			}
			if diff := gocmp.Diff(test.failed, p.failed); diff != "" {
				t.Errorf("%s: %s: undelivered (-want +got):\n%s", class, test.why, diff)
			}
			if becomes != "again" {
				continue
			}
			p.shelf.now = noon.Add(time.Minute)
			if sent := p.step(t); sent != 1 {
				t.Errorf("%s: %s: %d sent a minute later, want 1", class, test.why, sent)
				continue
			}
			want := "Hello, gwen"
			if test.result.End == Ambiguous {
				want = repeated
			}
			if got := p.door.sent[1].Text; got != want {
				t.Errorf("%s: %s: sent again as %q, want %q", class, test.why, got, want)
			}
		}
	}
}

// A crash between sending and recording leaves the lease open; it counts as doubt.
func TestALeaseLeftOpenIsInDoubt(t *testing.T) {
	for _, test := range []struct {
		class Class
		truth string
		sent  []string
		why   string
	}{
		{Safety, "", []string{"Hello, gwen"}, "rather twice than never"},
		{Claim, "", []string{"Hello, gwen"}, "it reads the same twice"},
		{Offer, "", []string{"Hello, gwen"}, "the offer is open still"},
		{Offer, "superseded", nil, "the call is taken meanwhile"},
		{Relay, "", []string{"(repeat) Hello, gwen"}, "a person reads it"},
		{News, "", nil, "rather never than twice"},
		{Goodbye, "", nil, "exactly one"},
	} {
		p := newPost(noon)
		p.truth = test.truth
		p.shelf.put(to("gwen", "m", test.class))
		if _, err := p.shelf.Lease(t.Context(), SMS, 1, time.Minute); err != nil { // and the sender dies
			t.Fatal(err)
		}
		if p.step(t); len(p.door.sent) > 0 {
			t.Errorf("%s: sent while somebody else may hold it", test.class)
		}
		p.shelf.now = noon.Add(time.Minute)
		p.step(t)
		var sent []string
		for _, out := range p.door.sent {
			sent = append(sent, out.Text)
		}
		if diff := gocmp.Diff(test.sent, sent); diff != "" {
			t.Errorf("%s (%s): sent (-want +got):\n%s", test.class, test.why, diff)
		}
		if len(p.shelf.items) > 0 || len(p.failed) > 0 {
			t.Errorf("%s (%s): %d left, undelivered %v; want none", test.class, test.why, len(p.shelf.items), p.failed)
		}
	}
}

func TestAnEditInPlaceMayAlwaysBeRepeated(t *testing.T) {
	m := Outgoing{Message: to("ada", "m", News), Attempt: 1, EditsProvider: "P0"}
	done := judged(Done{Lease: Lease{Outgoing: m, State: Fresh}, Result: Result{End: Ambiguous}}, settleFor)
	if done.Drop != "" {
		t.Errorf("dropped: %s", done.Drop)
	}
}

func TestWhatIsNotSent(t *testing.T) {
	for _, test := range []struct {
		why     string
		message func(*Message)
		state   LeaseState
		truth   string
		drop    string
		failed  []string
	}{
		{"no longer true", nil, Fresh, "superseded", "superseded", nil},
		{"not after now", func(m *Message) { m.NotAfter = noon }, Fresh, "", "stale", nil},
		{"a moment before that it is sent", func(m *Message) { m.NotAfter = noon.Add(time.Second) }, Fresh, "", "", nil},
		{"opted out", nil, OptedOut, "", "opted_out", []string{"m: opted_out"}},
		{"no money", nil, Unfunded, "", "unfunded", []string{"m: unfunded"}},
		{"no money, but safety", func(m *Message) { m.Class = Safety }, Unfunded, "", "", nil},
		{"goes to the second address", nil, Detour, "", "channel_down", []string{"m: channel_down"}},
		{"safety goes both ways", func(m *Message) { m.Class = Safety }, Detour, "", "", []string{"m: channel_down"}},
		{"no longer true, so it goes nowhere", nil, Detour, "superseded", "superseded", nil},
		{"whom an opt-out covers is the outbox's affair", func(m *Message) { m.Class = Safety }, OptedOut, "", "opted_out", []string{"m: opted_out"}},
	} {
		p := newPost(noon)
		p.truth = test.truth
		m := to("gwen", "m", Claim)
		if test.message != nil {
			test.message(&m)
		}
		p.shelf.put(m)
		p.shelf.items[0].state = test.state
		sent := p.step(t)
		if drop := p.shelf.done[0].Drop; drop != test.drop || (sent == 0) != (test.drop != "" || test.failed != nil) || sent != len(p.door.sent) {
			t.Errorf("%s: dropped %q, %d sent; want %q", test.why, drop, sent, test.drop)
		}
		if diff := gocmp.Diff(test.failed, p.failed); diff != "" {
			t.Errorf("%s: undelivered (-want +got):\n%s", test.why, diff)
		}
	}
}

func TestGivingUpIsTold(t *testing.T) {
	var ends []Result
	for range 20 {
		ends = append(ends, Result{End: RetryLater, Reason: "busy"})
	}
	p := newPost(noon, ends...)
	p.shelf.put(to("ada", "m", Offer))
	for range 20 {
		p.step(t)
		p.shelf.now = p.shelf.now.Add(5 * time.Minute)
	}
	if got, want := len(p.door.sent), persistences[Offer].tries; got != want {
		t.Errorf("tried %d times, want %d", got, want)
	}
	if diff := gocmp.Diff([]string{"m: busy"}, p.failed); diff != "" {
		t.Errorf("undelivered (-want +got):\n%s", diff)
	}
	if last := p.shelf.done[len(p.shelf.done)-1]; last.Drop != dropGaveUp || len(p.shelf.items) != 0 {
		t.Errorf("dropped %q, %d left", last.Drop, len(p.shelf.items))
	}
}

// A pause of the whole channel is not the message's fault: it costs no attempt.
func TestAPauseCostsNoAttempt(t *testing.T) {
	m := Outgoing{Message: to("ada", "m", Reminder), Attempt: 50}
	done := judged(Done{Lease: Lease{Outgoing: m}, Result: Result{End: RetryLater, After: 40 * time.Second, Pause: true}}, 0)
	if done.Drop != "" || done.Result.After < 40*time.Second || !done.Result.Pause {
		t.Errorf("dropped %q, after %v, pause %v", done.Drop, done.Result.After, done.Result.Pause)
	}
}

func TestNoSenderForTheChannel(t *testing.T) {
	p := newPost(noon)
	p.Senders = nil
	p.shelf.put(to("ada", "m", Claim))
	p.step(t)
	if got := p.shelf.done[0].Result; got.End != RetryLater || got.After < time.Minute || len(p.shelf.items) != 1 {
		t.Errorf("ends %+v with %d left, want a minute's wait", got, len(p.shelf.items))
	}
}

// The state is told before the outbox forgets; if it cannot be told, the message stays.
func TestAFailureThatCannotBeToldKeepsTheMessage(t *testing.T) {
	p := newPost(noon, Result{End: Refused, Reason: "blocked"}, Result{End: Refused, Reason: "blocked"})
	told := p.Undelivered
	down := errors.New("no connection")
	p.Undelivered = func(context.Context, Message, string) error { return down }
	p.shelf.put(to("ada", "m", News))
	if _, _, err := p.Step(t.Context(), SMS, noon); !errors.Is(err, down) {
		t.Errorf("got %v, want the trouble", err)
	}
	if len(p.shelf.items) != 1 {
		t.Fatal("the message is gone and nobody knows")
	}
	p.Undelivered, p.shelf.now = told, noon.Add(2*time.Minute)
	p.step(t)
	if diff := gocmp.Diff([]string{"m: blocked"}, p.failed); diff != "" {
		t.Errorf("undelivered (-want +got):\n%s", diff)
	}
}

func TestTruthThatCannotBeRead(t *testing.T) {
	down := errors.New("no connection")
	for _, test := range []struct {
		class Class
		sent  int
		why   string
	}{{Safety, 1, "goes out all the same"}, {Claim, 0, "waits"}, {News, 0, "waits, and was never in doubt"}} {
		p := newPost(noon)
		p.Truth = func(context.Context, Message, time.Time) (string, error) { return "", down }
		p.shelf.put(to("ada", "m", test.class))
		sent, _, err := p.Step(t.Context(), SMS, noon)
		if sent != test.sent || (err == nil) != (test.sent == 1) {
			t.Errorf("%s %s: %d sent, %v", test.class, test.why, sent, err)
		}
		p.Truth = func(context.Context, Message, time.Time) (string, error) { return "", nil }
		p.shelf.now = noon.Add(2 * time.Minute)
		p.step(t)
		if len(p.door.sent) != 1 || len(p.shelf.items) != 0 {
			t.Errorf("%s %s: sent %d times in all", test.class, test.why, len(p.door.sent))
		}
	}
}

func TestAnEndedContextStillRecords(t *testing.T) {
	p := newPost(noon)
	ctx, cancel := context.WithCancel(t.Context())
	recorded := &recording{shelf: p.shelf}
	p.Outbox = recorded
	p.Senders[SMS] = sendFunc(func(context.Context, Outgoing) Result {
		cancel() // the program is shutting down while the provider answers
		return Result{End: Accepted}
	})
	p.shelf.put(to("ada", "m", News))
	if _, _, err := p.Step(ctx, SMS, noon); err != nil || recorded.err != nil || len(p.shelf.items) != 0 {
		t.Errorf("step %v, context at recording %v, %d left", err, recorded.err, len(p.shelf.items))
	}
}

type sendFunc func(context.Context, Outgoing) Result

func (f sendFunc) Send(ctx context.Context, out Outgoing) Result { return f(ctx, out) }

// recording notes whether the context had ended when the end was recorded.
type recording struct {
	*shelf
	err error
}

func (r *recording) Finish(ctx context.Context, done Done) error {
	r.err = ctx.Err()
	return r.shelf.Finish(ctx, done)
}

func TestFinishTroubleIsReturned(t *testing.T) {
	p := newPost(noon)
	p.shelf.err = errors.New("no connection")
	p.shelf.put(to("ada", "a", News), to("bram", "b", News))
	sent, _, err := p.Step(t.Context(), SMS, noon)
	if sent != 2 || err == nil || strings.Count(err.Error(), "no connection") != 2 {
		t.Errorf("%d sent, %v; want both sent and both told", sent, err)
	}
}

func TestNothingDue(t *testing.T) {
	p := newPost(noon)
	sent, wait, err := p.Step(t.Context(), SMS, noon)
	if sent != 0 || wait != time.Second || err != nil {
		t.Errorf("%d sent, wait %v, %v; want the outbox's wait", sent, wait, err)
	}
}

// Whatever goes wrong, each line is read in the order it was written, save that a message
// in doubt may come twice in a row; and safety never waits for the rest.
func TestLinesStayInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := newPost(noon)
		classes := []Class{Safety, Claim, Offer, Question, Relay}
		var ids []string
		for i := range rapid.IntRange(1, 12).Draw(t, "messages") {
			m := to(rapid.SampledFrom([]string{"ada", "gwen"}).Draw(t, "to"), string(rune('a'+i)), rapid.SampledFrom(classes).Draw(t, "class"))
			p.shelf.put(m)
			ids = append(ids, m.ID)
		}
		ends := []Result{{End: Accepted}, {End: RetryLater}, {End: Ambiguous}, {End: Refused, Reason: "bad_number"}}
		p.door.ends = rapid.SliceOfN(rapid.SampledFrom(ends), 0, 12).Draw(t, "ends")
		lines := map[string]string{}
		for range 200 {
			if _, _, err := p.Step(t.Context(), SMS, p.shelf.now); err != nil {
				t.Fatal(err)
			}
			p.shelf.now = p.shelf.now.Add(time.Minute)
		}
		for _, out := range p.door.sent {
			if last := lines[out.Line()]; out.ID < last {
				t.Fatalf("%s of %s went out after %s", out.ID, out.Line(), last)
			}
			lines[out.Line()] = out.ID
		}
		reached := map[string]bool{}
		for _, out := range p.door.sent {
			reached[out.ID] = true
		}
		if len(p.shelf.items) > 0 || len(reached) != len(ids) {
			t.Fatalf("%d still wait, %d of %d were handed over", len(p.shelf.items), len(reached), len(ids))
		}
	})
}

func TestSafetyDoesNotWaitForTheRest(t *testing.T) {
	p := newPost(noon, Result{End: RetryLater, After: time.Hour})
	p.Batch = 1
	p.shelf.put(to("gwen", "a", Question))
	p.step(t) // and now her line waits for an hour
	p.shelf.put(to("gwen", "b", Safety))
	if sent := p.step(t); sent != 1 || p.door.sent[1].ID != "b" {
		t.Errorf("%d sent, want the safety message", sent)
	}
}

func TestLogsHoldNoNumberAndNoWords(t *testing.T) {
	var out bytes.Buffer
	p := newPost(noon, Result{End: Refused, Reason: "bad_number"}, Result{End: RetryLater})
	p.Log = slog.New(slog.NewTextHandler(&out, nil))
	p.shelf.put(to("gwen", "a", Claim), to("ada", "b", Claim))
	p.step(t)
	if !strings.Contains(out.String(), "bad_number") || !strings.Contains(out.String(), "sms:…42") {
		t.Errorf("the log says too little: %s", out.String())
	}
	if strings.Contains(out.String(), "6075550142") || strings.Contains(out.String(), "Hello") {
		t.Errorf("the log says too much: %s", out.String())
	}
}
