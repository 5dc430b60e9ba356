package main

import (
	"context"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// chime wakes one of those who wait for work of one kind. A ring that nobody waits for is
// kept for the next who would; more than one says no more than one does.
type chime struct {
	rung   chan struct{}
	urgent chan struct{} // safety: nothing else is waited for
}

func newChime() *chime { return &chime{make(chan struct{}, 1), make(chan struct{}, 1)} }

func (c *chime) ring(urgent bool) {
	to := c.rung
	if urgent {
		to = c.urgent
	}
	select {
	case to <- struct{}{}:
	default:
	}
}

// breath is how long somebody who found nothing to do takes no notice of rings: on a busy day
// they come by the thousand, and each look costs Redis what a fifth of an event does.
const breath = 5 * time.Millisecond

// rest waits until the chime rings, d has passed or ctx ends.
func (c *chime) rest(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(min(breath, d))
	defer timer.Stop()
	select {
	case <-c.urgent:
		return
	case <-timer.C:
	case <-ctx.Done():
		return
	}
	if d <= breath {
		return
	}
	timer.Reset(d - breath)
	select {
	case <-c.urgent:
	case <-c.rung:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// chimes are those of a program: one for each channel's messages, one for errands.
type chimes struct {
	channels map[notify.Channel]*chime
	errands  *chime
}

func newChimes() chimes {
	c := chimes{map[notify.Channel]*chime{}, newChime()}
	for _, channel := range notify.Channels {
		c.channels[channel] = newChime()
	}
	return c
}

// chiming is a store that rings for what a commit leaves to be done, and for nobody else.
type chiming struct {
	bot.Store
	chimes chimes
}

// Commit commits and rings.
func (s chiming) Commit(ctx context.Context, change bot.Change) (bot.Committed, error) {
	done, err := s.Store.Commit(ctx, change)
	if err != nil || done.Repeated {
		return done, err
	}
	if len(change.Errands) > 0 {
		s.chimes.errands.ring(false)
	}
	for _, m := range change.Messages {
		if c := s.chimes.channels[m.To.Channel()]; c != nil {
			c.ring(m.Class == notify.Safety)
		}
	}
	return done, nil
}
