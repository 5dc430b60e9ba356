package bot

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	json "github.com/goccy/go-json"

	"skepline/notify"
)

// Hotline is the flow: load, Decide, commit. It is the only place of this package that does
// I/O. Any number of them may share one store.
type Hotline struct {
	Settings *Settings
	Secrets  [][]byte // newest first; the last one names people and must stay
	Store    Store
	Clock    Clock
	Log      *slog.Logger
	// Fetch gets what came with a message from the provider that has it; nil = nothing can.
	Fetch func(ctx context.Context, name string) (io.ReadCloser, error)
	// Parked is told of every event that could not be handled. nil = nobody is.
	Parked func(e Event)
	// Decider stands in for Decide in tests, which plant faults with it. nil = Decide.
	Decider func(Facts) (Change, Need)

	// queues let events that ran into each other over one call go one by one from then on;
	// only other replicas are left to run into.
	queues [64]sync.Mutex

	promises promises // what catchers were told, in case the store forgets it
	parking  parking  // how much broke lately
}

// commitTries is how often an event is decided again after a conflict. A conflict means
// that another event's commit succeeded, so a busy call of eight takers is through by then.
const commitTries = 8

// Hear takes one event through load, Decide and commit and returns its outcome; a repeated
// event returns the outcome of its first arrival. An error means that nothing was
// acknowledged and that the event should come again.
func (h *Hotline) Hear(ctx context.Context, e Event) (Outcome, error) {
	payload, lost, broke, again := h.payloadOf(e), false, false, false
	for try := range commitTries {
		outcome, over, err := h.hearOnce(ctx, e, payload, again)
		switch {
		case err == nil || ctx.Err() != nil:
			return outcome, err
		case errors.Is(err, ErrConflict):
			again = true
			if try == 0 {
				queue := &h.queues[over]
				queue.Lock()
				defer queue.Unlock()
			}
		case broke && errors.Is(err, ErrBroken):
			return h.park(ctx, e, payload, err)
		case lost:
			return "", err
		default:
			// A lost connection says nothing about the commit. The same event once more is
			// safe: if it was committed, its outcome comes back.
			lost, broke = true, errors.Is(err, ErrBroken)
		}
		// Full jitter, so that replicas do not march in step.
		pause := time.Duration(rand.Int64N(int64(2+6*try))+1) * time.Millisecond
		if err := h.Clock.Sleep(ctx, pause); err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("event %s: %w after %d tries", kindOf(e), ErrConflict, commitTries)
}

// hearOnce takes an event through once, again when it conflicted before. over names the queue
// of the call it was about.
func (h *Hotline) hearOnce(ctx context.Context, e Event, payload string, again bool) (outcome Outcome, over int, err error) {
	facts := Facts{Settings: h.Settings, Secret: h.Secrets[len(h.Secrets)-1], Event: e, Now: h.Clock.Now(), Again: again}
	if fired, ok := e.(Fired); ok && fired.Timer.At.After(facts.Now) {
		facts.Now = fired.Timer.At.In(h.Settings.Zone()) // it went off by the store's clock
	}
	person := ""
	if from := sender(e); from != "" {
		person = PersonID(facts.Secret, from)
	}
	find := firstReference(facts.Secret, e)
	loaded, err := h.Store.Load(ctx, e.ID(), person, find, strangers(facts.Secret, e)...)
	if err != nil {
		return "", 0, fmt.Errorf("load for %s: %w", kindOf(e), err)
	}
	if loaded.Seen {
		return loaded.Outcome, 0, nil
	}
	facts.add(loaded.Documents)
	if find != "" {
		facts.Finds = append(facts.Finds, Find{Name: find, Subject: loaded.Found})
	}
	change, err := h.decide(ctx, facts)
	if err != nil {
		return "", 0, err
	}
	change.Payload = payload
	done, err := h.Store.Commit(ctx, change)
	if err != nil {
		return "", h.queueOf(change), fmt.Errorf("commit %s: %w", kindOf(e), err)
	}
	if done.Mismatch {
		h.Log.Error("two different events under one id", "kind", kindOf(e))
	}
	return done.Outcome, 0, nil
}

// queueOf returns the queue of the call that a change is about, or of whatever else it
// writes.
func (h *Hotline) queueOf(change Change) int {
	id := string(change.Event)
	for _, d := range change.Documents {
		if id = d.Key.ID; d.Key.Kind == KindCall {
			break
		}
	}
	f := fnv.New32a()
	f.Write([]byte(id))
	return int(f.Sum32() % uint32(len(h.queues)))
}

// decide runs Decide, loading what it asks for, until it is content. Each round loads at
// least one thing more, so the loop ends.
func (h *Hotline) decide(ctx context.Context, facts Facts) (change Change, err error) {
	const rounds = 12
	// A fault of ours in one event must not take the others down with it.
	defer func() {
		if r := recover(); r != nil {
			change, err = Change{}, h.broke(facts.Event, r)
		}
	}()
	decide := Decide
	if h.Decider != nil {
		decide = h.Decider
	}
	for range rounds {
		change, need := decide(facts)
		if need.none() {
			return change, nil
		}
		if err := h.load(ctx, &facts, need); err != nil {
			return Change{}, fmt.Errorf("load for %s: %w", kindOf(facts.Event), err)
		}
	}
	return Change{}, fmt.Errorf("decide %s: %w: it still asks for more after %d loads", kindOf(facts.Event), ErrBroken, rounds)
}

func (h *Hotline) load(ctx context.Context, facts *Facts, need Need) error {
	if len(need.Keys) > 0 {
		docs, err := h.Store.Documents(ctx, need.Keys)
		if err != nil {
			return err
		}
		facts.add(docs)
	}
	if need.Find != "" {
		subject, err := h.Store.Find(ctx, need.Find)
		if err != nil {
			return err
		}
		facts.Finds = append(facts.Finds, Find{Name: need.Find, Subject: subject})
	}
	if need.Roster {
		roster, err := h.Store.Roster(ctx)
		if err != nil {
			return err
		}
		board, err := h.Store.Board(ctx)
		if err != nil {
			return err
		}
		facts.Roster, facts.Board = roster, &board
	}
	if need.Around != nil {
		near, err := h.Store.Around(ctx, *need.Around, max((need.Around.PrecisionM+sameWithin)/1000, rivalsWithin), facts.Now)
		if err != nil {
			return err
		}
		facts.Around = append(facts.Around, near)
	}
	if err := h.loadSums(ctx, facts, need); err != nil {
		return err
	}
	if need.Places {
		places, err := h.places(ctx)
		if err != nil {
			return err
		}
		facts.Places = places
	}
	return nil
}

// loadSums loads what is summed up over many calls.
func (h *Hotline) loadSums(ctx context.Context, facts *Facts, need Need) error {
	if need.Season {
		season, err := h.ReadSeason(ctx)
		if err != nil {
			return err
		}
		facts.Season = &season
	}
	if !need.Day.IsZero() {
		day, err := h.readDay(ctx, need.Day, *facts.Board)
		if err != nil {
			return err
		}
		facts.Day = day
	}
	return nil
}

// payloadOf hashes an event, so that the store can notice two different events under one id.
// A plain hash of an event that holds little more than a phone number could be turned back
// by trying every number; this one cannot without the secret.
func (h *Hotline) payloadOf(e Event) string {
	b, err := json.Marshal(e)
	if err != nil {
		return "unhashable"
	}
	mac := hmac.New(sha256.New, h.Secrets[len(h.Secrets)-1])
	mac.Write([]byte("payload\x00"))
	mac.Write(b)
	return hex.EncodeToString(mac.Sum(nil)[:6])
}

// kindOf names an event for logs and errors: its type, nothing that a person said.
func kindOf(e Event) string { return fmt.Sprintf("%T", e) }

// RunTimers hears every timer whose time has come, up to a batch, and returns how many and
// how long until the next. A timer that cannot be heard is put off for a minute, so that
// it holds up no other; one that breaks each time for as long as it has been late, an hour at
// most, so that it goes off soon after the program is mended.
func (h *Hotline) RunTimers(ctx context.Context) (heard int, wait time.Duration, err error) {
	due, wait, err := h.Store.DueTimers(ctx, 64)
	if err != nil {
		return 0, 0, fmt.Errorf("due timers: %w", err)
	}
	for _, t := range due {
		if _, err := h.Hear(ctx, Fired{Timer: t}); err != nil {
			if ctx.Err() != nil {
				return heard, 0, ctx.Err()
			}
			h.Log.Error("timer put off", "timer", t.ID, "error", err)
			by := time.Minute
			if errors.Is(err, ErrBroken) {
				by = min(max(by, h.Clock.Now().Sub(t.At)), time.Hour)
			}
			if err := h.Store.Postpone(ctx, t, by); err != nil {
				return heard, 0, fmt.Errorf("postpone timer: %w", err)
			}
			continue
		}
		heard++
	}
	return heard, wait, nil
}

// Delivery returns the delivery loop over h's store: what is still true is read from its
// documents, and a final failure becomes an event.
func (h *Hotline) Delivery(senders map[notify.Channel]notify.Sender) *notify.Delivery {
	return &notify.Delivery{
		Outbox: h.Store, Senders: senders, Fill: h.fillLink, Now: h.Clock.Now, Log: h.Log, Hold: time.Minute, Batch: 16,
		Truth: h.stillTrue,
		Ended: func(done notify.Done, _ time.Duration) { h.promises.remember(done, h.Clock.Now()) },
		Undelivered: func(ctx context.Context, m notify.Message, reason string) error {
			_, err := h.Hear(ctx, Undelivered{Event: EventID("ud:" + m.ID), Message: m, Reason: reason})
			return err
		},
	}
}

// stillTrue loads what m's condition names and asks StillTrue.
func (h *Hotline) stillTrue(ctx context.Context, m notify.Message, now time.Time) (drop string, err error) {
	// A document that cannot be read holds up this message, not the program.
	defer func() {
		if r := recover(); r != nil {
			drop, err = "", fmt.Errorf("is it still true: %w", ErrBroken)
		}
	}()
	var keys []Key
	if m.Still.Call != "" {
		keys = append(keys, Key{KindCall, m.Still.Call})
	}
	if m.Still.Asked != "" {
		keys = append(keys, Key{KindPerson, m.Recipient})
	}
	facts := Facts{Settings: h.Settings, Now: now}
	if len(keys) > 0 {
		docs, err := h.Store.Documents(ctx, keys)
		if err != nil {
			return "", fmt.Errorf("is it still true: %w", err)
		}
		facts.add(docs)
	}
	return StillTrue(facts, m), nil
}

// Report merges a provider's delivery report; a final failure becomes an event.
func (h *Hotline) Report(ctx context.Context, r DeliveryReport, reason string) error {
	failed, err := h.Store.Report(ctx, r)
	if err != nil {
		return fmt.Errorf("delivery report: %w", err)
	}
	if failed == nil {
		return nil
	}
	_, err = h.Hear(ctx, Undelivered{Event: EventID("st:" + r.ProviderID + ":" + r.Status), Message: *failed, Reason: reason})
	return err
}
