package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"golang.org/x/sync/errgroup"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/notify"
)

// TestMeasure holds the program against the floor: .ci/bench runs it. Load, providers, Redis,
// the program and the floor share the machine, and take turns in short legs, so that what
// disturbs one disturbs the other; only the ratios mean anything.
func TestMeasure(t *testing.T) {
	program := os.Getenv("SKEPLINE_BENCH")
	if program == "" {
		t.Skip("a measurement takes minutes: run .ci/bench")
	}
	m := newMeasure(t, program)
	for round := range m.rounds {
		m.round(round)
	}
	for range m.rounds {
		m.delivery()
	}
	m.poll()
	m.report()
}

// measure is one measurement.
type measure struct {
	*testing.T
	program     string // the binary
	dir         string
	rounds      int
	each        time.Duration // of a leg
	fsync       string        // Redis' appendfsync
	turns       int
	connections []int
	redis       *redis.Client
	redisURL    string
	redisPID    int
	provider    *provider
	people      people
	body        int                  // bytes of the documents of one person, for the floor
	item        int                  // bytes of one message in the outbox
	seen        map[string][]float64 // by name: one figure a round
	names       []string             // of seen, in order
}

// The texts of a caller, to the round of asks and beyond it, and of a first text alone.
var (
	wholeTalk = []string{"There's a ball of bees on my TREE tree, about N feet up", "nobody got stung",
		"N Mill Lane https://maps.google.com/?q=LAT,LON", "2", "4", "1"}
	intakeTalk = []string{"There's a ball of bees on my TREE tree, about N feet up", "nobody got stung"}
)

func newMeasure(t *testing.T, program string) *measure {
	whole := func(name string, usual int) int {
		n, err := strconv.Atoi(os.Getenv(name))
		if err != nil {
			return usual
		}
		return n
	}
	m := &measure{T: t, program: program, dir: t.TempDir(), rounds: whole("SKEPLINE_BENCH_ROUNDS", 7),
		each:  time.Duration(whole("SKEPLINE_BENCH_MS", 1200)) * time.Millisecond,
		fsync: cmp.Or(os.Getenv("SKEPLINE_BENCH_FSYNC"), "everysec"), connections: []int{32, 256}, provider: newProvider(t), seen: map[string][]float64{}}
	if n := whole("SKEPLINE_BENCH_CONNECTIONS", 0); n > 0 {
		m.connections = []int{n}
	}
	m.startRedis()
	t.Cleanup(func() {
		log, err := os.ReadFile(filepath.Join(m.dir, "serve.log"))
		if t.Failed() && err == nil {
			t.Logf("the program's last words:\n%s", log[max(0, len(log)-3000):])
		}
	})
	return m
}

func (m *measure) startRedis() {
	port := freePort(m.T)
	cmd := exec.Command("redis-server", "--port", port, "--bind", "127.0.0.1", "--dir", m.dir, "--save", "", "--appendonly", "yes",
		"--appendfsync", m.fsync, "--auto-aof-rewrite-percentage", "0", "--maxmemory-policy", "noeviction")
	if err := cmd.Start(); err != nil {
		m.Fatal(err)
	}
	m.Cleanup(func() { end(cmd, syscall.SIGKILL) })
	m.redisURL, m.redisPID = "redis://127.0.0.1:"+port, cmd.Process.Pid
	m.redis = redis.NewClient(&redis.Options{Addr: "127.0.0.1:" + port})
	m.until("Redis", func() bool { return m.redis.Ping(context.Background()).Err() == nil })
}

func (m *measure) until(what string, done func() bool) {
	m.Helper()
	for deadline := time.Now().Add(soon); !done(); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			m.Fatalf("waited in vain for %s", what)
		}
	}
}

// note keeps a figure of this round.
func (m *measure) note(name string, value float64) {
	if _, known := m.seen[name]; !known {
		m.names = append(m.names, name)
	}
	m.seen[name] = append(m.seen[name], value)
}

func middle(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}

