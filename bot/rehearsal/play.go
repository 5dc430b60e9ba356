package rehearsal

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/alicebob/miniredis/v2"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/intake"
	"skepline/notify"
)

// Player plays transcripts. Its fields are set once; it may play several at the same time.
type Player struct {
	Settings *bot.Settings // nil = the built-in hotline
	Log      *slog.Logger  // nil = silent
}

// Run plays t from its first line to its last on an empty hotline of its own. What was
// expected and did not come is in the report; an error means that the play itself broke.
func (p Player) Run(ctx context.Context, t Transcript) (Report, error) {
	s, err := p.stage(t)
	if err != nil {
		return Report{}, fmt.Errorf("%s: set the stage: %w", t.Name, err)
	}
	defer func() { _ = s.store.Close() }() // an embedded store has nothing to lose
	for _, a := range t.acts {
		if err := s.perform(ctx, a); err != nil {
			return s.report, fmt.Errorf("%s:%d: %w", t.Name, a.lineNo(), err)
		}
	}
	return s.report, nil
}

// stage is one performance: a hotline, its clock and everybody's phones.
type stage struct {
	hotline  *bot.Hotline
	delivery *notify.Delivery
	store    *store.Store
	redis    *miniredis.Miniredis
	clock    *clock
	phones   *phones
	events   int // heard so far, for their ids
	maps     charted
	cards    map[string]string // contact cards sent, as their provider keeps them
	morning  time.Time         // when the stewards' next line is due
	report   Report
}

func (p Player) stage(t Transcript) (*stage, error) {
	settings := bot.DefaultSettings()
	if p.Settings != nil {
		copied := *p.Settings
		settings = &copied
	}
	settings.Stewards = slices.Clone(settings.Stewards)
	// Nothing waits for the sender's rate: a rehearsal's clock moves by "later" alone.
	none := map[notify.Channel]time.Duration{notify.SMS: 0, notify.WhatsApp: 0, notify.Telegram: 0}
	st, redis, err := store.OpenEmbeddedWith(store.Options{Hotline: "rehearsal", Pace: none, ChatPace: -1})
	if err != nil {
		return nil, err
	}
	log := p.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	secret := sha256.Sum256([]byte("rehearsal")) // the same every time, so that references are
	start := t.start
	local := time.Date(start.Year(), start.Month(), start.Day(), start.Hour(), start.Minute(), 0, 0, settings.Zone())
	s := &stage{maps: charted{}, store: st, redis: redis, clock: &clock{now: local}}
	s.report.story = &story{title: settings.Name, clock: s.clock}
	s.phones = newPhones(s.report.story)
	s.cards = map[string]string{}
	s.hotline = &bot.Hotline{Settings: settings, Secrets: [][]byte{secret[:]}, Store: st, Clock: s.clock, Log: log, Fetch: s.card}
	s.delivery = s.hotline.Delivery(map[notify.Channel]notify.Sender{
		notify.SMS: s.phones, notify.WhatsApp: s.phones, notify.Telegram: s.phones,
	})
	s.delivery.Batch = 1 // one after the other, so that the story is the same every time
	redis.SetTime(local)
	return s, nil
}

// errand makes one errand. Without a map server on paper there is none to make.
func (s *stage) errand(ctx context.Context) (made bool, wait time.Duration, err error) {
	if len(s.maps) == 0 && len(s.cards) == 0 {
		return false, time.Hour, nil
	}
	return s.hotline.RunErrand(ctx, bot.Outside{Maps: s.maps})
}

// card is a provider that keeps the cards sent.
func (s *stage) card(_ context.Context, name string) (io.ReadCloser, error) {
	return io.NopCloser(strings.NewReader(s.cards[name])), nil
}

// charted is a map server on paper: what the transcript says it knows.
type charted map[string]bot.Point

// Search returns the place of exactly these words.
func (m charted) Search(_ context.Context, words string, _ intake.Setting) ([]intake.Spot, error) {
	point, ok := m[strings.ToLower(words)]
	if !ok {
		return nil, nil
	}
	return []intake.Spot{{Name: words, Place: intake.Place{Lat: point.Lat, Lon: point.Lon, Text: words, PrecisionM: 60}}}, nil
}

