package simulation

import (
	"cmp"
	"context"
	"slices"
	"time"
)

// ClosedCalls returns the ids of the calls that ended in a time, oldest first; see bot.Store.
func (m *Memory) ClosedCalls(_ context.Context, from, to time.Time) ([]string, error) {
	var ids []string
	for id, at := range m.closed { // order does not matter: they are sorted below
		if at >= milliseconds(from) && at <= milliseconds(to) {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, func(a, b string) int { return cmp.Or(cmp.Compare(m.closed[a], m.closed[b]), cmp.Compare(a, b)) })
	return ids, nil
}

// Spent returns the segments of a UTC day; see bot.Store.
func (m *Memory) Spent(_ context.Context, day time.Time) (int, error) {
	return m.spend[day.Unix()/86400], nil
}
