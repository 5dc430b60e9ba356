package main

import (
	"context"
	"errors"
	"log/slog"
	"runtime/debug"
	"time"

	"golang.org/x/sync/errgroup"

	"skepline/notify"
)

const (
	// workers are the delivery loops of one channel. More than one, so that a provider that
	// hangs on one batch does not hold up an emergency text.
	workers = 4
	// idle is the longest rest of a delivery loop: messages that other replicas committed
	// are found by looking.
	idle = 250 * time.Millisecond
	// tick is the longest rest of the timer loop, and so how late a timer may be.
	tick = time.Second
)

// loops starts everything that happens without being asked. They take new work while
// taking lasts; what is under way goes on while work does. Trouble is logged and tried
// again: a loop never gives up.
func (s *service) loops(taking, work context.Context, group *errgroup.Group) {
	loop := func(f func(taking, work context.Context)) {
		group.Go(func() error {
			f(taking, work)
			return nil
		})
	}
	loop(s.runTimers)
	loop(s.runErrands)
	delivery := s.hotline.Delivery(s.senders())
	delivery.Resolved, delivery.Settle, delivery.Kept = s.metrics.Resolved, s.settle, s.store.Kept
	remember := delivery.Ended
	delivery.Ended = func(done notify.Done, age time.Duration) {
		remember(done, age)
		s.metrics.Ended(done, age)
	}
	if s.hold > 0 {
		delivery.Hold = s.hold
	}
	if s.sms != nil {
		delivery.Resolvers = map[notify.Channel]notify.Resolver{notify.SMS: s.sms, notify.WhatsApp: s.sms}
	}
	for _, channel := range notify.Channels {
		for range workers {
			loop(func(taking, work context.Context) { s.deliver(taking, work, delivery, channel) })
		}
	}
	loop(func(taking, work context.Context) { s.every(taking, work, time.Minute, "audit", s.audit) })
	loop(func(taking, work context.Context) { s.every(taking, work, time.Hour, "sweep", s.store.Sweep) })
	loop(func(taking, work context.Context) { s.every(taking, work, 24*time.Hour, "seals", s.reseal) })
	loop(func(taking, work context.Context) { s.every(taking, work, time.Minute, "daily", s.daily) })
	loop(func(taking, work context.Context) { s.every(taking, work, time.Minute, "store", s.recheck()) })
	loop(func(taking, work context.Context) { s.every(taking, work, 2*time.Second, "pulse", s.pulse()) })
	loop(func(taking, work context.Context) { s.every(taking, work, 5*time.Second, "backlog", s.backlog) })
	loop(func(taking, work context.Context) { s.every(taking, work, time.Minute, "clock", s.setClock) })
	if s.sms != nil {
		loop(func(taking, _ context.Context) { s.ended("sms log", s.sms.Poll(taking)) })
	}
	switch {
	case s.telegram == nil:
	case s.env.TelegramWebhookSecret == "":
		loop(func(taking, _ context.Context) { s.ended("telegram poll", s.telegram.Poll(taking)) })
	default:
		loop(func(taking, work context.Context) { s.setWebhook(taking, work) })
	}
}

// trouble tells of a loop's trouble when it begins and when it is over, not at every turn.
type trouble struct {
	log  *slog.Logger // with the loop's name
	last string
}

func (t *trouble) tell(err error) {
	switch {
	case err == nil && t.last != "":
		t.log.Info("works again")
		t.last = ""
	case err != nil && err.Error() != t.last:
		t.log.Error("does not work; trying again", "error", err)
		t.last = err.Error()
	}
}

// calmly takes a fault of ours in one turn of a loop for that turn's trouble: it must not take
// everything else down.
func (s *service) calmly(loop string, turn func() error) (err error) {
	defer func() {
		if recover() != nil {
			s.log.Error("a loop broke", "loop", loop, "stack", string(debug.Stack()))
			err = errors.New("a fault in the program; see the stack above")
		}
	}()
	return turn()
}

func (s *service) trouble(loop string) *trouble { return &trouble{log: s.log.With("loop", loop)} }

func (s *service) ended(loop string, err error) {
	if err != nil && !errors.Is(err, context.Canceled) {
		s.log.Error("a loop ended", "loop", loop, "error", err)
	}
}

// runTimers hears timers as they come due.
func (s *service) runTimers(taking, work context.Context) {
	trouble := s.trouble("timers")
	for taking.Err() == nil {
		var heard int
		var wait time.Duration
		err := s.calmly("timers", func() (err error) { heard, wait, err = s.hotline.RunTimers(work); return err })
		trouble.tell(err)
		if err != nil {
			wait = tick
		}
		if heard > 0 {
			continue
		}
		rest(taking, min(wait, tick))
	}
}

// runErrands looks up outside what decisions want to know. No talk waits for it.
func (s *service) runErrands(taking, work context.Context) {
	trouble := s.trouble("errands")
	for taking.Err() == nil {
		var made bool
		var wait time.Duration
		err := s.calmly("errands", func() (err error) { made, wait, err = s.hotline.RunErrand(work, s.outside); return err })
		trouble.tell(err)
		switch {
		case made && err == nil:
		case err != nil:
			rest(taking, tick)
		default:
			s.chimes.errands.rest(taking, min(wait, tick))
		}
	}
}

// deliver sends what a channel's outbox holds.
func (s *service) deliver(taking, work context.Context, d *notify.Delivery, channel notify.Channel) {
	trouble := s.trouble("delivery " + string(channel))
	for taking.Err() == nil {
		var wait time.Duration
		err := s.calmly("delivery", func() (err error) { _, wait, err = d.Step(work, channel, s.clock.Now()); return err })
		trouble.tell(err)
		switch {
		case err != nil:
			rest(taking, tick)
		case wait > 0:
			s.chimes.channels[channel].rest(taking, min(wait, idle))
		}
	}
}

// every does something now and then at intervals.
func (s *service) every(taking, work context.Context, d time.Duration, what string, do func(context.Context) error) {
	trouble := s.trouble(what)
	for taking.Err() == nil {
		trouble.tell(s.calmly(what, func() error { return do(work) }))
		rest(taking, d)
	}
}

func (s *service) audit(ctx context.Context) error {
	found, err := s.hotline.Audit(ctx)
	s.metrics.Audited(found)
	if err != nil || found > 0 {
		return err
	}
	return s.aliveAndWell(ctx)
}

// daily tells the stewards of the day before, once a morning.
func (s *service) daily(ctx context.Context) error {
	_, _, err := s.hotline.Daily(ctx)
	return err
}

// setClock sets the clock by that of Redis.
func (s *service) setClock(ctx context.Context) error {
	now, err := s.store.Now(ctx)
	if err == nil {
		s.clock.set(now)
	}
	return err
}

// setWebhook tells Telegram where to bring updates, until it has heard it.
func (s *service) setWebhook(taking, work context.Context) {
	trouble := s.trouble("telegram webhook")
	for taking.Err() == nil {
		err := s.telegram.SetWebhook(work)
		trouble.tell(err)
		if err == nil {
			return
		}
		rest(taking, 30*time.Second)
	}
}
