package store

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	json "github.com/goccy/go-json"

	"skepline/bot"
	"skepline/notify"
)

// Limits of one change. A script holds up everybody else while it runs; a change within
// these takes about a millisecond.
const (
	maxOutcome   = 200       // bytes
	maxParts     = 1000      // documents, cards, timers, messages and all the rest together
	maxMessages  = 200       // messages
	maxDocuments = 100       // documents written or checked
	maxBytes     = 256 << 10 // bytes of all arguments
)

// ErrTooLarge is returned by Commit for a change that should have been several.
var ErrTooLarge = fmt.Errorf("too large for one change: %w", bot.ErrBroken)

// Commit applies a change, all or nothing; see bot.Store. When the connection broke, nobody
// knows whether it was applied: call again with the very same change, which is harmless.
func (s *Store) Commit(ctx context.Context, change bot.Change) (bot.Committed, error) {
	c, err := s.compose(change)
	if err != nil {
		return bot.Committed{}, fmt.Errorf("commit: %w", err)
	}
	reply, err := s.call(ctx, s.scripts.commit, c.keys, c.args...)
	if err != nil {
		return bot.Committed{}, fmt.Errorf("commit: %w", err)
	}
	switch reply[0] {
	case "ok":
		return bot.Committed{Outcome: bot.Outcome(reply[1])}, nil
	case "seen":
		return bot.Committed{Outcome: bot.Outcome(reply[1]), Repeated: true, Mismatch: reply[2] == "other"}, nil
	case "conflict":
		return bot.Committed{}, bot.ErrConflict
	case "type":
		return bot.Committed{}, fmt.Errorf("commit: the key %s holds something else than it should: %w", reply[1], bot.ErrBroken)
	}
	return bot.Committed{}, fmt.Errorf("commit: %w: refused as %s", bot.ErrBroken, strings.Join(reply, " "))
}

// composed is a change as commit.lua reads it.
type composed struct {
	keys  []string
	args  []any
	bytes int
	parts int
	seals *seals
	index map[string]int // of document keys in keys, from 1
}

// compose checks a change as far as that goes without the store and lays it out.
func (s *Store) compose(change bot.Change) (*composed, error) {
	if err := checkChange(change); err != nil {
		return nil, fmt.Errorf("%w: %w", bot.ErrBroken, err)
	}
	payload := change.Payload
	if payload == "" {
		payload = "-"
	}
	c := &composed{keys: append([]string(nil), s.commitKeys...), seals: s.seals, index: map[string]int{}}
	c.put(string(change.Event), payload, string(change.Outcome))
	for _, d := range change.Documents {
		version := strconv.FormatInt(d.Version, 10)
		if d.Loose {
			version = "*"
		}
		c.op("doc", c.key(s.keys.document(d.Key)), version, string(s.encodeDocument(d)))
	}
	for _, check := range change.Checks {
		c.op("check", c.key(s.keys.document(check.Key)), strconv.FormatInt(check.Version, 10))
	}
	for _, card := range change.Cards {
		c.op("card", card.Field, s.seals.text("board:"+card.Field, card.Body))
	}
	if err := c.roster(change.Roster); err != nil {
		return nil, err
	}
	for _, find := range change.Finds {
		c.op("find", find.Name, find.Subject)
	}
	for _, stop := range change.Stops {
		c.op("stop", stop.Person, flag(!stop.Lift))
	}
	if err := c.timers(change); err != nil {
		return nil, err
	}
	if err := c.messages(change.Messages); err != nil {
		return nil, err
	}
	if err := c.errands(change); err != nil {
		return nil, err
	}
	for _, closed := range change.Closed {
		c.op("closed", closed.Call, millis(closed.At))
	}
	if c.parts > maxParts || c.bytes > maxBytes {
		return nil, fmt.Errorf("%w: %d parts, %d bytes", ErrTooLarge, c.parts, c.bytes)
	}
	return c, nil
}

func (c *composed) roster(cards []bot.RosterCard) error {
	for _, card := range cards {
		body := ""
		if card.Catcher != nil {
			b, err := json.Marshal(card.Catcher)
			if err != nil {
				return fmt.Errorf("roster entry %s: %w", card.ID, err)
			}
			body = c.seals.text("roster:"+card.ID, b)
		}
		c.op("roster", card.ID, body)
	}
	return nil
}

// timers lays out the timer changes. A timer that goes off is cleared by its own event,
// unless that event moves it; one left standing would go off again at once, for ever.
func (c *composed) timers(change bot.Change) error {
	if id, n, ok := change.Event.Timer(); ok {
		c.op("fired", id, n)
	}
	for _, t := range change.Timers {
		value := ""
		if !t.Clear {
			b, err := json.Marshal(t.Timer)
			if err != nil {
				return fmt.Errorf("timer %s: %w", t.ID, err)
			}
			value = strconv.Itoa(t.N) + " " + string(b)
		}
		c.op("timer", t.ID, millis(t.At), value)
	}
	return nil
}

// errands lays out the look-ups to be made. An errand that was answered is done, whatever
// came of its answer.
func (c *composed) errands(change bot.Change) error {
	if id, ok := strings.CutPrefix(string(change.Event), "er:"); ok {
		c.op("returned", id)
	}
	for _, e := range change.Errands {
		b, err := json.Marshal(e)
		if err != nil {
			return fmt.Errorf("errand %s: %w", e.ID, err)
		}
		c.op("errand", e.ID, c.seals.text("errand:"+e.ID, b))
	}
	return nil
}

func (c *composed) messages(messages []notify.Message) error {
	for _, m := range messages {
		item, err := c.seals.encodeItem(m)
		if err != nil {
			return err
		}
		c.op("msg", m.Line(), string(m.Lane()), m.ID, item)
	}
	return nil
}

func (c *composed) op(words ...string) {
	c.parts++
	c.put(words...)
}

func (c *composed) put(words ...string) {
	for _, w := range words {
		c.args = append(c.args, w)
		c.bytes += len(w)
	}
}

// key returns the place of a document key in KEYS, adding it when it is new there.
func (c *composed) key(key string) string {
	at, ok := c.index[key]
	if !ok {
		c.keys = append(c.keys, key)
		at = len(c.keys)
		c.index[key] = at
	}
	return strconv.Itoa(at)
}

// millis writes a time as whole milliseconds since 1970, rounded up: a timer never goes off
// before its time.
func millis(t time.Time) string {
	ms := t.UnixMilli()
	if t.Nanosecond()%int(time.Millisecond) > 0 {
		ms++
	}
	return strconv.FormatInt(ms, 10)
}

func flag(on bool) string {
	if on {
		return "1"
	}
	return ""
}
