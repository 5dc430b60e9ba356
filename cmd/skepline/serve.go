package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"skepline/bot"
	"skepline/bot/maps"
	"skepline/bot/plots"
	"skepline/bot/sms"
	"skepline/bot/store"
	"skepline/bot/telegram"
	"skepline/bot/web"
	"skepline/intake"
	"skepline/notify"
)

type serveCmd struct {
	InMemory bool `help:"Run without Redis. Nothing survives the end of the program."`
}

// Run serves until a signal comes.
func (s serveCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	config, err := t.config(c.Hotline)
	if err != nil {
		return err
	}
	config.inMemory = s.InMemory
	sweepSeldom(t.getenv)
	return run(ctx, config)
}

// sweepSeldom lets the garbage grow to some four times of what lives, as long as that is little
// on the smallest server: the tables of the readers live, and each sweep looks at them all. With
// the program itself in memory the limit keeps the whole below 128 MB.
func sweepSeldom(getenv func(string) string) {
	if getenv("GOGC") == "" && getenv("GOMEMLIMIT") == "" {
		debug.SetGCPercent(400)
		debug.SetMemoryLimit(leastRoom)
		keepRoom(leastRoom)
	}
}

const leastRoom = 96 << 20 // bytes

// keepRoom moves the limit after every sweep to twice of what lives, where that is more: below
// it a hotline with very many open calls would do little but sweep. limit is the present one.
func keepRoom(limit int64) {
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	if live[0].Value.Kind() != metrics.KindUint64 {
		return // a Go that does not tell
	}
	// To move it stops the program for a moment, so that small steps are not taken.
	if wanted := max(leastRoom, 2*int64(live[0].Value.Uint64())); wanted > limit || wanted < limit*3/4 {
		limit = wanted
		debug.SetMemoryLimit(limit)
	}
	runtime.AddCleanup(new([64]byte), keepRoom, limit)
}

// run serves until ctx ends, and then ends in order.
func run(ctx context.Context, c config) error {
	s, err := open(ctx, c)
	if err != nil {
		return err
	}
	return errors.Join(s.serve(ctx), s.store.Close())
}

// service is one running replica.
type service struct {
	config
	clock    *clock
	store    *store.Store
	hotline  *bot.Hotline
	metrics  *web.Metrics
	health   *web.Health
	chimes   chimes         // ring when there is something to send
	sms      *sms.Door      // nil = off
	telegram *telegram.Door // nil = off
	outside  bot.Outside    // who answers look-ups
	told     bot.EventID    // the last mark of spending that the stewards heard of
}

// open opens the store, looks whether it is safe, and puts everything together.
func open(ctx context.Context, c config) (*service, error) {
	st, err := c.openStore()
	if err != nil {
		return nil, err
	}
	s := &service{config: c, clock: &clock{}, store: st, metrics: web.NewMetrics(), chimes: newChimes()}
	profile, err := c.checked(ctx, st)
	if err == nil {
		s.hotline, err = c.hotline(chiming{s.metrics.Store(st), s.chimes}, s.clock)
	}
	if err != nil {
		return nil, errors.Join(err, st.Close())
	}
	c.log.Info(profile.Loses, "store", profile.Name, "redis", profile.Version)
	s.health = &web.Health{Now: time.Now, Look: s.look}
	s.openDoors()
	s.hotline.Fetch, s.hotline.Parked, s.hotline.Decider = s.fetch, s.metrics.Parked, c.decider
	return s, nil
}

// openDoors builds the doors that have credentials and says which are off.
func (s *service) openDoors() {
	owner, client := replica(), &http.Client{Transport: providers()}
	heard := s.metrics.Hear(settling{s.hotline, s.store.Kept})
	if s.env.HasSMS() {
		s.sms = sms.New(sms.Config{
			AccountSID: s.env.TwilioAccountSID, AuthTokens: revealed(s.env.TwilioAuthTokens), From: s.env.TwilioFrom,
			APIURL: s.env.TwilioAPIURL, PublicURL: s.env.PublicURL, Country: s.settings.Country, VoiceWords: voiceWords(s.settings),
			Hearer: heard, Reports: s.hotline, Holder: s.store, Marks: s.store, Owner: owner, Clock: s.clock, Log: s.log, SweepEvery: s.sweep, Client: client,
		})
		s.log.Info("SMS and WhatsApp are on.")
	} else {
		s.log.Warn("SMS is off: TWILIO_ACCOUNT_SID is not set.")
	}
	if s.env.HasTelegram() {
		s.telegram = telegram.New(telegram.Config{
			Token: s.env.TelegramBotToken.Reveal(), Secret: s.env.TelegramWebhookSecret.Reveal(),
			APIURL: s.env.TelegramAPIURL, PublicURL: s.env.PublicURL, TapWords: bot.TapWords, Picture: s.picture,
			Hearer: heard, Holder: s.store, Owner: owner, Clock: s.clock, Log: s.log, Lease: s.lease, Client: client,
		})
		s.log.Info("Telegram is on.")
	} else {
		s.log.Warn("Telegram is off: TELEGRAM_BOT_TOKEN is not set.")
	}
	if server := s.settings.Places.Nominatim; server != "" {
		s.outside.Maps = maps.New(server)
	}
	if server := s.settings.Travel.OSRM; server != "" {
		s.outside.Roads = maps.NewRoads(server)
	}
	if s.sms != nil && s.env.PublicURL == "" {
		s.log.Info("SMS is read from the provider's log every 10 s: SKEPLINE_PUBLIC_URL is not set.")
	}
}