// clock is a clock that stands still until it is moved.
type clock struct {
	mu  sync.Mutex // pages may look while it is moved
	now time.Time
}

// Now returns the time of the rehearsal.
func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Sleep returns at once: whoever waits in a rehearsal waits for nothing.
func (c *clock) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func (s *stage) setTime(t time.Time) {
	s.clock.mu.Lock()
	s.clock.now = t
	s.clock.mu.Unlock()
	s.redis.SetTime(t)
}

// perform carries out one line.
func (s *stage) perform(ctx context.Context, a act) error {
	switch a := a.(type) {
	case meetPhone:
		_, err := s.phones.hand(a.owner)
		return err
	case meetSteward:
		return s.meetSteward(a)
	case meetCatcher:
		return s.meetCatcher(ctx, a)
	case says:
		return s.says(ctx, a.who, bot.Said{Text: bot.Typed(a.text)})
	case pins:
		return s.says(ctx, a.who, bot.Said{Pin: &a.point})
	case sendsPhoto:
		return s.says(ctx, a.who, bot.Said{Text: bot.Typed(a.caption), Photos: []string{s.photo(a.who)}})
	case sendsCard:
		name := fmt.Sprintf("tw:%d/card", s.events)
		s.cards[name] = "BEGIN:VCARD\nVERSION:3.0\nFN:Gwen\n" + a.line + "\nEND:VCARD\n"
		return s.says(ctx, a.who, bot.Said{Card: name})
	case rings:
		h := s.phones.byName[a.who]
		s.report.story.acted(h, "rings")
		return s.hear(ctx, bot.Rang{Event: s.event(h), From: h.address})
	case taps:
		return s.taps(ctx, a)
	case charts:
		s.maps[strings.ToLower(a.words)] = a.point
		s.hotline.Settings.Places.Nominatim = "https://maps.rehearsal"
		return nil
	case later:
		return s.later(ctx, a.by)
	case expects:
		s.look(a)
		return nil
	}
	return fmt.Errorf("nobody knows how to perform a %T", a)
}

func (s *stage) meetSteward(a meetSteward) error {
	h, err := s.phones.hand(a.owner)
	if err == nil && !s.hotline.Settings.IsSteward(h.address) {
		s.hotline.Settings.Stewards = append(s.hotline.Settings.Stewards, string(h.address))
	}
	return err
}

func (s *stage) meetCatcher(ctx context.Context, a meetCatcher) error {
	h, err := s.phones.hand(a.owner)
	if err != nil {
		return err
	}
	a.catcher.Address, h.catcher = h.address, true
	s.events++
	return s.hear(ctx, bot.Enrolled{Event: bot.EventID(fmt.Sprintf("ro:%d", s.events)), Catcher: a.catcher})
}

func (s *stage) says(ctx context.Context, who string, said bot.Said) error {
	h := s.phones.byName[who]
	said.Event, said.From = s.event(h), h.address
	if h.channel == notify.Telegram {
		said.Profile, said.Language = capitalised(h.name), h.language
	}
	s.report.story.said(h, said)
	return s.hear(ctx, said)
}

// taps presses a button. One that is not there is an expectation that failed.
func (s *stage) taps(ctx context.Context, a taps) error {
	h := s.phones.byName[a.who]
	button, there := h.button(a.label)
	if !there {
		s.report.fail(a.lineNo(), "a button "+quote(a.label)+" on "+a.who+"'s screen", listed(h.labels()))
		return nil
	}
	s.report.story.acted(h, "taps ["+button.Label+"]")
	tapped := bot.Tapped{Event: s.event(h), From: h.address, Says: button.Says, Profile: capitalised(h.name), Language: h.language}
	return s.hear(ctx, tapped)
}

func (s *stage) look(e expects) {
	h := s.phones.byName[e.who]
	if e.kind == next && len(h.waiting) > 0 {
		s.report.heard(e.lineNo(), e.who, h.waiting[0])
	}
	if want, got := h.look(e); want != "" {
		s.report.fail(e.lineNo(), want, got)
	}
}

