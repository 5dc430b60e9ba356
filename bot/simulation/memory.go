package simulation

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// Memory is a hotline's store in maps: what bot/store does in Redis, command for command.
// It is not safe for concurrent use.
type Memory struct {
	// Clock is the store's clock.
	Clock func() time.Time
	// Pace is the time between two segments on a channel; those not named are not paced.
	Pace map[notify.Channel]time.Duration
	// ChatPace is the time between two messages to one Telegram chat; 0 = none.
	ChatPace time.Duration
	// Fuse is the number of segments of a day after which only safety goes out; -1 = none.
	Fuse int

	docs       map[bot.Key]bot.Document
	seen       [3]map[bot.EventID]seenEvent // a ring of four days each, as in clock.lua
	board      map[string][]byte
	roster     map[string]notify.Catcher
	find       map[string]string
	stop       map[string]bool
	timers     map[string]dueTimer
	errands    map[string]dueErrand
	errandFree int64 // ms: when the next look-up may be made
	places     []byte
	closed     map[string]int64
	holds      map[string]holding
	marks      map[string]string
	outbox

	mutant Mutant // a planted fault, "" = none
}

type seenEvent struct {
	payload string
	outcome bot.Outcome
}

type dueTimer struct {
	bot.Timer
	at int64 // ms; Postpone moves it, and the timer itself stays as it is
}

type holding struct {
	owner string
	till  int64
}

var _ bot.Store = (*Memory)(nil)

// NewMemory returns an empty store without pace or fuse.
func NewMemory(clock func() time.Time) *Memory {
	return &Memory{
		Clock: clock, Fuse: -1,
		docs: map[bot.Key]bot.Document{}, seen: [3]map[bot.EventID]seenEvent{{}, {}, {}}, board: map[string][]byte{},
		roster: map[string]notify.Catcher{}, find: map[string]string{}, stop: map[string]bool{},
		timers: map[string]dueTimer{}, errands: map[string]dueErrand{}, closed: map[string]int64{}, holds: map[string]holding{}, marks: map[string]string{},
		outbox: newOutbox(),
	}
}

func (m *Memory) now() int64 { return m.Clock().UnixMilli() }

// bucket returns the place in the ring for now, or for some buckets earlier.
func (m *Memory) bucket(back int64) int64 { return (m.now()/345600000 - back) % 3 }

// known returns the first arrival of an event, within the current and the previous bucket.
func (m *Memory) known(event bot.EventID) (seenEvent, bool) {
	for back := range int64(2) {
		if s, ok := m.seen[m.bucket(back)][event]; ok {
			return s, true
		}
	}
	return seenEvent{}, false
}

// Load begins an event; see bot.Store.
func (m *Memory) Load(_ context.Context, event bot.EventID, person, find string, strangers ...bot.Key) (bot.Loaded, error) {
	for _, seen := range m.seen { // also the oldest, which the commit no longer looks at; see load.lua
		if s, ok := seen[event]; ok && m.mutant != ForgetSeen && m.mutant != FreshAnswer {
			return bot.Loaded{Seen: true, Outcome: s.outcome}, nil
		}
	}
	loaded := bot.Loaded{}
	if find != "" {
		loaded.Found = m.find[find]
	}
	if person == "" {
		return loaded, nil
	}
	doc := m.document(bot.Key{Kind: bot.KindPerson, ID: person})
	loaded.Documents = append(loaded.Documents, doc)
	if doc.Pointer != nil {
		loaded.Documents = append(loaded.Documents, m.document(*doc.Pointer))
	}
	for _, k := range strangers {
		if doc.Version == 0 {
			loaded.Documents = append(loaded.Documents, m.document(k))
		}
	}
	return loaded, nil
}

func (m *Memory) document(k bot.Key) bot.Document {
	doc := m.docs[k]
	doc.Key = k
	return doc
}

// Documents returns the named documents; see bot.Store.
func (m *Memory) Documents(_ context.Context, keys []bot.Key) ([]bot.Document, error) {
	var docs []bot.Document
	for _, k := range keys {
		docs = append(docs, m.document(k))
	}
	return docs, nil
}

// Find returns the subject of a look-up entry; see bot.Store.
func (m *Memory) Find(_ context.Context, name string) (string, error) { return m.find[name], nil }

// Roster returns every catcher, sorted by id; see bot.Store.
func (m *Memory) Roster(context.Context) ([]notify.Catcher, error) {
	all := slices.AppendSeq([]notify.Catcher{}, maps.Values(m.roster))
	slices.SortFunc(all, func(a, b notify.Catcher) int { return cmp.Compare(a.ID, b.ID) })
	return all, nil
}

