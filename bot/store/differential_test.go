package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/bot"
	"skepline/notify"
)

// TestServersAgree runs the same random commands on the embedded Redis and on a real one
// and wants the same answers and, at the end, the same keys. What rehearsals show is then
// what happens in production.
func TestServersAgree(t *testing.T) {
	real, embedded := realServer(t), embeddedServer(t)
	runs, steps := 0, 0
	began := time.Now()
	rapid.Check(t, func(rt *rapid.T) {
		opts := Options{Fuse: Fuse{SegmentsADay: rapid.SampledFrom([]int{0, 5}).Draw(rt, "fuse")}}
		a, b := newPlayer(t, embedded, opts), newPlayer(t, real, opts)
		runs++
		for _, o := range rapid.SliceOfN(anOrder, 20, 60).Draw(rt, "orders") {
			steps++
			got, want := a.do(o), b.do(o)
			if got != want {
				rt.Fatalf("%+v: the embedded Redis says\n%s\na real one\n%s", o, got, want)
			}
		}
		if diff := cmp.Diff(b.dump(), a.dump()); diff != "" {
			rt.Fatalf("keys of the real (-) and the embedded (+) Redis: %s", diff)
		}
	})
	t.Logf("%d runs, %d commands on each in %v", runs, steps, time.Since(began).Round(time.Millisecond))
}

// order is one command of a random sequence; its numbers choose among few ids, so that
// commands meet each other.
type order struct {
	Verb    string
	A, B, C int
}

var anOrder = rapid.Custom(func(t *rapid.T) order {
	return order{
		Verb: rapid.SampledFrom([]string{"commit", "commit", "commit", "message", "message", "lease", "lease", "lease",
			"finish", "finish", "dies", "report", "later", "board", "documents", "due", "postpone", "hold", "release", "load", "roster", "sweep"}).Draw(t, "verb"),
		A: rapid.IntRange(0, 3).Draw(t, "a"), B: rapid.IntRange(0, 5).Draw(t, "b"), C: rapid.IntRange(0, 2).Draw(t, "c"),
	}
})

// player carries orders out on one server.
type player struct {
	*world
	on     commands
	leases []notify.Lease
}

// commands are what a player can do to a store.
type commands interface {
	bot.Store
	Sweep(ctx context.Context) error
}

func newPlayer(t *testing.T, s *server, opts Options) *player {
	opts.Hotline = newHotline()
	store, err := open(s.client, opts, testClock)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{T: t, server: s, a: store, now: start}
	w.later(0)
	return &player{world: w, on: store}
}

// do carries an order out and returns the answer as text.
func (p *player) do(o order) string {
	ctx := p.Context()
	var answer any
	var err error
	switch o.Verb {
	case "commit":
		answer, err = p.on.Commit(ctx, p.change(o))
	case "message":
		p.next++
		answer, err = p.on.Commit(ctx, bot.Change{Event: bot.EventID(fmt.Sprint("tw:m", p.next)), Messages: p.messages(o)})
	case "lease":
		var leased notify.Leased
		leased, err = p.on.Lease(ctx, notify.Channels[o.C], 1+o.A, time.Duration(o.B)*10*time.Second)
		p.leases = append(p.leases, leased.Items...)
		answer = leased
	case "finish":
		if len(p.leases) > 0 {
			err = p.on.Finish(ctx, p.done(o))
		}
	case "dies":
		answer, err = p.provider(o)
	case "report":
		answer, err = p.on.Report(ctx, bot.DeliveryReport{Message: fmt.Sprint("m", o.B), ProviderID: "P",
			Status: []string{"sent", "delivered", "failed", "read"}[o.A]})
	case "later":
		p.later([]time.Duration{time.Second, 20 * time.Second, 25 * time.Hour, 5 * 24 * time.Hour}[o.A] + time.Duration(o.B)*time.Millisecond)
	case "due":
		var due []bot.Timer
		var wait time.Duration
		due, wait, err = p.on.DueTimers(ctx, 1+o.A)
		answer = fmt.Sprint(due, wait)
	case "postpone":
		err = p.on.Postpone(ctx, bot.Timer{ID: fmt.Sprint("c", o.A, "/round"), N: o.C}, time.Duration(o.B)*time.Minute)
	case "hold":
		answer, err = p.on.Hold(ctx, "poll", fmt.Sprint("replica ", o.A), time.Duration(o.B)*time.Second)
	case "release":
		err = p.on.Release(ctx, "poll", fmt.Sprint("replica ", o.A))
	case "load":
		answer, err = p.on.Load(ctx, bot.EventID(fmt.Sprint("tw:", o.B)), fmt.Sprint("p", o.A), fmt.Sprint("ref:", o.C))
	case "roster":
		answer, err = p.on.Roster(ctx)
	case "board":
		answer, err = p.on.Board(ctx)
	case "documents":
		answer, err = p.on.Documents(ctx, []bot.Key{{Kind: bot.KindPerson, ID: fmt.Sprint("p", o.A)}, {Kind: bot.KindCall, ID: "c1"}})
	case "sweep":
		err = p.on.Sweep(ctx)
	}
	if err != nil && !errors.Is(err, bot.ErrConflict) {
		p.Fatalf("%+v: %v", o, err)
	}
	b, jsonErr := json.Marshal(answer)
	if jsonErr != nil {
		p.Fatal(jsonErr)
	}
	return fmt.Sprintf("%s %v", b, err)
}

