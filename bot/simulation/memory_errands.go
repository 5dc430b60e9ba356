package simulation

import (
	"bytes"
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"skepline/bot"
	"skepline/intake"
)

type dueErrand struct {
	bot.Errand
	at int64 // ms: its turn, or the end of its lease
}

// writeErrands carries out what a change says of look-ups. One that was answered is done.
func (m *Memory) writeErrands(c bot.Change) {
	if id, ok := strings.CutPrefix(string(c.Event), "er:"); ok {
		delete(m.errands, id)
	}
	for _, e := range c.Errands {
		m.errands[e.ID] = dueErrand{e, m.now()}
	}
}

// LeaseErrand hands out one errand whose turn it is; see bot.Store.
func (m *Memory) LeaseErrand(_ context.Context, hold, gap time.Duration) (*bot.Errand, time.Duration, error) {
	const idle = 60000
	now := m.now()
	if m.errandFree > now {
		return nil, time.Duration(min(m.errandFree-now, idle)) * time.Millisecond, nil
	}
	all := slices.SortedFunc(maps.Values(m.errands), func(a, b dueErrand) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.ID, b.ID)) })
	switch {
	case len(all) == 0:
		return nil, idle * time.Millisecond, nil
	case all[0].at > now:
		return nil, time.Duration(min(all[0].at-now, idle)) * time.Millisecond, nil
	}
	e := all[0]
	m.errands[e.ID] = dueErrand{e.Errand, now + hold.Milliseconds()}
	m.errandFree = now + gap.Milliseconds()
	return &e.Errand, 0, nil
}

// Gazetteer returns the imported places; see bot.Store.
func (m *Memory) Gazetteer(context.Context) (*intake.Gazetteer, error) {
	if m.places == nil {
		return nil, nil
	}
	return intake.ReadGazetteer(bytes.NewReader(m.places), intake.Place{}, 0)
}

// SetGazetteer keeps places; see bot.Store.
func (m *Memory) SetGazetteer(_ context.Context, rows []byte) error {
	m.places = bytes.Clone(rows)
	return nil
}