// report prints the median of every figure, and of every ratio the median of the ratios of
// the rounds.
func (m *measure) report() {
	fmt.Printf("\n%d rounds, legs of %v, appendfsync %s, medians:\n", m.rounds, m.each, m.fsync)
	for _, name := range m.names {
		if !strings.HasPrefix(name, "ratio ") {
			fmt.Printf("  %-44s %10.4g\n", name, middle(m.seen[name]))
		}
	}
	for _, name := range m.names {
		if ratio, ok := strings.CutPrefix(name, "ratio "); ok {
			fmt.Printf("ratio %s: %.3f\n", ratio, middle(m.seen[name]))
		}
	}
}

// measured is one hotline's settings and their file.
type measured struct {
	file     string
	settings *bot.Settings
}

// hotline writes settings under which nothing stands in the way of load.
func (m *measure) hotline(tag, rates string) measured {
	file := noon(m.T)
	text, err := os.ReadFile(file)
	if err != nil {
		m.Fatal(err)
	}
	before, _, _ := strings.Cut(string(text), "tag = ")
	before += fmt.Sprintf("tag = %q\n[limits]\nsegments_a_day = 1000000\nnew_in_block_a_day = 10000\n[rates]\n%s\n", tag, rates)
	if err := os.WriteFile(file, []byte(before), 0o600); err != nil {
		m.Fatal(err)
	}
	settings, err := bot.LoadSettings(file)
	if err != nil {
		m.Fatal(err)
	}
	return measured{file: file, settings: settings}
}

// process is a program under measurement.
type process struct {
	*exec.Cmd
	address, profiles string
}

func (m *measure) process(cmd *exec.Cmd, more ...string) *process {
	m.Helper()
	p := &process{cmd, "127.0.0.1:" + freePort(m.T), "127.0.0.1:" + freePort(m.T)}
	p.Env = append(os.Environ(), "SKEPLINE_LISTEN="+p.address, "SKEPLINE_METRICS_LISTEN=127.0.0.1:"+freePort(m.T), "SKEPLINE_REDIS_URL="+m.redisURL,
		"SKEPLINE_PUBLIC_URL="+publicURL, "SKEPLINE_SECRET="+strings.Repeat("plum", 10), "TWILIO_ACCOUNT_SID="+loadAccount, "TWILIO_AUTH_TOKEN="+loadToken,
		"TWILIO_FROM="+ourNumber, "TWILIO_API_URL="+m.provider.URL, "TELEGRAM_BOT_TOKEN="+loadBotToken, "TELEGRAM_API_URL="+m.provider.URL,
		"TELEGRAM_WEBHOOK_SECRET="+loadSecret)
	p.Env = append(p.Env, more...)
	return p
}