// providers is the way to both providers. The usual one keeps two connections to a server open
// and makes a new one, with its handshake, for every further message under way.
func providers() http.RoundTripper {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = workers * 16 // as many as are under way at once
	return t
}

// voiceWords is what a phone call hears, by language. The emergency number's digits are set
// apart, or a machine says "nine hundred and eleven".
func voiceWords(s *bot.Settings) map[string]string {
	number := strings.Join(strings.Split(s.EmergencyNumber, ""), " ")
	words := map[string]string{}
	for _, language := range s.Languages {
		words[language] = intake.Words{Language: language, Chat: true}.Say("voice", map[string]any{"Emergency": number})
	}
	return words
}

// settling says "yours" on the spot only when Redis cannot lose it with one server.
type settling struct {
	*bot.Hotline
	kept func(context.Context) (bool, error)
}

// hearWithin bounds how long an event may take, so that a provider hears within five seconds
// that it must bring it again: Twilio turns to the fallback after 15 (errors/11205).
const hearWithin = 4500 * time.Millisecond

// Hear hears e.
func (r settling) Hear(ctx context.Context, e bot.Event) (bot.Outcome, error) {
	ctx, cancel := context.WithTimeout(ctx, hearWithin)
	defer cancel()
	outcome, err := r.Hotline.Hear(ctx, e)
	if err == nil && outcome == bot.OutcomeWon {
		if kept, err := r.kept(ctx); err != nil || !kept {
			return bot.OutcomeSettling, nil
		}
	}
	return outcome, err
}

// look is one look at the store for /readyz.
func (s *service) look(ctx context.Context) (web.State, error) {
	profile, problems, err := s.store.Check(ctx, time.Now())
	state := web.State{Profile: profile.Name, Loses: profile.Loses}
	for _, p := range problems {
		if p.Fatal {
			state.Problem = p.Sentence
		}
	}
	return state, err
}

// routes are the doors' webhooks; a door that is off has none.
func (s *service) routes() http.Handler {
	routes := web.Routes{Health: s.health, Log: s.log, Pages: s.pages()}
	if s.sms != nil {
		routes.Message, routes.Status, routes.Voice = s.sms.ServeMessage, s.sms.ServeStatus, s.sms.ServeVoice
	}
	if s.telegram != nil && s.env.TelegramWebhookSecret != "" {
		routes.Telegram = s.telegram.ServeHTTP
	}
	return routes.Handler()
}

// pages are on when people can reach them, or when there is a desk to look at.
func (s *service) pages() *web.Pages {
	if s.env.PublicURL == "" && s.env.StewardPassword == "" {
		return nil
	}
	return &web.Pages{
		Look: s.hotline, Kept: s.store.Kept, Hear: s.metrics.Hear(settling{s.hotline, s.store.Kept}), PublicURL: s.env.PublicURL,
		Language: s.settings.DefaultLanguage(), Password: s.env.StewardPassword, Secret: s.hotline.Secrets[0],
		Now: s.clock.Now, Photo: s.photo, Plots: drawn, Log: s.log, Privacy: privacy(s.settings, s.sms != nil, s.telegram != nil),
	}
}

// drawn are a season's plots for the desk.
func drawn(title string, s bot.Summary) ([]web.Plot, error) {
	drawings, err := plots.Season(title, s)
	if err != nil {
		return nil, err
	}
	var all []web.Plot
	for _, d := range drawings {
		var svg bytes.Buffer
		if err := d.Write(&svg, "svg"); err != nil {
			return nil, err
		}
		all = append(all, web.Plot{Name: d.Name, SVG: svg.Bytes()})
	}
	return all, nil
}

// privacy is what the page about it says of this hotline.
func privacy(s *bot.Settings, sms, telegram bool) web.Privacy {
	p := web.Privacy{
		Hotline: s.Name, Emergency: s.EmergencyNumber, Languages: s.Languages, Days: s.KeptDays(),
		Maps: s.Places.Nominatim != "", Tiles: s.Map.Tiles != "",
	}
	if sms {
		p.Services = append(p.Services, "Twilio")
	}
	if telegram {
		p.Services = append(p.Services, "Telegram")
	}
	return p
}

