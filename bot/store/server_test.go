package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

// server is a Redis to test on, the embedded one or a real one.
type server struct {
	addr   string
	client *redis.Client // for looking at keys, not through a Store
}

// testClock reads the time from a list that the test sets, since a real server's clock
// cannot be set and no test waits. The rest of every script is what runs in production.
var testClock = strings.Replace(clockLua, "redis.call('TIME')", "redis.call('LRANGE', 'test:clock', 0, 1)", 1)

// start is when every case begins.
var start = time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)

func embeddedServer(t testing.TB) *server {
	m := miniredis.RunT(t)
	return connect(t, &server{addr: m.Addr()})
}

// realServer is the Redis at SKEPLINE_TEST_REDIS (host:port), or else one of the test's own.
func realServer(t testing.TB) *server {
	if addr := os.Getenv("SKEPLINE_TEST_REDIS"); addr != "" {
		return connect(t, &server{addr: addr})
	}
	return ownServer(t)
}

// ownServer starts a redis-server whose settings the test may change. It skips the test
// when there is no such program.
func ownServer(t testing.TB, settings ...string) *server {
	binary, err := exec.LookPath("redis-server")
	if err != nil {
		t.Skip("no redis-server on PATH: not tried on a real Redis")
	}
	port := freePort(t)
	cmd := exec.Command(binary, append([]string{"--port", port, "--bind", "127.0.0.1", "--dir", t.TempDir(),
		"--appendonly", "yes", "--save", ""}, settings...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if strings.Contains(lines.Text(), "Ready to accept connections") {
			go func() {
				for lines.Scan() { // or the server would block on a full pipe
				}
			}()
			return connect(t, &server{addr: "127.0.0.1:" + port})
		}
	}
	t.Fatal("redis-server ended before it was ready")
	return nil
}

func freePort(t testing.TB) string {
	port, err := standin.Port()
	if err != nil {
		t.Fatal(err)
	}
	return port
}

func connect(t testing.TB, s *server) *server {
	universal, err := clientOptions("redis://" + s.addr)
	if err != nil {
		t.Fatal(err)
	}
	s.client = redis.NewClient(universal.Simple())
	t.Cleanup(func() {
		ctx := context.Background() // the test's own has ended
		keys, _ := s.client.Keys(ctx, "{"+run+"*").Result()
		s.client.Del(ctx, append(keys, "test:clock")...)
		_ = s.client.Close()
	})
	return s
}

// run begins the name of every hotline of this run, so that runs may share a server.
var run = "run" + strconv.FormatInt(time.Now().UnixNano(), 36)

// world is one case: a hotline of its own on a server, seen by two replicas.
type world struct {
	*testing.T
	*server
	a, b *Store
	now  time.Time
	next int // counts events
}

var hotlines int

func newHotline() string {
	hotlines++
	return fmt.Sprintf("%s-%d", run, hotlines)
}

func newWorld(t *testing.T, s *server, opts Options) *world {
	opts.Hotline, opts.Secrets = newHotline(), testSecrets
	w := &world{T: t, server: s, now: start}
	w.a, w.b = w.open(opts, testClock), w.open(opts, testClock)
	w.later(0)
	return w
}

func (w *world) open(opts Options, clock string) *Store {
	universal, err := clientOptions("redis://" + w.addr)
	if err != nil {
		w.Fatal(err)
	}
	s, err := open(redis.NewUniversalClient(universal), opts, clock)
	if err != nil {
		w.Fatal(err)
	}
	w.Cleanup(func() { _ = s.Close() })
	return s
}

// later moves the store's clock on.
func (w *world) later(d time.Duration) {
	w.Helper()
	w.now = w.now.Add(d)
	setClock(w, w.client, w.now)
}

func setClock(t testing.TB, client *redis.Client, now time.Time) {
	t.Helper()
	pipe := client.TxPipeline()
	pipe.Del(t.Context(), "test:clock")
	pipe.RPush(t.Context(), "test:clock", now.Unix(), now.Nanosecond()/1000)
	if _, err := pipe.Exec(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// commit commits a change that must succeed; an event id is given when there is none.
func (w *world) commit(change bot.Change) bot.Committed {
	w.Helper()
	if change.Event == "" {
		w.next++
		change.Event = bot.EventID(fmt.Sprintf("tw:SM%d", w.next))
	}
	done, err := w.a.Commit(w.Context(), change)
	if err != nil {
		w.Fatalf("commit %s: %v", change.Event, err)
	}
	return done
}

// send commits a message of its own event.
func (w *world) send(m notify.Message) {
	w.Helper()
	w.commit(bot.Change{Messages: []notify.Message{m}})
}

func (w *world) lease(s *Store, channel notify.Channel, max int) notify.Leased {
	w.Helper()
	leased, err := s.Lease(w.Context(), channel, max, time.Minute)
	if err != nil {
		w.Fatalf("lease: %v", err)
	}
	return leased
}

// leaseOne leases exactly one message.
func (w *world) leaseOne(s *Store, channel notify.Channel) notify.Lease {
	w.Helper()
	leased := w.lease(s, channel, 10)
	if len(leased.Items) != 1 {
		w.Fatalf("leased %v, want one message", idsOf(leased))
	}
	return leased.Items[0]
}

// wantLeased leases and compares "id state" of what was handed out.
func (w *world) wantLeased(s *Store, channel notify.Channel, want ...string) notify.Leased {
	w.Helper()
	leased := w.lease(s, channel, 10)
	if got := idsOf(leased); !slices.Equal(got, want) {
		w.Fatalf("leased %q, want %q", got, want)
	}
	return leased
}

func idsOf(leased notify.Leased) (ids []string) {
	for _, item := range leased.Items {
		ids = append(ids, item.ID+" "+string(item.State))
	}
	return ids
}

func (w *world) finish(s *Store, lease notify.Lease, result notify.Result, drop string) {
	w.Helper()
	if err := s.Finish(w.Context(), notify.Done{Lease: lease, Result: result, Drop: drop}); err != nil {
		w.Fatalf("finish %s: %v", lease.ID, err)
	}
}

// accept finishes a lease as taken by the provider.
func (w *world) accept(s *Store, lease notify.Lease) {
	w.Helper()
	w.finish(s, lease, notify.Result{End: notify.Accepted, ProviderID: "P-" + lease.ID}, "")
}

// dump writes every key of the world's hotline and what it holds, sorted.
func (w *world) dump() string {
	w.Helper()
	return dump(w, w.client, w.a.keys)
}

func dump(t testing.TB, client *redis.Client, keys keys) string {
	t.Helper()
	ctx := t.Context()
	names, err := client.Keys(ctx, keys.prefix+"*").Result()
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(names)
	var b strings.Builder
	for _, name := range names {
		lines, err := contents(ctx, client, name)
		if err != nil {
			t.Fatal(err)
		}
		slices.Sort(lines)
		fmt.Fprintf(&b, "%s\n", strings.TrimPrefix(name, keys.prefix))
		for _, line := range lines {
			fmt.Fprintf(&b, "  %s\n", strings.ReplaceAll(line, "\n", `\n`)) // sealed bytes may hold one
		}
	}
	return b.String()
}

func contents(ctx context.Context, client *redis.Client, name string) (lines []string, err error) {
	kind, err := client.Type(ctx, name).Result()
	if err != nil {
		return nil, err
	}
	switch kind {
	case "string":
		value, err := client.Get(ctx, name).Result()
		return []string{value}, err
	case "set":
		return client.SMembers(ctx, name).Result()
	case "hash":
		fields, err := client.HGetAll(ctx, name).Result()
		for field, value := range fields {
			lines = append(lines, field+" = "+value)
		}
		return lines, err
	case "zset":
		members, err := client.ZRangeWithScores(ctx, name, 0, -1).Result()
		for _, m := range members {
			lines = append(lines, fmt.Sprintf("%v = %.0f", m.Member, m.Score))
		}
		return lines, err
	case "list":
		return client.LRange(ctx, name, 0, -1).Result()
	}
	return nil, errors.New("unknown type " + kind)
}

// text makes a message to a person by SMS.
func text(id, to string, class notify.Class) notify.Message {
	return notify.Message{ID: id, To: "sms:+16075550142", Recipient: to, Class: class, Text: "A swarm on the apple tree"}
}

// chat makes a message to a person by Telegram.
func chat(id, to string, class notify.Class) notify.Message {
	return notify.Message{ID: id, To: "telegram:5550101", Recipient: to, Class: class, Text: "A swarm on the apple tree"}
}