// serve starts the program and waits until it is ready. Its log stays in a file.
func (m *measure) serve(h measured) *process {
	m.Helper()
	p := m.process(exec.Command(m.program, "serve"), "SKEPLINE_HOTLINE="+h.file)
	if profileFolder() != "" { // the test's binary is the same program, and gives profiles
		p = m.process(exec.Command(os.Args[0]), "SKEPLINE_HOTLINE="+h.file, "SKEPLINE_TEST_SERVE=1")
		p.Env = append(p.Env, "SKEPLINE_TEST_PROFILE="+p.profiles)
	}
	log, err := os.OpenFile(filepath.Join(m.dir, "serve.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		m.Fatal(err)
	}
	defer log.Close()
	p.Stderr = log
	began := time.Now()
	m.start(p, "/readyz")
	m.note("start to ready, ms", float64(time.Since(began).Microseconds())/1000)
	return p
}

func (m *measure) floor(kind, tag string) *process {
	m.Helper()
	p := m.process(exec.Command(os.Args[0]), "SKEPLINE_TEST_FLOOR="+kind, "FLOOR_TAG="+tag,
		"FLOOR_BODY="+strconv.Itoa(m.body), "FLOOR_ITEM="+strconv.Itoa(m.item))
	p.Stderr = os.Stderr
	m.start(p, "/")
	return p
}

func (m *measure) start(p *process, path string) {
	m.Helper()
	if err := p.Start(); err != nil {
		m.Fatal(err)
	}
	m.until("a program to be ready", func() bool {
		answer, err := http.Get("http://" + p.address + path)
		if err != nil {
			return false
		}
		_ = answer.Body.Close() // its status is all that counts
		return answer.StatusCode < 500
	})
}

// enrols gives a hotline catchers, spread over the area.
func (m *measure) enrols(h measured, catchers int) {
	m.Helper()
	st := m.open(h)
	hotline := &bot.Hotline{Settings: h.settings, Secrets: [][]byte{[]byte(strings.Repeat("plum", 10))}, Store: st, Clock: &clock{}, Log: slog.New(slog.DiscardHandler)}
	for i := range catchers {
		c := notify.Catcher{ID: fmt.Sprintf("catcher%d", i), Name: "Ada", Address: notify.Address(fmt.Sprintf("telegram:%d", 444_000_000+i)),
			Lat: h.settings.Latitude - 1 + float64(i%97)*2/97, Lon: h.settings.Longitude - 1 + float64(i%89)*2/89, ReachKm: 20, MaxHeightM: 4, JobsADay: 3}
		if _, err := hotline.Hear(context.Background(), bot.Enrolled{Event: nonce(), Catcher: c}); err != nil {
			m.Fatal(err)
		}
	}
}

func (m *measure) open(h measured) *store.Store {
	m.Helper()
	st, err := store.Open(store.Options{URL: m.redisURL, Hotline: h.settings.Tag, Pace: map[notify.Channel]time.Duration{notify.Telegram: 0}, Secrets: [][]byte{[]byte(strings.Repeat("plum", 10))}})
	if err != nil {
		m.Fatal(err)
	}
	m.Cleanup(func() { _ = st.Close() })
	return st
}

// round plays every kind of load once, on program and floor in turns, on an empty Redis.
func (m *measure) round(n int) {
	if err := m.redis.FlushAll(context.Background()).Err(); err != nil {
		m.Fatal(err)
	}
	// SMS at the rate of a plain number, which is what a club has: what comes in is
	// committed at once, what goes out waits its turn.
	h := m.hotline("measured", "telegram = 1000000\nchat = 1000000")
	m.enrols(h, 60)
	m.people.around(h.settings.Latitude, h.settings.Longitude)
	ours := m.serve(h)
	defer end(ours.Cmd, syscall.SIGKILL)
	if m.body == 0 {
		m.sizes(ours)
	}
	f2, fe := m.floor("F2", "f2"), m.floor("FE", "fe")
	defer end(f2.Cmd, syscall.SIGKILL)
	defer end(fe.Cmd, syscall.SIGKILL)
	for _, connections := range m.connections {
		at := fmt.Sprintf("_%d", connections)
		m.pair("sms"+at, ours, f2, connections, func() talk { return m.people.smsTalk(wholeTalk) }, false)
		m.pair("sms_first"+at, ours, f2, connections, func() talk { return m.people.smsTalk(intakeTalk) }, false)
		m.pair("telegram"+at, ours, fe, connections, func() talk { return m.people.chatTalk(intakeTalk) }, true)
	}
	fmt.Printf("round %d: sms %.2f, telegram %.2f of the floor\n", n+1,
		m.last(fmt.Sprint("ratio sms_", m.connections[0])), m.last(fmt.Sprint("ratio telegram_", m.connections[0])))
}

func (m *measure) last(name string) float64 { return m.seen[name][len(m.seen[name])-1] }

// sizes plays one talk and looks how large documents and messages are, so that the floor
// moves as many bytes.
func (m *measure) sizes(p *process) {
	ctx := context.Background()
	before := m.redis.Keys(ctx, "{measured}:d:*").Val() // the catchers'
	load(m.T, p.address, 1, []talk{m.people.smsTalk(wholeTalk[:2])}, time.Second, nil)
	for _, key := range m.redis.Keys(ctx, "{measured}:d:*").Val() {
		if !slices.Contains(before, key) {
			m.body += int(m.redis.StrLen(ctx, key).Val())
		}
	}
	items := m.redis.HVals(ctx, "{measured}:item").Val()
	for _, item := range items {
		m.item += len(item)
	}
	m.item /= max(1, len(items))
	fmt.Printf("a caller's documents hold %d bytes, a message %d\n", m.body, m.item)
}

// pair plays the same kind of load on program and floor; who is first alternates.
func (m *measure) pair(name string, ours, floor *process, connections int, person func() talk, answered bool) {
	m.turns++
	var talks []talk
	for posts := 0; posts < int(12000*m.each.Seconds()); posts += len(talks[0].posts) {
		talks = append(talks, person())
	}
	var a, b leg
	if m.turns%2 == 0 {
		a = m.profiled(name, ours, connections, talks, answered)
		b = m.leg(floor, connections, talks, answered)
	} else {
		b = m.leg(floor, connections, talks, answered)
		a = m.profiled(name, ours, connections, talks, answered)
	}
	m.note(name+", a second", a.rate())
	m.note(name+", floor", b.rate())
	m.note(name+", processor µs each", float64(a.each().Microseconds()))
	m.note(name+", of these Redis", float64((a.redis / time.Duration(max(1, a.posts))).Microseconds()))
	m.note(name+", floor processor µs each", float64(b.each().Microseconds()))
	m.note(name+", p99 ms", float64(a.p99.Microseconds())/1000)
	m.note(name+", floor p99 ms", float64(b.p99.Microseconds())/1000)
	m.note("ratio "+name, a.rate()/b.rate())
	m.note("ratio "+name+"_cpu", float64(a.each())/float64(b.each()))
	m.note("ratio "+name+"_p99", float64(a.p99)/float64(b.p99))
}

// profiled is a leg of the program. With SKEPLINE_BENCH_PROFILE=FOLDER it leaves a profile of
// each kind of load there, for go tool pprof.
func (m *measure) profiled(name string, p *process, connections int, talks []talk, answered bool) leg {
	folder := profileFolder()
	if folder == "" {
		return m.leg(p, connections, talks, answered)
	}
	var group errgroup.Group
	group.Go(func() error {
		answer, err := http.Get(fmt.Sprintf("http://%s/debug/pprof/profile?seconds=%d", p.profiles, max(1, int(m.each.Seconds()))))
		if err != nil {
			return err
		}
		defer answer.Body.Close()
		profile, err := io.ReadAll(answer.Body)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(folder, name+".pprof"), profile, 0o600)
	})
	l := m.leg(p, connections, talks, answered)
	if err := group.Wait(); err != nil {
		m.Error(err)
	}
	return l
}

