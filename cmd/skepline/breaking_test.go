package main

import (
	"bufio"
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	_ "net/http/pprof" // a measurement may ask for profiles
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

// What follows breaks the real thing: the program in a process of its own, a real
// redis-server, and a stand-in for Twilio whose log is the truth. Each test is a few seconds
// long; SKEPLINE_BREAKING=50 makes it fifty times as many rounds.

// TestMain lets the test's own binary be the program, so that it can be killed.
func TestMain(m *testing.M) {
	if kind := os.Getenv("SKEPLINE_TEST_FLOOR"); kind != "" {
		slog.Error("ended", "error", serveFloor(kind))
		os.Exit(1)
	}
	if os.Getenv("SKEPLINE_TEST_SERVE") == "" {
		// They wait for each other's processes most of the time.
		if err := flag.Set("test.parallel", "6"); err != nil {
			panic(err)
		}
		os.Exit(m.Run())
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	term := &terminal{in: strings.NewReader(""), out: io.Discard, errs: os.Stderr, getenv: os.Getenv}
	c, err := term.config("")
	if address := os.Getenv("SKEPLINE_TEST_PROFILE"); err == nil && address != "" {
		sweepSeldom(os.Getenv)
		go func() { slog.Error("profiles ended", "error", http.ListenAndServe(address, nil)) }() // of net/http/pprof
	} else if err == nil {
		quicken(&c)
		if os.Getenv("SKEPLINE_TEST_QUICK") != "" {
			c.sweep, c.lease = time.Second, 3*time.Second
		}
	}
	if word := os.Getenv("SKEPLINE_TEST_PANIC"); word != "" {
		c.decider = breaksOver(word)
	}
	if err == nil {
		err = run(ctx, c)
	}
	if err != nil {
		slog.Error("ended", "error", err)
		os.Exit(1)
	}
	os.Exit(0)
}

// quicken makes the waits of delivery short. What is waited for stays.
func quicken(c *config) {
	c.linger, c.settle, c.hold = 0, 300*time.Millisecond, 3*time.Second
	c.chat = -1
	c.pace = map[notify.Channel]time.Duration{notify.SMS: time.Millisecond, notify.WhatsApp: time.Millisecond, notify.Telegram: time.Millisecond}
}

// breaksOver decides like the program, but for texts that hold a word: over those it breaks.
func breaksOver(word string) func(bot.Facts) (bot.Change, bot.Need) {
	return func(f bot.Facts) (bot.Change, bot.Need) {
		if said, ok := f.Event.(bot.Said); ok && strings.Contains(said.Text, word) {
			panic("planted over " + said.Text)
		}
		return bot.Decide(f)
	}
}

func rounds(t *testing.T, usual int) int {
	t.Helper()
	times, err := strconv.Atoi(os.Getenv("SKEPLINE_BREAKING"))
	if err != nil {
		times = 1
	}
	return usual * times
}

// wreck is a hotline to be broken.
type wreck struct {
	*testing.T
	twilio    *standin.Twilio
	file      string
	redisDir  string
	redisPort string
	redis     *exec.Cmd
	wire      *wire    // to Redis, nil = directly
	options   []string // of redis-server
	metrics   string   // address of /metrics
	redisURL  string   // "" = the one server
	more      []string // environment of the program
	program   *exec.Cmd
	url       string
	logs      lockedBuffer
	callers   atomic.Int64
}

func openWreck(t *testing.T) *wreck {
	t.Helper()
	w := prepareWreck(t)
	w.startRedis()
	w.start()
	return w
}

// prepareWreck starts nothing yet but the provider.
func prepareWreck(t *testing.T) *wreck {
	t.Helper()
	if testing.Short() {
		t.Skip("takes seconds")
	}
	if _, err := exec.LookPath("redis-server"); err != nil {
		t.Skip("no redis-server on PATH")
	}
	t.Parallel() // they wait, most of the time
	spec, err := standin.ReadTwilioSpec(root + "/testdata/published/twilio_messages.json")
	if err != nil {
		t.Fatal(err)
	}
	w := &wreck{T: t, twilio: standin.NewTwilio(spec, t), file: noon(t), redisDir: t.TempDir(), redisPort: freePort(t)}
	w.settings("", "[limits]\nnew_in_block_a_day = 10000\nsegments_a_day = 100000\nsafety_reserve = 100\n") // rounds without end
	t.Cleanup(w.twilio.Close)
	t.Cleanup(func() {
		end(w.program, syscall.SIGKILL)
		end(w.redis, syscall.SIGKILL)
		if t.Failed() && testing.Verbose() {
			t.Log(w.logs.String())
		}
	})
	return w
}

func end(c *exec.Cmd, s syscall.Signal) {
	if c != nil && c.Process != nil {
		_ = c.Process.Signal(s) // it may have ended
		_ = c.Wait()
	}
}

func (w *wreck) startRedis() {
	w.Helper()
	w.redis = startServer(w.T, w.redisPort, w.redisDir, w.options...)
}

// startServer starts a redis-server that syncs every write, unless options say otherwise, and
// waits until it is ready.
func startServer(t *testing.T, port, dir string, options ...string) *exec.Cmd {
	t.Helper()
	server := exec.Command("redis-server", append([]string{"--port", port, "--bind", "127.0.0.1", "--dir", dir, "--save", "",
		"--appendonly", "yes", "--appendfsync", "always"}, options...)...)
	out, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	said := ""
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if said += lines.Text() + "\n"; strings.Contains(lines.Text(), "Ready to accept connections") {
			go func() { _, _ = io.Copy(io.Discard, out) }() // or it would block on a full pipe
			return server
		}
	}
	t.Fatalf("redis-server ended before it was ready: %s", said)
	return nil
}

// toRedis is the port at which the program finds Redis.
func (w *wreck) toRedis() string {
	if w.wire != nil {
		return w.wire.port()
	}
	return w.redisPort
}

func (w *wreck) environment(listen, metrics string) map[string]string {
	return map[string]string{
		"SKEPLINE_TEST_SERVE": "1", "SKEPLINE_HOTLINE": w.file, "SKEPLINE_REDIS_URL": cmp.Or(w.redisURL, "redis://127.0.0.1:"+w.toRedis()),
		"SKEPLINE_PUBLIC_URL": publicURL, "SKEPLINE_SECRET": strings.Repeat("plum", 10), "SKEPLINE_LISTEN": listen, "SKEPLINE_METRICS_LISTEN": metrics,
		"TWILIO_ACCOUNT_SID": w.twilio.AccountSID, "TWILIO_AUTH_TOKEN": w.twilio.AuthToken, "TWILIO_FROM": ourNumber, "TWILIO_API_URL": w.twilio.URL,
	}
}

// start starts the program and waits until it is ready.
func (w *wreck) start() {
	w.Helper()
	listen := "127.0.0.1:" + freePort(w.T)
	w.program = exec.Command(os.Args[0])
	w.program.Env = os.Environ()
	w.metrics = "127.0.0.1:" + freePort(w.T)
	for name, value := range w.environment(listen, w.metrics) {
		w.program.Env = append(w.program.Env, name+"="+value)
	}
	w.program.Env = append(w.program.Env, w.more...)
	w.program.Stderr = &w.logs
	if err := w.program.Start(); err != nil {
		w.Fatal(err)
	}
	w.url = "http://" + listen
	w.twilio.Through(publicURL, w.url)
	w.until("the program to be ready", func() bool {
		answer, err := http.Get(w.url + "/readyz")
		if err != nil {
			return false
		}
		_ = answer.Body.Close() // its status is all that counts
		return answer.StatusCode == http.StatusOK
	})
}

func (w *wreck) until(what string, done func() bool) {
	w.Helper()
	for deadline := time.Now().Add(soon); !done(); {
		if time.Now().After(deadline) {
			w.Fatalf("waited in vain for %s; %s", what, w.logs.String()[max(0, len(w.logs.String())-2000):])
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// post posts a webhook and reports whether it was acknowledged.
func (w *wreck) post(form url.Values) bool {
	answer, err := w.twilio.SignedPost(publicURL+"/twilio/message", form)
	if err != nil {
		return false
	}
	_ = answer.Body.Close() // its status is all that counts
	return answer.StatusCode == http.StatusOK
}

// untilTaken posts a webhook until it is acknowledged, as a provider that retries does.
func (w *wreck) untilTaken(form url.Values) {
	w.until("a webhook to be acknowledged", func() bool {
		ok := w.post(form)
		if !ok {
			time.Sleep(50 * time.Millisecond)
		}
		return ok
	})
}

// caller returns a number of nobody's that has not called yet.
func (w *wreck) caller() string {
	n := w.callers.Add(1)
	return fmt.Sprintf("+1%d5550%03d", areas()[n/100], 100+n%100)
}

// storm lets n people report at the same time while something breaks, and holds that in the
// end each of them was answered.
func (w *wreck) storm(n int, breaks func()) {
	w.Helper()
	var people sync.WaitGroup
	var numbers []string
	for range n {
		numbers = append(numbers, w.caller())
	}
	for _, number := range numbers {
		form := w.twilio.Text(number, ourNumber, report)
		people.Go(func() {
			time.Sleep(time.Duration(rand.IntN(300)) * time.Millisecond)
			w.untilTaken(form)
		})
	}
	breaks()
	people.Wait()
	w.until("everybody to be answered", func() bool {
		answered := map[string]bool{}
		for _, m := range w.twilio.Sent() {
			answered[m.To] = true
		}
		for _, number := range numbers {
			if !answered[number] {
				return false
			}
		}
		return true
	})
	time.Sleep(time.Second) // for a second copy, if there is one to come
}

// once lets a storm pass and holds that nobody was sent the same words twice.
func (w *wreck) once(n int, breaks func()) {
	w.Helper()
	w.storm(n, breaks)
	if twice := w.copies(); len(twice) > 0 {
		w.Errorf("sent more than once: %q", twice)
	}
}

// copies returns the texts that went to somebody more than once.
func (w *wreck) copies() (twice []string) {
	w.Helper()
	seen := map[string]int{}
	for _, m := range w.twilio.Sent() {
		seen[m.To+"\n"+m.Body]++
	}
	for words, n := range seen {
		if n > 1 {
			twice = append(twice, words)
		}
	}
	return twice
}

// TestBreakSends breaks sends in every way that leaves doubt: an answer that is lost after
// the message was taken, a 503 that took it, a 503 that did not, a 429. Each text arrives
// once.
func TestBreakSends(t *testing.T) {
	w := openWreck(t)
	for range rounds(t, 1) {
		for range 2 {
			// One more in a row, and the channel would be shut for a while.
			w.twilio.Next(standin.TwilioCreate, 1, standin.ReplyLost)
			w.twilio.Next(standin.TwilioCreate, 1, standin.Trouble{Status: 503, HTML: true, Accept: true})
			w.twilio.Next(standin.TwilioCreate, 1, standin.Broken(503))
			w.twilio.Next(standin.TwilioCreate, 1, standin.Trouble{Cut: true})
			w.once(12, func() {})
		}
		w.twilio.Next(standin.TwilioCreate, 1, standin.TooMany(1))
		w.once(5, func() {})
	}
}

// TestBreakRedis kills Redis while people report, and starts it again.
func TestBreakRedis(t *testing.T) {
	w := openWreck(t)
	for range rounds(t, 1) {
		w.once(30, func() {
			time.Sleep(time.Duration(50+rand.IntN(200)) * time.Millisecond)
			end(w.redis, syscall.SIGKILL)
			time.Sleep(200 * time.Millisecond)
			w.startRedis()
		})
	}
}

// TestBreakProgram kills the program while people report, and starts it again.
func TestBreakProgram(t *testing.T) {
	w := openWreck(t)
	for range rounds(t, 2) {
		w.once(20, func() {
			time.Sleep(time.Duration(50+rand.IntN(250)) * time.Millisecond)
			end(w.program, syscall.SIGKILL)
			w.start()
		})
	}
}

// TestBreakEnd ends the program in order while people report.
func TestBreakEnd(t *testing.T) {
	w := openWreck(t)
	for range rounds(t, 1) {
		w.once(20, func() {
			time.Sleep(time.Duration(50+rand.IntN(250)) * time.Millisecond)
			began := time.Now()
			end(w.program, syscall.SIGTERM)
			if took := time.Since(began); took > 25*time.Second {
				t.Errorf("the program took %v to end", took)
			}
			w.start()
		})
	}
}

// TestBreakPause stops the program for longer than a message in hand is held, in the middle
// of sends, while another one goes on.
func TestBreakPause(t *testing.T) {
	w := openWreck(t)
	first := w.program
	w.start()
	defer end(first, syscall.SIGKILL)
	w.storm(20, func() {
		time.Sleep(150 * time.Millisecond)
		if err := first.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		time.Sleep(4 * time.Second)
		if err := first.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
	})
	// What is on its way when a program stands still cannot be called back: the one that
	// took over finds nothing taken and sends, and then it moves on. One such text is the
	// most that is accepted.
	if twice := w.copies(); len(twice) > 1 {
		t.Errorf("sent more than once: %q", twice)
	}
}
