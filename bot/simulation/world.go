package simulation

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// Result is what came of a plan.
type Result struct {
	Broken string         // the first promise that was broken, "I6: …"; "" = none
	Diary  []string       // what happened, for people
	Hits   map[string]int // faults that struck, by point and kind
	Events int            // committed
	Sent   int            // messages that providers took
}

// Run plays a plan. With a mutant a fault of that kind is planted in the hotline.
func Run(plan Plan, mutant Mutant) Result {
	w := newWorld(plan, mutant)
	w.play()
	return Result{Broken: w.broken, Diary: w.diary, Hits: w.hits, Events: len(w.watch.applied), Sent: w.sentTotal}
}

// world is one run.
type world struct {
	plan     Plan
	now, end time.Time
	memory   *Memory
	settings *bot.Settings
	replicas []*replica
	ahead    []happening // sorted by time, then by seq
	seq      int
	sweeping bool       // the log is read again in a minute
	swept    int        // of the inbox, that nobody needs to look at again
	inbox    []*arrival // everything that people sent, as the providers keep it
	phones   map[notify.Address]*phone
	down     map[notify.Channel]time.Time // until when a provider cannot be reached
	loss     *loss                        // under way, nil = none
	losses   int
	outage   time.Time      // until when the store cannot be reached
	passed   map[string]int // passings of each fault point
	faults   map[string]map[int]string
	hits     map[string]int
	cursed   map[bot.EventID]int // how often a decision breaks yet
	planted  map[bot.EventID]bool
	nested   int // depth of what happens in the middle of something else
	turns    int

	watch     *watch
	logs      *bytes.Buffer
	broken    string
	diary     []string
	copies    int // ids of what providers took
	sentTotal int
	mutant    Mutant
}

// happening is something that will happen.
type happening struct {
	at   time.Time
	seq  int
	what func()
	step bool // a step of the plan
}

// arrival is one message from a person, kept by its provider until it is acknowledged.
type arrival struct {
	event  bot.Event
	who    string
	at     time.Time
	heard  bool
	lost   bool // acknowledged and forgotten, and nobody brings it again
	answer bot.Outcome
}

// clock is a replica's clock.
type clock struct {
	w     *world
	ahead time.Duration
}

// Now returns the world's time in the hotline's zone, as this replica has it.
func (c clock) Now() time.Time { return c.w.now.Add(c.ahead).In(c.w.settings.Zone()) }

// Sleep takes no time: the pauses after conflicts are milliseconds.
func (c clock) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

// replica is one process of the hotline.
type replica struct {
	*world
	n        int
	hotline  *bot.Hotline
	delivery *notify.Delivery
	dead     bool
	asleep   time.Time // until then it is paused
}

var secret = []byte("a secret of thirty-two bytes, ok?")

func newWorld(plan Plan, mutant Mutant) *world {
	settings := bot.DefaultSettings()
	settings.Stewards = []string{string(steward)}
	w := &world{
		plan: plan, now: plan.Start, end: plan.Start.Add(plan.Lasts), settings: settings, phones: map[notify.Address]*phone{},
		down: map[notify.Channel]time.Time{}, passed: map[string]int{}, faults: map[string]map[int]string{}, hits: map[string]int{},
		cursed: map[bot.EventID]int{}, planted: map[bot.EventID]bool{},
		logs: &bytes.Buffer{}, mutant: mutant,
	}
	w.memory = NewMemory(func() time.Time { return w.now })
	w.memory.mutant = mutant
	w.memory.Fuse = plan.Fuse
	w.memory.Pace = map[notify.Channel]time.Duration{notify.SMS: time.Second, notify.WhatsApp: 20 * time.Millisecond, notify.Telegram: 40 * time.Millisecond}
	w.memory.ChatPace = time.Second
	switch mutant {
	case NoSenderRate:
		w.memory.Pace = nil
	case NoChatRate:
		w.memory.ChatPace = 0
	}
	w.watch = newWatch(w)
	for _, f := range plan.Faults {
		if w.faults[f.Point] == nil {
			w.faults[f.Point] = map[int]string{}
		}
		w.faults[f.Point][f.Nth] = f.Kind
	}
	for _, s := range town {
		w.phones[s.address] = &phone{owner: s.name}
		if s.also != "" {
			w.phones[s.also] = &phone{owner: s.name + " (second)"}
		}
	}
	for n := range max(1, plan.Replicas) {
		w.replicas = append(w.replicas, w.newReplica(n))
	}
	w.enrol()
	w.mornings()
	for _, step := range plan.Steps {
		w.at(plan.Start.Add(step.At), true, func() { w.do(step) })
	}
	return w
}