func profileFolder() string { return os.Getenv("SKEPLINE_BENCH_PROFILE") }

// leg loads one program for a stretch.
func (m *measure) leg(p *process, connections int, talks []talk, answered bool) leg {
	var heard *provider
	if answered {
		m.provider.reset()
		heard = m.provider
	}
	server, redis := processorTime(m.T, p.Process.Pid), processorTime(m.T, m.redisPID)
	l := load(m.T, p.address, connections, talks, m.each, heard)
	l.server, l.redis = processorTime(m.T, p.Process.Pid)-server, processorTime(m.T, m.redisPID)-redis
	return l
}

// delivery holds how fast a backlog goes out against a bare outbox of sixteen senders.
func (m *measure) delivery() {
	const messages = 4000
	ctx := context.Background()
	if err := m.redis.FlushAll(ctx).Err(); err != nil {
		m.Fatal(err)
	}
	h := m.hotline("measured", "telegram = 1000000\nchat = 1000000")
	m.owes(h, messages)
	ours := m.drains(func() *process { return m.serve(h) }, messages)
	pipe := m.redis.Pipeline()
	for i := range messages {
		id := strconv.Itoa(i)
		pipe.HSet(ctx, "{bare}:item", id, fmt.Sprintf("%d %s", 333_000_000+i, strings.Repeat("x", m.item)))
		pipe.ZAdd(ctx, "{bare}:due", redis.Z{Score: float64(i), Member: id})
	}
	if _, err := pipe.Exec(ctx); err != nil {
		m.Fatal(err)
	}
	bare := m.drains(func() *process { return m.floor("FE", "bare") }, messages)
	m.note("delivery, a second", ours)
	m.note("delivery, floor", bare)
	m.note("ratio delivery", ours/bare)
}