// photo fetches a picture from the provider that has it.
func (s *service) photo(ctx context.Context, name string) (io.ReadCloser, error) {
	channel, id, _ := strings.Cut(name, ":")
	switch {
	case channel == "sk":
		held, err := s.hotline.Picture(ctx, id)
		if err == nil && held == nil {
			err = errors.New("the picture is not kept any more")
		}
		return io.NopCloser(bytes.NewReader(held)), err
	case channel == "tw" && s.sms != nil:
		return s.sms.Photo(ctx, id)
	case channel == "tg" && s.telegram != nil:
		return s.telegram.Photo(ctx, id)
	}
	return nil, errors.New("no way to the provider of this picture")
}

// picture opens a picture for a channel that does not have it: one that we draw, or one that
// another provider keeps.
func (s *service) picture(ctx context.Context, name string) (io.ReadCloser, error) {
	drawn, ours := strings.CutPrefix(name, bot.PicturePrefix)
	if !ours {
		return s.plainPicture(ctx, name)
	}
	season, err := s.hotline.ReadSeason(ctx)
	if err != nil {
		return nil, err
	}
	var png bytes.Buffer
	if err := plots.Draw(&png, s.settings.Name, season, drawn); err != nil {
		return nil, err
	}
	return io.NopCloser(&png), nil
}

// plainPicture is a picture of another provider's with nothing in it but what can be seen.
func (s *service) plainPicture(ctx context.Context, name string) (io.ReadCloser, error) {
	from, err := s.photo(ctx, name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = from.Close() }() // everything was read
	picture, err := web.ReadPicture(from)
	return io.NopCloser(bytes.NewReader(picture)), err
}

// fetch brings a contact card whole, within a lease of its errand.
func (s *service) fetch(ctx context.Context, name string) (io.ReadCloser, error) {
	const within = 10 * time.Second
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	body, err := s.photo(ctx, name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = body.Close() }() // it was only read
	card, err := io.ReadAll(io.LimitReader(body, intake.LongestCard+1))
	if err != nil {
		return nil, errors.New("the provider's answer broke off")
	}
	return io.NopCloser(bytes.NewReader(card)), nil
}

func revealed(secrets []bot.Secret) (all []string) {
	for _, s := range secrets {
		all = append(all, s.Reveal())
	}
	return all
}

// senders are the doors by channel.
func (s *service) senders() map[notify.Channel]notify.Sender {
	senders := map[notify.Channel]notify.Sender{}
	if s.sms != nil {
		senders[notify.SMS] = s.metrics.Sender(s.sms)
		senders[notify.WhatsApp] = senders[notify.SMS]
	}
	if s.telegram != nil {
		senders[notify.Telegram] = s.metrics.Sender(s.telegram)
	}
	return senders
}

// How the end goes, so that it is over within the 25 s that a supervisor usually allows.
const (
	finishWithin = 10 * time.Second // for requests under way
	abortAfter   = 20 * time.Second // then sends and commits under way are cut off
)

// serve runs servers and loops until ctx ends or a server breaks. Then it is not ready any
// more and its loops take nothing new; requests are served for a little longer, and what
// is under way is finished. A crash at any moment loses nothing either: this order only
// spares the doubt whether a message arrived.
func (s *service) serve(ctx context.Context) error {
	// work outlives ctx, for what is under way when ctx ends.
	work, abort := context.WithCancel(context.WithoutCancel(ctx))
	defer abort()
	group, taking := errgroup.WithContext(ctx)
	public, metrics := web.Server(s.routes()), web.Server(s.metrics.Handler())
	for _, server := range []struct {
		*http.Server
		address, what string
	}{{public, s.env.Listen, "SKEPLINE_LISTEN"}, {metrics, s.env.MetricsListen, "SKEPLINE_METRICS_LISTEN"}} {
		listener, err := s.listen(server.address)
		if err != nil {
			return fmt.Errorf("cannot listen on %s: %w; set %s to another address", server.address, err, server.what)
		}
		s.log.Info("listening", "address", listener.Addr().String(), "for", server.what)
		group.Go(func() error { return unlessClosed(server.Serve(listener)) })
	}
	s.loops(taking, work, group)
	group.Go(func() error {
		<-taking.Done()
		s.health.Drain()
		s.log.Info("ending: nothing new is taken")
		defer time.AfterFunc(abortAfter, abort).Stop()
		rest(work, s.linger)
		within, cancel := context.WithTimeout(work, finishWithin)
		defer cancel()
		return errors.Join(public.Shutdown(within), metrics.Close())
	})
	err := group.Wait()
	if s.telegram != nil {
		s.telegram.Drain()
	}
	return err
}

func unlessClosed(err error) error {
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}
