package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"time"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/notify"
)

// config is what settings and environment say together.
type config struct {
	settings *bot.Settings
	env      bot.Environment
	inMemory bool
	log      *slog.Logger

	// Tests change these.
	listen func(address string) (net.Listener, error)
	pace   map[notify.Channel]time.Duration // none = the store's
	chat   time.Duration                    // between two messages to one chat; 0 = the store's, less = none
	settle time.Duration                    // how long a send in doubt rests; 0 = as usual
	hold   time.Duration                    // how long a message in hand is held; 0 = as usual
	lease  time.Duration                    // how long one replica polls Telegram unrenewed; 0 = as usual
	sweep  time.Duration                    // how often the provider's log is read; 0 = as usual
	linger time.Duration                    // how long a hotline that must end goes on serving

	decider func(bot.Facts) (bot.Change, bot.Need) // plants faults; nil = bot.Decide
}

// lingerFor gives a load balancer time to see that this replica is not ready any more.
const lingerFor = 5 * time.Second

// settings reads the settings at path, "" for where SKEPLINE_HOTLINE points.
func (t *terminal) settings(path string) (*bot.Settings, error) {
	if path == "" {
		path = t.getenv("SKEPLINE_HOTLINE")
	}
	return bot.LoadSettings(path)
}

// config reads settings and environment. It reports the faults of both.
func (t *terminal) config(path string) (config, error) {
	env, envErr := bot.ReadEnvironment(t.getenv)
	settings, err := t.settings(path)
	var pace map[notify.Channel]time.Duration
	var chat time.Duration
	if settings != nil {
		settings.PublicURL, pace, chat = env.PublicURL, settings.Rates.Gaps(), settings.Rates.ChatGap()
	}
	return config{
		settings: settings, env: env, pace: pace, chat: chat, log: slog.New(slog.NewJSONHandler(t.errs, nil)), linger: lingerFor,
		listen: func(address string) (net.Listener, error) { return net.Listen("tcp", address) },
	}, errors.Join(envErr, err)
}

// options are those of the store.
func (c config) options() store.Options {
	return store.Options{
		URL: c.env.RedisURL.Reveal(), Hotline: c.settings.Tag, Pace: c.pace, ChatPace: c.chat,
		Fuse:    store.Fuse{SegmentsADay: c.settings.Limits.SegmentsADay, Reserve: c.settings.Limits.SafetyReserve},
		Secrets: c.secrets(),
	}
}

// openStore opens the store without asking it anything.
func (c config) openStore() (*store.Store, error) {
	opts := c.options()
	switch {
	case c.inMemory:
		st, _, err := store.OpenEmbeddedWith(opts)
		return st, err
	case opts.URL == "":
		return nil, errors.New("SKEPLINE_REDIS_URL is not set; set it to a Redis such as redis://localhost:6379/0")
	case len(opts.Secrets) == 0:
		return nil, errNoSecret
	}
	return store.Open(opts)
}

var errNoSecret = errors.New("SKEPLINE_SECRET is not set; set it to 32 random bytes or more, from: openssl rand -base64 32")

// secrets are those of the environment, the newest first.
func (c config) secrets() (all [][]byte) {
	for _, s := range c.env.Secrets {
		all = append(all, []byte(s.Reveal()))
	}
	return all
}

// checked looks at the store: what a person must change is an error of one sentence, what
// they should change is logged.
func (c config) checked(ctx context.Context, st *store.Store) (store.Profile, error) {
	profile, problems, err := st.Check(ctx, time.Now())
	if err != nil {
		return profile, fmt.Errorf("no answer from Redis: check SKEPLINE_REDIS_URL and that Redis runs (%w)", err)
	}
	for _, p := range problems {
		if p.Fatal {
			return profile, errors.New(p.Sentence)
		}
		c.log.Warn(p.Sentence)
	}
	return profile, nil
}

// hotline returns the flow over a store.
func (c config) hotline(st bot.Store, clock bot.Clock) (*bot.Hotline, error) {
	h := &bot.Hotline{Settings: c.settings, Secrets: c.secrets(), Store: st, Clock: clock, Log: c.log}
	if len(h.Secrets) > 0 {
		return h, nil
	}
	if !c.inMemory {
		return nil, errNoSecret
	}
	// Nothing outlives the program, so neither need the secret.
	h.Secrets = [][]byte{make([]byte, 32)}
	_, err := rand.Read(h.Secrets[0])
	return h, err
}

// replica returns a name for this process that no other one has.
func replica() string {
	host, err := os.Hostname()
	if err != nil {
		host = "replica"
	}
	return host + "-" + strconv.Itoa(os.Getpid()) + "-" + rand.Text()[:6]
}