// provider lets a few sends in a row find the provider dead, and returns what was handed out.
func (p *player) provider(o order) (said []string, err error) {
	for range 3 + o.B {
		leased, err := p.on.Lease(p.Context(), notify.Channels[o.C], 1+o.A, time.Minute)
		if err != nil {
			return said, err
		}
		said = append(said, fmt.Sprint(idsOf(leased), leased.Wait))
		for _, lease := range leased.Items {
			if err := p.on.Finish(p.Context(), notify.Done{Lease: lease, Result: dead}); err != nil {
				return said, err
			}
		}
		p.later(3 * time.Second)
	}
	return said, nil
}

// change makes a change that sometimes conflicts, repeats an event, or clears things.
func (p *player) change(o order) bot.Change {
	gwen := person(fmt.Sprint("p", o.A), int64(o.C), fmt.Sprintf(`{"b":%d}`, o.B))
	gwen.Pointer = &bot.Key{Kind: bot.KindCall, ID: fmt.Sprint("c", o.A)}
	catcher := &notify.Catcher{ID: fmt.Sprint("k", o.A), ReachKm: float64(o.B)}
	if o.C == 2 {
		catcher = nil
	}
	change := bot.Change{
		Event: bot.EventID(fmt.Sprint("tw:", 6*o.A+o.B)), Payload: fmt.Sprint("p", o.C), Outcome: bot.Outcome(fmt.Sprint("o", o.C)),
		Cards:  []bot.Card{{Field: fmt.Sprint("c:c", o.A), Body: []byte(`{}`)[:2*(o.C%2)]}},
		Roster: []bot.RosterCard{{ID: fmt.Sprint("k", o.A), Catcher: catcher}},
		Finds:  []bot.Find{{Name: fmt.Sprint("ref:", o.C), Subject: []string{"", "c1", "c2"}[o.C]}},
		Stops:  []bot.Stop{{Person: fmt.Sprint("p", o.B), Lift: o.C == 1}},
		Timers: []bot.TimerChange{{Timer: bot.Timer{ID: fmt.Sprint("c", o.A, "/round"), N: o.B, At: p.now.Add(time.Duration(o.B) * time.Second)}, Clear: o.C == 2}},
		Closed: []bot.Closed{{Call: fmt.Sprint("c", o.A), At: p.now}},
	}
	if o.B%2 == 0 {
		gwen.Loose = o.A == 2
		change.Documents = []bot.Document{gwen}
	} else {
		change.Checks = []bot.Check{{Key: gwen.Key, Version: gwen.Version}}
	}
	if o.B == 5 {
		change.Event = bot.EventID(fmt.Sprintf("tm:c%d/round:%d", o.C, o.A))
	}
	return change
}

func (p *player) messages(o order) []notify.Message {
	class := []notify.Class{notify.Offer, notify.Safety, notify.Claim, notify.Goodbye}[o.A]
	m := notify.Message{ID: fmt.Sprint("m", p.next), To: notify.Address(string(notify.Channels[o.C]) + ":+16075550142"),
		Recipient: fmt.Sprint("p", o.B), Class: class, Also: []notify.Address{"", "sms:+16075550143"}[o.B%2], Text: "zażółć gęślą jaźń\n\"quoted\" {}", Edits: fmt.Sprint("m", o.A)}
	second := m
	second.ID += "b"
	second.Edits = ""
	return []notify.Message{m, second}
}

func (p *player) done(o order) notify.Done {
	lease := p.leases[(7*o.A+o.B)%len(p.leases)]
	results := []notify.Result{
		{End: notify.Accepted, ProviderID: "P"}, {End: notify.Refused}, {End: notify.Ambiguous, After: 3 * time.Second},
		{End: notify.RetryLater, After: time.Duration(1+59*o.A) * time.Second, Pause: o.C == 1, Down: o.C != 2}, {End: notify.Ambiguous}, {},
	}
	done := notify.Done{Lease: lease, Result: results[o.B]}
	if o.B == 5 || o.B == 4 && o.C == 2 {
		done.Drop = "stale"
	}
	done.Unsent = lease.State == notify.LeftOpen && o.C == 0
	return done
}
