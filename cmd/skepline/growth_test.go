package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/intake"
	"skepline/notify"
)

// TestGrowth looks how what an event costs grows with open calls, catchers, and waiting
// messages, and what they weigh in memory: .ci/bench runs it. Only how figures compare with
// each other means anything on another machine.
func TestGrowth(t *testing.T) {
	program := os.Getenv("SKEPLINE_BENCH")
	if program == "" {
		t.Skip("a measurement takes minutes: run .ci/bench")
	}
	m := newMeasure(t, program)
	for _, calls := range []int{10, 10_000, 100_000} {
		m.openCalls(calls)
	}
	for _, catchers := range []int{10, 100, 1000, 10_000} {
		m.catchers(catchers)
	}
	m.ledger(20_000)
	m.outbox(1_000_000)
	m.report()
}

// openCalls starts the program beside so many open calls and sends it first texts.
func (m *measure) openCalls(n int) {
	m.Helper()
	m.empty()
	h := m.hotline("measured", "telegram = 1000000")
	m.enrols(h, 60)
	before := m.memory()
	m.fill(h, n, func(i int) bot.Change { return m.aCall(h, i, time.Time{}) })
	at := fmt.Sprintf("%d open calls, ", n)
	if n >= 10_000 {
		m.note(at+"bytes each in Redis", (m.memory()-before)/float64(n))
	}
	m.people.around(h.settings.Latitude, h.settings.Longitude)
	began := time.Now()
	p := m.serve(h)
	defer end(p.Cmd, syscall.SIGKILL)
	m.note(at+"start to ready, ms", float64(time.Since(began).Microseconds())/1000)
	m.texts(at, p, intakeTalk)
	m.note(at+"MB of the program", m.resident(p))
}

// catchers sends whole talks, which end with offers, to a hotline of so many catchers.
func (m *measure) catchers(n int) {
	m.Helper()
	m.empty()
	h := m.hotline("measured", "telegram = 1000000")
	m.enrols(h, n)
	m.people.around(h.settings.Latitude, h.settings.Longitude)
	p := m.serve(h)
	defer end(p.Cmd, syscall.SIGKILL)
	at := fmt.Sprintf("%d catchers, ", n)
	m.texts(at, p, wholeTalk)
	m.note(at+"MB of the program", m.resident(p))
}

// texts plays talks over few connections, so that what is measured is work and not waiting. The
// first ones bring the program to read roster and board, once, and are not counted.
func (m *measure) texts(at string, p *process, texts []string) {
	m.Helper()
	var talks []talk
	for range 8 {
		talks = append(talks, m.people.smsTalk(wholeTalk))
	}
	load(m.T, p.address, 8, talks, soon, nil)
	talks = talks[:0]
	m.provider.reset()
	for range int(6000*m.each.Seconds()) / len(texts) {
		talks = append(talks, m.people.smsTalk(texts))
	}
	l := m.leg(p, 8, talks, false)
	m.note(at+"processor µs a text", float64(l.each().Microseconds()))
	m.note(at+"p99 ms", float64(l.p99.Microseconds())/1000)
	m.note(at+"messages sent a text", float64(m.provider.taken.Load())/float64(max(1, l.posts)))
}

// ledger exports so many closed calls.
func (m *measure) ledger(n int) {
	m.Helper()
	m.empty()
	h := m.hotline("measured", "")
	before := m.memory()
	today := time.Now().UTC()
	m.fill(h, n, func(i int) bot.Change {
		ended := today.Add(-time.Duration(i) * time.Minute)
		change := m.aCall(h, i, ended)
		change.Cards, change.Timers = nil, nil
		change.Closed = []bot.Closed{{Call: change.Documents[0].Key.ID, At: ended}}
		return change
	})
	m.note("a closed call, bytes in Redis", (m.memory()-before)/float64(n))
	export := exec.Command(m.program, "ledger", "--hotline="+h.file, "--from="+today.AddDate(0, -1, 0).Format(time.DateOnly), "--csv="+filepath.Join(m.dir, "ledger.csv"))
	export.Env = append(os.Environ(), "SKEPLINE_REDIS_URL="+m.redisURL, "SKEPLINE_SECRET="+strings.Repeat("plum", 10))
	began := time.Now()
	if out, err := export.CombinedOutput(); err != nil {
		m.Fatalf("%v: %s", err, out)
	}
	lines, err := os.ReadFile(filepath.Join(m.dir, "ledger.csv"))
	if err != nil || strings.Count(string(lines), "\n") < n {
		m.Fatalf("%d lines of a ledger of %d calls, %v", strings.Count(string(lines), "\n"), n, err)
	}
	at := fmt.Sprintf("ledger of %d calls, ", n)
	m.note(at+"ms", float64(time.Since(began).Milliseconds()))
	if used, ok := export.ProcessState.SysUsage().(*syscall.Rusage); ok {
		m.note(at+"MB at most", float64(used.Maxrss)/1024)
	}
}

