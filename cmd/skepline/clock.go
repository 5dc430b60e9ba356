package main

import (
	"context"
	"sync/atomic"
	"time"
)

// clock is the machine's, set by that of Redis: timers and leases go by Redis, and several
// replicas must not disagree about what time it is.
type clock struct{ ahead atomic.Int64 } // nanoseconds by which Redis is ahead

// Now returns the time by Redis' clock.
func (c *clock) Now() time.Time { return time.Now().Add(time.Duration(c.ahead.Load())) }

// set makes the clock show now.
func (c *clock) set(now time.Time) { c.ahead.Store(int64(time.Until(now))) }

// Sleep waits for d or until ctx ends.
func (c *clock) Sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// rest waits until d has passed or ctx ends.
func rest(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}