// Board returns the board; see bot.Store.
func (m *Memory) Board(context.Context) (notify.Board, error) {
	board := notify.Board{Calls: map[string]notify.CallCard{}, Catchers: map[string]notify.CatcherCard{}}
	var err error
	for field, body := range m.board {
		if id, ok := strings.CutPrefix(field, "c:"); ok {
			err = errors.Join(err, readCard(board.Calls, id, body))
		} else if id, ok := strings.CutPrefix(field, "k:"); ok {
			err = errors.Join(err, readCard(board.Catchers, id, body))
		}
	}
	return board, err
}

// Around returns everything; see bot.Store.
func (m *Memory) Around(ctx context.Context, place intake.Place, _ float64, _ time.Time) (*bot.Surroundings, error) {
	roster, err := m.Roster(ctx)
	if err != nil {
		return nil, err
	}
	board, err := m.Board(ctx)
	return &bot.Surroundings{Place: place, Roster: roster, Board: board, Members: len(roster)}, err
}

func readCard[T any](cards map[string]T, id string, body []byte) error {
	var card T
	err := json.Unmarshal(body, &card)
	cards[id] = card
	return err
}

// Commit applies a change, all or nothing; see bot.Store.
func (m *Memory) Commit(_ context.Context, c bot.Change) (bot.Committed, error) {
	payload := cmp.Or(c.Payload, "-")
	if s, ok := m.known(c.Event); ok && m.mutant != ForgetSeen {
		if m.mutant == FreshAnswer {
			s.outcome = c.Outcome
		}
		return bot.Committed{Outcome: s.outcome, Repeated: true, Mismatch: s.payload != payload}, nil
	}
	if !m.versionsHold(c) && m.mutant != NoVersions {
		return bot.Committed{}, bot.ErrConflict
	}
	m.seen[m.bucket(0)][c.Event] = seenEvent{payload, c.Outcome}
	m.write(c)
	return bot.Committed{Outcome: c.Outcome}, nil
}

// versionsHold reports whether every document is at the version that the change was made for.
func (m *Memory) versionsHold(c bot.Change) bool {
	for _, d := range c.Documents {
		if m.docs[d.Key].Version != d.Version && !d.Loose {
			return false
		}
	}
	if m.mutant == NoChecks {
		return true
	}
	for _, check := range c.Checks {
		if m.docs[check.Key].Version != check.Version {
			return false
		}
	}
	return true
}

// write carries a change out, in the order of commit.lua.
func (m *Memory) write(c bot.Change) {
	for _, d := range c.Documents {
		d.Version, d.Loose = d.Version+1, false
		d.Body = bytes.Clone(d.Body)
		m.docs[d.Key] = d
	}
	for _, card := range c.Cards {
		if len(card.Body) == 0 {
			delete(m.board, card.Field)
		} else {
			m.board[card.Field] = bytes.Clone(card.Body)
		}
	}
	for _, r := range c.Roster {
		delete(m.roster, r.ID)
		if r.Catcher != nil {
			m.roster[r.ID] = *r.Catcher
		}
	}
	for _, f := range c.Finds {
		m.find[f.Name] = f.Subject
		if f.Subject == "" {
			delete(m.find, f.Name)
		}
	}
	for _, s := range c.Stops {
		delete(m.stop, s.Person)
		if !s.Lift {
			m.stop[s.Person] = true
		}
	}
	m.writeTimers(c)
	m.writeErrands(c)
	for i, msg := range c.Messages {
		if m.mutant == DropLast && len(c.Messages) > 1 && i == len(c.Messages)-1 {
			continue
		}
		m.put(msg, m.now())
	}
	for _, closed := range c.Closed {
		m.closed[closed.Call] = milliseconds(closed.At)
	}
}

func (m *Memory) writeTimers(c bot.Change) {
	if id, n, ok := c.Event.Timer(); ok && m.mutant != KeepFired {
		if t, ok := m.timers[id]; ok && strconv.Itoa(t.N) == n {
			delete(m.timers, id)
		}
	}
	for _, t := range c.Timers {
		if m.mutant == NoTimers || m.mutant == KeepFired && t.Clear {
			continue
		}
		delete(m.timers, t.ID)
		if !t.Clear {
			m.timers[t.ID] = dueTimer{t.Timer, milliseconds(t.At)}
		}
	}
}