func (w *world) newReplica(n int) *replica {
	r := &replica{world: w, n: n}
	log := slog.New(slog.NewTextHandler(w.logs, &slog.HandlerOptions{Level: slog.LevelDebug}))
	r.hotline = &bot.Hotline{Settings: w.settings, Secrets: [][]byte{secret}, Store: &port{Store: w.memory, r: r}, Clock: clock{w, w.plan.ahead(n)}, Log: log, Decider: w.decides, Parked: w.parked}
	senders, resolvers := map[notify.Channel]notify.Sender{}, map[notify.Channel]notify.Resolver{}
	for _, c := range notify.Channels {
		senders[c] = &provider{r: r, channel: c}
		if c != notify.Telegram && w.mutant != NoResolver {
			resolvers[c] = &provider{r: r, channel: c}
		}
	}
	r.delivery = r.hotline.Delivery(senders)
	r.delivery.Resolvers, r.delivery.Batch, r.delivery.Kept = resolvers, 1, w.kept
	r.mutate()
	return r
}

// enrol makes the catchers of the town known.
func (w *world) enrol() {
	for i, s := range town {
		if !s.catcher {
			continue
		}
		catcher := notify.Catcher{ID: fmt.Sprint("k", i), Name: s.name, Address: s.address, Lat: w.settings.Latitude + 0.01*float64(i-5),
			Lon: w.settings.Longitude, ReachKm: 30, MaxHeightM: 5, Skills: []notify.Skill{notify.Ladder}, JobsADay: 2, Also: s.also}
		if s.far {
			catcher.Lat, catcher.ReachKm = catcher.Lat+1, 40
		}
		e := bot.Enrolled{Event: bot.EventID("ro:" + s.name), Catcher: catcher}
		if _, err := w.replicas[0].hotline.Hear(context.Background(), e); err != nil {
			w.breaks("setup", "%v", err)
		}
	}
}

// at lets something happen later.
func (w *world) at(t time.Time, step bool, what func()) {
	w.seq++
	h := happening{t, w.seq, what, step}
	i, _ := slices.BinarySearchFunc(w.ahead, h, func(a, b happening) int {
		if c := a.at.Compare(b.at); c != 0 {
			return c
		}
		return a.seq - b.seq
	})
	w.ahead = slices.Insert(w.ahead, i, h)
}

// tell adds a line to the diary.
func (w *world) tell(format string, args ...any) {
	w.diary = append(w.diary, w.now.In(w.settings.Zone()).Format("Mon 15:04:05 ")+fmt.Sprintf(format, args...))
}

// breaks notes a broken promise; the first one ends the run.
func (w *world) breaks(promise, format string, args ...any) {
	if w.broken == "" {
		w.broken = promise + ": " + fmt.Sprintf(format, args...)
		w.tell("BROKEN %s", w.broken)
	}
}

// healed reports whether nothing breaks any more.
func (w *world) healed() bool {
	return w.plan.Heals > 0 && w.now.Sub(w.plan.Start) >= w.plan.Heals
}