// event makes the id of h's next event, as the doors would.
func (s *stage) event(h *handset) bot.EventID {
	s.events++
	if h.channel == notify.Telegram {
		return bot.EventID(fmt.Sprintf("tg:1:%d", s.events))
	}
	return bot.EventID(fmt.Sprintf("tw:%d", s.events))
}

func (s *stage) photo(who string) string {
	if s.phones.byName[who].channel == notify.Telegram {
		return fmt.Sprintf("tg:photo%d", s.events)
	}
	return fmt.Sprintf("tw:%d/photo%d", s.events, s.events)
}

// hear takes an event through the hotline and lets everything happen that follows from it
// at this instant.
func (s *stage) hear(ctx context.Context, e bot.Event) error {
	if _, err := s.hotline.Hear(ctx, e); err != nil {
		return err
	}
	return s.settle(ctx)
}

// settle runs timers and delivery until nothing is left to do at this instant.
func (s *stage) settle(ctx context.Context) error {
	const tooLong = 10_000 // a hotline that talks to itself
	for range tooLong {
		timers, wait, err := s.hotline.RunTimers(ctx)
		if err != nil {
			return err
		}
		errand, _, err := s.errand(ctx)
		if err != nil {
			return err
		}
		moved, err := s.deliver(ctx)
		if err != nil {
			return err
		}
		if timers == 0 && wait > 0 && !moved && !errand {
			return nil
		}
	}
	return fmt.Errorf("still not settled after %d rounds at %s", tooLong, s.clock.now.Format(time.RFC3339))
}

// deliver takes one step on every channel and reports whether anything moved.
func (s *stage) deliver(ctx context.Context) (moved bool, err error) {
	for _, channel := range notify.Channels {
		sent, wait, err := s.delivery.Step(ctx, channel, s.clock.now)
		if err != nil {
			return false, err
		}
		moved = moved || sent > 0 || wait == 0
	}
	return moved, nil
}

// dawn lets the stewards' line of the day before go out when its hour has come.
func (s *stage) dawn(ctx context.Context) (heard bool, err error) {
	if s.clock.now.Before(s.morning) {
		return false, nil
	}
	heard, until, err := s.hotline.Daily(ctx)
	s.morning = s.clock.now.Add(until)
	return heard, err
}

// quiet returns how long it is until the next timer or errand has its turn. The store itself
// looks no further than a minute, and weeks are rehearsed; five are few enough.
func (s *stage) quiet() time.Duration {
	next := 5 * time.Minute
	for _, queue := range []string{"timers", "errands"} {
		turns, err := s.redis.SortedSet("{" + s.hotline.Settings.Tag + "}:due:" + queue)
		if err != nil {
			continue // there is none
		}
		for _, ms := range turns {
			next = min(next, time.UnixMilli(int64(ms)).Sub(s.clock.now))
		}
	}
	return next
}

// later moves the clock on by d, from one due timer to the next.
func (s *stage) later(ctx context.Context, d time.Duration) error {
	end := s.clock.now.Add(d)
	for {
		timers, wait, err := s.hotline.RunTimers(ctx)
		if err != nil {
			return err
		}
		if timers > 0 {
			if err := s.settle(ctx); err != nil {
				return err
			}
			continue
		}
		errand, due, err := s.errand(ctx)
		if err != nil {
			return err
		}
		if errand {
			if err := s.settle(ctx); err != nil {
				return err
			}
			continue
		}
		morning, err := s.dawn(ctx)
		if err != nil {
			return err
		}
		if morning {
			if err := s.settle(ctx); err != nil {
				return err
			}
			continue
		}
		wait = min(max(min(wait, due), s.quiet()), s.morning.Sub(s.clock.now))
		left := end.Sub(s.clock.now)
		if left <= 0 {
			return s.settle(ctx)
		}
		s.setTime(s.clock.now.Add(min(max(wait, time.Millisecond), left)))
	}
}