// owes fills the outbox with questions to as many people.
func (m *measure) owes(h measured, messages int) {
	m.Helper()
	st := m.open(h)
	var group errgroup.Group
	group.SetLimit(32)
	for i := range messages {
		group.Go(func() error {
			id, address := fmt.Sprintf("person%d", i), notify.Address(fmt.Sprintf("telegram:%d", 333_000_000+i))
			p := bot.Person{Schema: 1, ID: id, Address: address, Language: "en"}
			p.Talk.Waiting = "stung"
			body, err := json.Marshal(p)
			if err != nil {
				return err
			}
			_, err = st.Commit(context.Background(), bot.Change{
				Event: bot.EventID("tg:1:" + id), Outcome: "noted", Documents: []bot.Document{{Key: bot.Key{Kind: bot.KindPerson, ID: id}, Body: body}},
				Messages: []notify.Message{{ID: "m" + id, To: address, Recipient: id, Class: notify.Question,
					Text: strings.Repeat("bees ", 40), Still: notify.Still{Asked: "stung"}}},
			})
			return err
		})
	}
	if err := group.Wait(); err != nil {
		m.Fatal(err)
	}
}

// drains starts a program and returns how many messages a second it sends.
func (m *measure) drains(start func() *process, messages int64) float64 {
	m.Helper()
	m.provider.reset()
	p := start()
	defer end(p.Cmd, syscall.SIGKILL)
	m.until("the outbox to be empty", func() bool { return m.provider.taken.Load() >= messages })
	return float64(messages-1) / time.Duration(m.provider.last.Load()-m.provider.first.Load()).Seconds()
}

// poll looks how long an empty look at a million timers takes.
func (m *measure) poll() {
	const timers, batch = 1_000_000, 1000
	ctx := context.Background()
	if err := m.redis.FlushAll(ctx).Err(); err != nil {
		m.Fatal(err)
	}
	st := m.open(m.hotline("measured", ""))
	tomorrow := time.Now().Add(24 * time.Hour)
	var group errgroup.Group
	group.SetLimit(4)
	for from := 0; from < timers; from += batch {
		group.Go(func() error {
			change := bot.Change{Event: bot.EventID(fmt.Sprint("web:", from)), Outcome: "noted"}
			for i := from; i < from+batch; i++ {
				change.Timers = append(change.Timers, bot.TimerChange{Timer: bot.Timer{ID: fmt.Sprintf("c%d/round", i), N: 1, At: tomorrow.Add(time.Duration(i) * time.Second)}})
			}
			_, err := st.Commit(ctx, change)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		m.Fatal(err)
	}
	var polls, trips []float64
	for range 3000 {
		polls = append(polls, m.timed(func() error {
			due, _, err := st.DueTimers(ctx, 64)
			if len(due) > 0 {
				return fmt.Errorf("%d timers are due", len(due))
			}
			return err
		}))
		trips = append(trips, m.timed(func() error { return m.redis.Ping(ctx).Err() }))
	}
	slices.Sort(polls)
	slices.Sort(trips)
	m.note("a bare trip to Redis p99, ms", trips[len(trips)*99/100])
	m.note("ratio empty_poll_p99_ms", polls[len(polls)*99/100])
}

// timed returns how long do took, in ms.
func (m *measure) timed(do func() error) float64 {
	m.Helper()
	began := time.Now()
	if err := do(); err != nil {
		m.Fatal(err)
	}
	return float64(time.Since(began).Microseconds()) / 1000
}