// fault passes a point and returns what breaks there, "" for nothing.
func (w *world) fault(point string) string {
	w.passed[point]++
	kind := w.faults[point][w.passed[point]]
	if kind == "" || w.healed() || w.watch == nil || w.seq == 0 {
		return ""
	}
	w.hits[point+" "+kind]++
	w.tell("  ! %s: %s", point, kind)
	return kind
}

// maxTurns ends a run that goes round and round.
const maxTurns = 60000

// play runs the world to its end and looks whether what must come has come.
func (w *world) play() {
	w.runUntil(w.end)
	if w.broken == "" && w.plan.Heals > 0 {
		w.watch.inTheEnd()
	}
	if w.broken == "" {
		w.watch.logs()
	}
}

// runUntil lets time pass. It also runs in the middle of a stalled send, for the others.
func (w *world) runUntil(end time.Time) {
	for w.broken == "" {
		if w.turns++; w.turns > maxTurns+5*int(w.plan.Lasts/time.Minute) {
			w.breaks("L3", "the hotline never rests")
			return
		}
		for len(w.ahead) > 0 && !w.ahead[0].at.After(w.now) && w.broken == "" {
			h := w.ahead[0]
			w.ahead = w.ahead[1:]
			h.what()
		}
		next := end
		for _, r := range w.replicas {
			if again := r.turn(); again.Before(next) {
				next = again
			}
		}
		if len(w.ahead) > 0 && w.ahead[0].at.Before(next) {
			next = w.ahead[0].at
		}
		if !next.After(w.now) {
			next = w.now.Add(time.Millisecond)
		}
		if next.After(end) || !w.now.Before(end) {
			w.now = end
			return
		}
		w.now = next
	}
}

// turn lets a replica do what is due and returns when it has more to do.
func (r *replica) turn() time.Time {
	far := r.now.Add(24 * time.Hour)
	if r.dead || r.asleep.After(r.now) {
		return far
	}
	next := far
	soon := func(wait time.Duration) {
		if t := r.now.Add(wait); t.Before(next) {
			next = t
		}
	}
	for round := range 50 {
		if round == 49 {
			r.breaks("L3", "timers go off again and again")
		}
		heard, _, err := r.hotline.RunTimers(context.Background())
		if err != nil || r.broken != "" || r.dead {
			soon(time.Second)
			break
		}
		if heard == 0 {
			break
		}
	}
	// No map server is there: every look-up comes back with nothing.
	switch made, wait, err := r.hotline.RunErrand(context.Background(), bot.Outside{}); {
	case made || err != nil:
		soon(time.Second)
	case wait < idle*time.Millisecond:
		soon(wait)
	}
	for _, c := range notify.Channels {
		for range 50 {
			if r.dead || r.broken != "" {
				return next
			}
			_, wait, err := r.delivery.Step(context.Background(), c, r.hotline.Clock.Now())
			if err != nil {
				soon(time.Second)
				break
			}
			if wait > 0 {
				if slices.ContainsFunc(notify.LanesOf(c), func(lane notify.Lane) bool { return len(r.memory.lanes[lane]) > 0 }) {
					soon(wait)
				}
				break
			}
		}
	}
	if t := r.memory.nextTurn(); t.After(r.now) && t.Before(next) {
		next = t
	}
	return next
}

// nextTurn returns when the first timer or line is due, the zero time when there is none.
func (m *Memory) nextTurn() time.Time {
	first := int64(0)
	look := func(at int64) {
		if first == 0 || at < first {
			first = at
		}
	}
	for _, t := range m.timers {
		look(t.at)
	}
	for _, e := range m.errands {
		look(max(e.at, m.errandFree))
	}
	for _, lane := range m.lanes {
		for _, at := range lane {
			look(at)
		}
	}
	if first == 0 {
		return time.Time{}
	}
	return time.UnixMilli(first).UTC()
}

var (
	errDown = errors.New("connection refused")
	errLost = errors.New("connection reset after the command was sent")
	errDead = errors.New("this process is dead")
)