// milliseconds rounds up, so that a timer never goes off before its time.
func milliseconds(t time.Time) int64 {
	ms := t.UnixMilli()
	if t.Nanosecond()%int(time.Millisecond) > 0 {
		ms++
	}
	return ms
}

// idle is the longest wait told.
const idle = 60000 // ms

// DueTimers returns the timers whose time has come; see bot.Store.
func (m *Memory) DueTimers(_ context.Context, most int) ([]bot.Timer, time.Duration, error) {
	now := m.now()
	if m.mutant == EarlyTimers {
		now += 10 * 60000
	}
	var all []dueTimer
	next := now + idle
	for _, t := range m.timers {
		if t.at <= now {
			all = append(all, t)
		} else {
			next = min(next, t.at)
		}
	}
	slices.SortFunc(all, func(a, b dueTimer) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.ID, b.ID)) })
	var due []bot.Timer
	for _, t := range all {
		if len(due) == most {
			return due, 0, nil
		}
		due = append(due, t.Timer)
		if m.mutant == TakeTimers {
			delete(m.timers, t.ID)
		}
	}
	return due, time.Duration(next-now) * time.Millisecond, nil
}

// Postpone moves a timer that could not be handled; see bot.Store.
func (m *Memory) Postpone(_ context.Context, timer bot.Timer, by time.Duration) error {
	if t, ok := m.timers[timer.ID]; ok && t.N == timer.N {
		t.at = m.now() + by.Milliseconds()
		m.timers[timer.ID] = t
	}
	return nil
}

// Hold takes or renews a named lease; see bot.Store.
func (m *Memory) Hold(_ context.Context, name, owner string, d time.Duration) (bool, error) {
	if h, ok := m.holds[name]; ok && h.owner != owner && h.till > m.now() {
		return false, nil
	}
	m.holds[name] = holding{owner, m.now() + max(1, d.Milliseconds())}
	return true, nil
}

// Release gives a named lease back; see bot.Store.
func (m *Memory) Release(_ context.Context, name, owner string) error {
	if m.holds[name].owner == owner {
		delete(m.holds, name)
	}
	return nil
}

// Mark returns a named note of progress; see bot.Store.
func (m *Memory) Mark(_ context.Context, name string) (string, error) { return m.marks[name], nil }

// SetMark sets a named note of progress; see bot.Store.
func (m *Memory) SetMark(_ context.Context, name, value string) error {
	m.marks[name] = value
	return nil
}

// Now returns the store's clock; see bot.Store.
func (m *Memory) Now(context.Context) (time.Time, error) { return m.Clock(), nil }

// Sweep clears away what nobody can ask for any more, as bot/store does: events of old
// buckets, messages sent more than 14 days ago, the spending of days gone by.
func (m *Memory) Sweep(context.Context) error {
	clear(m.seen[m.bucket(-1)]) // the next to be used
	for id, s := range m.sent {
		if s.at <= m.now()-14*86400000 {
			delete(m.sent, id)
		}
	}
	for person, at := range m.chat {
		if at < m.now()-60000 {
			delete(m.chat, person)
		}
	}
	for day := range m.spend {
		if day < m.now()/86400000-1 {
			delete(m.spend, day)
		}
	}
	return nil
}

// Held is how much of one kind a store holds.
type Held struct{ Entries, Bytes int }

// Census counts what the store holds, by kind: a kind of document, or a key of bot/store.
func (m *Memory) Census() map[string]Held {
	all := map[string]Held{}
	count := func(kind string, size int) {
		all[kind] = Held{all[kind].Entries + 1, all[kind].Bytes + size}
	}
	for key, d := range m.docs {
		if len(d.Body) > 0 { // else it was erased
			count(key.Kind, len(d.Body))
		}
	}
	for _, bucket := range m.seen {
		for id, s := range bucket {
			count("seen", len(id)+len(s.payload)+len(s.outcome))
		}
	}
	for field, body := range m.board {
		count("board", len(field)+len(body))
	}
	for id, i := range m.items {
		count("item", len(id)+len(i.Text))
	}
	for kind, n := range map[string]int{"roster": len(m.roster), "find": len(m.find), "stop": len(m.stop), "timer": len(m.timers), "errand": len(m.errands),
		"closed": len(m.closed), "line": len(m.lines), "held": len(m.held), "tries": len(m.tries), "sent": len(m.sent), "spend": len(m.spend), "chat": len(m.chat)} {
		if n > 0 {
			all[kind] = Held{n, 40 * n} // about: ids and numbers
		}
	}
	return all
}
