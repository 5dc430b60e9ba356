package main

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/notify"
)

// recheck returns the look at Redis' settings that is taken every minute: a failover, or
// somebody's hand, may have changed them. What is new about them is logged.
func (s *service) recheck() func(context.Context) error {
	last := ""
	return func(ctx context.Context) error {
		profile, problems, err := s.store.Check(ctx, time.Now())
		if err != nil {
			return err
		}
		said := profile.Name
		for _, p := range problems {
			said += "; " + p.Sentence
		}
		if said != last && last != "" {
			s.log.Warn("the store has changed", "now", said, "loses", profile.Loses)
		}
		last = said
		return nil
	}
}

// reseal seals under the newest secret what is not, so that older ones can be given up.
func (s *service) reseal(ctx context.Context) error {
	found, err := s.store.Reseal(ctx)
	if err == nil && found.Older+found.Plain > 0 {
		s.log.Info("sealed anew under the newest secret", "values", found.Older+found.Plain)
	}
	if err == nil && found.Lost > 0 {
		err = fmt.Errorf("%d values of the store cannot be opened: put the secret they were sealed with back into SKEPLINE_SECRET, behind the newest", found.Lost)
	}
	return err
}

// repairFor is how long after a loss takes are looked at again: a catcher may have been told
// by a message that was on its way.
const repairFor = 30 * time.Second

// pulse returns the look that notices when Redis has gone back, which a failover does: a copy
// answers, or a counter goes back. Then what catchers were told is held against what Redis
// still knows, the provider's log is read again, so that no text of a caller is lost for good,
// and the stewards hear of it.
func (s *service) pulse() func(context.Context) error {
	var loss *store.Loss
	var noticed time.Time
	told := false
	return func(ctx context.Context) error {
		found, err := s.store.Pulse(ctx)
		if err != nil {
			return err
		}
		if found != nil {
			loss, noticed, told = found, time.Now(), false
			s.metrics.Failover(found.Why)
			s.log.Error("Redis went back: what was acknowledged in its last moments may be lost", "noticed_by", found.Why)
		}
		if loss == nil {
			return nil
		}
		if !told {
			if err := s.tellOf(ctx, loss); err != nil {
				return err
			}
			told = true
		}
		if time.Since(noticed) > repairFor {
			loss = nil
			return nil
		}
		return s.hotline.Reconcile(ctx, loss.Name, s.metrics.Repaired)
	}
}

// tellOf lets the stewards know of a loss and reads the provider's log at once. A server that
// only started anew has what its profile promises, so nobody is woken for that.
func (s *service) tellOf(ctx context.Context, loss *store.Loss) error {
	if loss.Why != "restarted" {
		if _, err := s.hotline.Hear(ctx, bot.WentBack{Event: bot.EventID("wb:" + loss.Name)}); err != nil {
			return err
		}
	}
	if s.sms != nil {
		return s.sms.SweepStep(ctx, s.clock.Now())
	}
	return nil
}

// backlog shows how much waits.
func (s *service) backlog(ctx context.Context) error {
	b, err := s.store.Backlog(ctx)
	if err != nil {
		return err
	}
	s.metrics.Waits("timers", b.Timers.Count, b.Timers.Late)
	for lane, w := range b.Lanes {
		s.metrics.Waits(lane, w.Count, w.Late)
	}
	for _, class := range notify.Classes {
		s.metrics.WaitsOf(class, b.Classes[class].Count, b.Classes[class].Late)
	}
	for _, channel := range notify.Channels {
		s.metrics.Down(channel, b.Down[channel])
	}
	s.metrics.Spent(b.SpentToday, s.settings.Limits.SegmentsADay)
	return s.spending(ctx, b.SpentToday)
}

// spending tells the stewards when half of the day's money is spent, most of it, and all.
func (s *service) spending(ctx context.Context, segments int) error {
	event, ok := s.settings.SpentOn(s.clock.Now(), segments)
	if !ok || event.Event == s.told {
		return nil
	}
	_, err := s.hotline.Hear(ctx, event)
	if err == nil {
		s.told = event.Event
	}
	return err
}

// aliveAndWell tells whoever listens that an audit has passed.
func (s *service) aliveAndWell(ctx context.Context) error {
	s.metrics.Well(time.Now())
	if s.settings.Audit.DeadMan == "" {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.settings.Audit.DeadMan, nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return fmt.Errorf("the dead man's link does not answer") // the link is a secret of a kind
	}
	_ = answer.Body.Close() // its status is all that counts
	if answer.StatusCode >= 300 {
		return fmt.Errorf("the dead man's link answers %d", answer.StatusCode)
	}
	return nil
}
