package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"skepline/bot"
	"skepline/bot/maps"
	"skepline/bot/store"
	"skepline/bot/web"
)

type checkCmd struct{}

// Run tries everything that serve needs and says one sentence on each. It fails when
// something keeps the hotline from working.
func (checkCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	config, err := t.config(c.Hotline)
	if err != nil {
		return err
	}
	say := func(sentence string) { _, _ = fmt.Fprintln(t.out, sentence) }
	say(fmt.Sprintf("The settings of %s are right.", config.settings.Name))
	wrong := 0
	for _, look := range []func(context.Context, func(string)) error{config.checkStore, config.checkDoors, config.checkMaps} {
		if err := look(ctx, say); err != nil {
			wrong++
			say(err.Error())
		}
	}
	if wrong > 0 {
		return errors.New("the hotline cannot run like this")
	}
	return nil
}

// checkStore says what Redis can lose and what should be changed.
func (c config) checkStore(ctx context.Context, say func(string)) error {
	st, err := c.openStore()
	if err != nil {
		return err
	}
	defer func() { _ = st.Close() }() // nothing was written
	profile, problems, err := st.Check(ctx, time.Now())
	if err != nil {
		return fmt.Errorf("no answer from Redis: check SKEPLINE_REDIS_URL and that Redis runs (%w)", err)
	}
	var fatal []error
	for _, p := range problems {
		if p.Fatal {
			fatal = append(fatal, errors.New(p.Sentence))
		} else {
			say(p.Sentence)
		}
	}
	if len(fatal) == 0 {
		say(fmt.Sprintf("Redis %s can be used (%s). %s", profile.Version, profile.Name, profile.Loses))
	}
	if _, err := c.hotline(st, &clock{}); err != nil {
		fatal = append(fatal, err)
	}
	if len(fatal) == 0 {
		fatal = append(fatal, c.checkSeals(ctx, st, say))
	}
	return errors.Join(fatal...)
}

// checkSeals says how much of what the store keeps of people waits for the newest secret.
func (c config) checkSeals(ctx context.Context, st *store.Store, say func(string)) error {
	found, err := st.Seals(ctx)
	if err != nil {
		return err
	}
	if found.Lost > 0 {
		return fmt.Errorf("%d values in Redis cannot be opened: put the secret they were sealed with back into SKEPLINE_SECRET, behind the newest", found.Lost)
	}
	if waiting := found.Older + found.Plain; waiting > 0 {
		say(fmt.Sprintf("%d of %d values in Redis are not under the newest secret yet: a running hotline seals them within a day; keep the older secrets until none is left.",
			waiting, waiting+found.Newest))
		return nil
	}
	say("Everything that Redis keeps of people is sealed under the newest secret.")
	return nil
}

// checkMaps asks the map server and the road server whether they are there, if the hotline
// has any.
func (c config) checkMaps(ctx context.Context, say func(string)) error {
	if server := c.settings.Places.Nominatim; server != "" {
		if err := maps.New(server).Check(ctx); err != nil {
			return fmt.Errorf("places.nominatim cannot be used: %w", err)
		}
		say("The map server answers.")
	}
	if server := c.settings.Travel.OSRM; server != "" {
		if err := maps.NewRoads(server).Check(ctx, bot.Point{Lat: c.settings.Latitude, Lon: c.settings.Longitude}); err != nil {
			return fmt.Errorf("travel.osrm cannot be used: %w", err)
		}
		say("The road server answers.")
	}
	return nil
}

// checkDoors tries the providers' credentials.
func (c config) checkDoors(ctx context.Context, say func(string)) error {
	s := &service{config: c, clock: &clock{}, metrics: web.NewMetrics()}
	s.log = slog.New(slog.DiscardHandler) // what it would say is said below
	s.openDoors()
	var wrong []error
	try := func(channel string, on bool, check func(context.Context) error) {
		if !on {
			say(channel + " is off: its credentials are not set.")
			return
		}
		if err := check(ctx); err != nil {
			wrong = append(wrong, err)
			return
		}
		say(channel + " is on, and its provider takes the credentials.")
	}
	try("SMS", s.sms != nil, func(ctx context.Context) error { return s.sms.Check(ctx) })
	try("Telegram", s.telegram != nil, func(ctx context.Context) error { return s.telegram.Check(ctx) })
	if s.sms == nil && s.telegram == nil {
		wrong = append(wrong, errors.New("no channel is on, so nobody can reach the hotline: set the credentials of one"))
	}
	return errors.Join(wrong...)
}