// outbox leases from among so many waiting messages.
func (m *measure) outbox(n int) {
	m.Helper()
	m.empty()
	h := m.hotline("measured", "telegram = 1000000")
	st, ctx := m.open(h), context.Background()
	const batch = 200
	m.fill(h, n/batch, func(i int) bot.Change {
		change := bot.Change{Event: bot.EventID(fmt.Sprint("web:", i)), Outcome: "noted"}
		for j := i * batch; j < (i+1)*batch; j++ {
			change.Messages = append(change.Messages, notify.Message{ID: fmt.Sprint("m", j), To: notify.Address(fmt.Sprintf("telegram:%d", 333_000_000+j)),
				Recipient: fmt.Sprint("p", j), Class: notify.Question, Text: "bees"})
		}
		return change
	})
	var trips []float64
	for range 1000 {
		trips = append(trips, m.timed(func() error {
			leased, err := st.Lease(ctx, notify.Telegram, 1, time.Minute)
			if err == nil && len(leased.Items) != 1 {
				err = fmt.Errorf("%d messages leased", len(leased.Items))
			}
			if err != nil {
				return err
			}
			return st.Finish(ctx, notify.Done{Lease: leased.Items[0], Result: notify.Result{End: notify.Accepted, ProviderID: "1"}})
		}))
	}
	at := fmt.Sprintf("%d messages waiting, ", n)
	m.note(at+"lease and finish, median ms", middle(trips))
	m.note(at+"bytes each in Redis", m.memory()/float64(n))
}

// aCall is the change that leaves one call looking, or caught when it has ended, with its
// caller, as a talk would.
func (m *measure) aCall(h measured, i int, ended time.Time) bot.Change {
	m.Helper()
	now := time.Now().UTC().Truncate(time.Second)
	height, id, caller := 2.5, fmt.Sprintf("call%d", i), fmt.Sprintf("caller%d", i)
	lat, lon := h.settings.Latitude-1+float64(i%1009)*2/1009, h.settings.Longitude-1+float64(i%1013)*2/1013
	c := bot.Call{Schema: 1, ID: id, Reference: "K" + strconv.Itoa(i), Stage: bot.Looking, Opened: now,
		Caller: bot.Party{Person: caller, Address: "sms:+12025550142", Language: "en"},
		Answers: intake.Answers{Shape: "hanging_cluster", Surface: "branch", HeightM: &height, Stung: "none",
			Place: &intake.Place{Lat: lat, Lon: lon, Text: "14 Mill Lane", PrecisionM: 20}}}
	if !ended.IsZero() {
		c.Stage, c.Ended, c.Opened = bot.Hived, ended, ended.Add(-20*time.Hour)
	}
	for line := range 20 {
		c.Story = append(c.Story, bot.Line{At: now, What: "asked catcher" + strconv.Itoa(line)})
	}
	p := bot.Person{Schema: 1, ID: caller, Address: "sms:+12025550142", Language: "en", Call: id}
	card := notify.CallCard{Reference: c.Reference, Stage: string(c.Stage), Opened: now, Next: now.Add(24 * time.Hour), Lat: lat, Lon: lon, PrecisionM: 20}
	return bot.Change{Event: bot.EventID("tw:open" + strconv.Itoa(i)), Outcome: "noted",
		Documents: []bot.Document{{Key: bot.Key{Kind: bot.KindCall, ID: id}, Body: m.json(c)},
			{Key: bot.Key{Kind: bot.KindPerson, ID: caller}, Pointer: &bot.Key{Kind: bot.KindCall, ID: id}, Body: m.json(p)}},
		Cards:  []bot.Card{{Field: "c:" + id, Body: m.json(card)}},
		Finds:  []bot.Find{{Name: "ref:" + c.Reference, Subject: id}},
		Timers: []bot.TimerChange{{Timer: bot.Timer{ID: id + "/round", N: 1, At: now.Add(24 * time.Hour)}}}}
}

func (m *measure) json(v any) []byte {
	m.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		m.Fatal(err)
	}
	return b
}

// fill commits n changes.
func (m *measure) fill(h measured, n int, change func(i int) bot.Change) {
	m.Helper()
	st := m.open(h)
	var group errgroup.Group
	group.SetLimit(32)
	for i := range n {
		group.Go(func() error { return commits(st, change(i)) })
	}
	if err := group.Wait(); err != nil {
		m.Fatal(err)
	}
}

func commits(st *store.Store, change bot.Change) error {
	_, err := st.Commit(context.Background(), change)
	return err
}

func (m *measure) empty() {
	m.Helper()
	if err := m.redis.FlushAll(context.Background()).Err(); err != nil {
		m.Fatal(err)
	}
}

// memory is how many bytes Redis uses for what it keeps.
func (m *measure) memory() float64 {
	m.Helper()
	info, err := m.redis.InfoMap(context.Background(), "memory").Result()
	if err != nil {
		m.Fatal(err)
	}
	n, err := strconv.ParseFloat(info["Memory"]["used_memory_dataset"], 64)
	if err != nil {
		m.Fatal(err)
	}
	return n
}

// resident is how many MB of memory a process has used at most (proc(5), VmHWM).
func (m *measure) resident(p *process) float64 {
	m.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		m.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	fields := strings.Fields(rest)
	kb, err := strconv.ParseFloat(fields[0], 64)
	if err != nil {
		m.Fatal(err)
	}
	return kb / 1024
}
