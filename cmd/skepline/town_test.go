package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

// What follows plays the whole program on the providers' wire formats: webhooks signed as
// Twilio signs them and updates as Telegram sends them go in over HTTP, and what comes out
// is checked by stand-ins against the published descriptions of both APIs.

const (
	publicURL = "https://bees.example.org"
	ourNumber = "+16075550100"
	soon      = time.Minute // for anything that takes milliseconds on a machine at rest
)

// town is a hotline of some replicas, and the two providers around it.
type town struct {
	*testing.T
	twilio   *standin.Twilio
	telegram *standin.Telegram
	replicas []*service
	urls     []string // of each replica
	end      context.CancelFunc
	ended    chan error
	logs     *lockedBuffer
	secret   string // of Telegram's webhook, "" = it is polled
	file     string // hotline.toml
	redisURL string // "" = in memory
}

// lockedBuffer is a buffer that many may write to.
type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// noon returns settings of a place where it is about noon now, in a month with swarms: no
// test may depend on the hour or the season in which it runs.
func noon(t *testing.T) string {
	t.Helper()
	now := time.Now().UTC()
	ahead := 12 - now.Hour() // hours east
	latitude := 42.444
	if now.Month() < time.April || now.Month() > time.September {
		latitude = -latitude
	}
	zone := fmt.Sprintf("Etc/GMT%+d", -ahead) // POSIX signs: Etc/GMT-5 is five hours east
	file := filepath.Join(t.TempDir(), "hotline.toml")
	text := fmt.Sprintf(`name = "Quillbrook Bees"
latitude = %g
longitude = %d
time_zone = "%s"
radius_km = 500
units = "imperial"
languages = ["en", "es"]
emergency_number = "911"
country = "US"
tag = "test-%d"
[dispatch]
first = 8
`, latitude, ahead*15, zone, now.UnixNano())
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// openTown starts a hotline. With redisURL "" it is one replica in memory.
func openTown(t *testing.T, redisURL string, replicas int, secret string) *town {
	t.Helper()
	return openTownWith(t, redisURL, replicas, secret, "")
}

// openTownWith adds lines to the hotline's settings.
func openTownWith(t *testing.T, redisURL string, replicas int, secret, settings string) *town {
	t.Helper()
	twilioSpec, err := standin.ReadTwilioSpec(root + "/testdata/published/twilio_messages.json")
	if err != nil {
		t.Fatal(err)
	}
	telegramSpec, err := standin.ReadTelegramSpec(root + "/testdata/published/telegram_methods.json")
	if err != nil {
		t.Fatal(err)
	}
	w := &town{T: t, twilio: standin.NewTwilio(twilioSpec, t), telegram: standin.NewTelegram(telegramSpec, t),
		ended: make(chan error, replicas), logs: &lockedBuffer{}, secret: secret}
	t.Cleanup(w.twilio.Close)
	t.Cleanup(w.telegram.Close)
	ctx, end := context.WithCancel(context.Background())
	w.end = end
	t.Cleanup(w.close)
	w.file, w.redisURL = noon(t), redisURL
	w.adds(settings)
	for range replicas {
		w.startReplica(ctx, redisURL)
	}
	w.twilio.Through(publicURL, w.urls[0])
	w.telegram.Through(publicURL, w.urls[0])
	return w
}

func (w *town) adds(settings string) {
	w.Helper()
	text, err := os.ReadFile(w.file)
	if err == nil {
		whole := string(text) + "\n" + settings
		if !strings.HasPrefix(settings, "[") { // keys without a table stand before the first one
			whole = settings + "\n" + string(text)
		}
		err = os.WriteFile(w.file, []byte(whole), 0o600)
	}
	if err != nil {
		w.Fatal(err)
	}
}

func (w *town) environment(redisURL string) func(string) string {
	values := map[string]string{
		"SKEPLINE_REDIS_URL": redisURL, "SKEPLINE_PUBLIC_URL": publicURL, "SKEPLINE_SECRET": strings.Repeat("plum", 10),
		"TWILIO_ACCOUNT_SID": w.twilio.AccountSID, "TWILIO_AUTH_TOKEN": w.twilio.AuthToken, "TWILIO_FROM": ourNumber,
		"TWILIO_API_URL": w.twilio.URL, "TELEGRAM_BOT_TOKEN": w.telegram.Token, "TELEGRAM_API_URL": w.telegram.URL,
		"TELEGRAM_WEBHOOK_SECRET": w.secret,
	}
	return func(name string) string { return values[name] }
}

func (w *town) startReplica(ctx context.Context, redisURL string) {
	w.Helper()
	term := &terminal{in: strings.NewReader(""), out: io.Discard, errs: w.logs, getenv: w.environment(redisURL)}
	c, err := term.config(w.file)
	if err != nil {
		w.Fatal(err)
	}
	c.inMemory, c.linger = redisURL == "", 0
	c.log = slog.New(slog.NewTextHandler(w.logs, &slog.HandlerOptions{Level: slog.LevelDebug}))
	c.chat = -1
	c.pace = map[notify.Channel]time.Duration{notify.SMS: time.Millisecond, notify.WhatsApp: time.Millisecond, notify.Telegram: time.Millisecond}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		w.Fatal(err)
	}
	c.listen = func(address string) (net.Listener, error) {
		if address == c.env.Listen {
			return listener, nil
		}
		return net.Listen("tcp", "127.0.0.1:0")
	}
	s, err := open(ctx, c)
	if err != nil {
		w.Fatal(err)
	}
	w.replicas, w.urls = append(w.replicas, s), append(w.urls, "http://"+listener.Addr().String())
	go func() { w.ended <- s.serve(ctx) }()
}

// close ends every replica, which must end well and at once, and looks at what was logged.
func (w *town) close() {
	w.end()
	deadline := time.After(soon)
	for range w.replicas {
		select {
		case err := <-w.ended:
			if err != nil {
				w.Errorf("a replica ended with %v", err)
			}
		case <-deadline:
			w.Error("a replica did not end")
		}
	}
	for _, s := range w.replicas {
		_ = s.store.Close() // some tests have taken the server away
	}
	logs, metrics := w.logs.String(), ""
	for _, s := range w.replicas {
		answer := httptest.NewRecorder()
		s.metrics.Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		metrics += answer.Body.String()
	}
	for what, text := range map[string]string{"log": logs, "metrics": metrics, "Redis files": redisFiles(w.T, w.redisURL)} {
		for _, private := range []string{"5550142", "5550123", "Mill Lane", "apple tree", w.telegram.Token, w.twilio.AuthToken, "plumplum"} {
			if i := strings.Index(text, private); i >= 0 {
				w.Errorf("%q is in the %s: …%s", private, what, text[max(0, i-200):min(len(text), i+40)])
			}
		}
	}
	if w.Failed() {
		for line := range strings.Lines(logs) {
			if testing.Verbose() || strings.Contains(line, "level=ERROR") {
				w.Log(strings.TrimSpace(line))
			}
		}
	}
}

// until waits for something that the program does by itself.
func (w *town) until(what string, done func() bool) {
	w.Helper()
	for deadline := time.Now().Add(soon); !done(); {
		if time.Now().After(deadline) {
			w.Fatalf("waited %v in vain for %s; SMS: %v; Telegram: %v", soon, what, w.twilio.Sent(), w.telegram.Sent())
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// texts posts an SMS to a replica, signed as Twilio signs.
func (w *town) texts(from, body string) {
	w.Helper()
	w.posted(w.twilio.SignedPost(publicURL+"/twilio/message", w.twilio.Text(from, ourNumber, body)))
}

func (w *town) posted(answer *http.Response, err error) {
	w.Helper()
	if err != nil {
		w.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK || !strings.Contains(string(body), "<Response") {
		w.Fatalf("a webhook was answered with %d %q, %v; want 200 and an empty response", answer.StatusCode, body, err)
	}
}

// bring brings what waits at Telegram to the webhook; a hotline that polls comes for it.
func (w *town) bring() {
	w.Helper()
	if w.secret == "" {
		return
	}
	w.until("the webhook to be set", func() bool { address, _ := w.telegram.Webhook(); return address != "" })
	statuses, err := w.telegram.Deliver()
	if err != nil || slices.ContainsFunc(statuses, func(s int) bool { return s != http.StatusOK }) {
		w.Fatalf("Telegram's webhooks were answered with %v, %v", statuses, err)
	}
}

// sms waits for an SMS to somebody with words in it.
func (w *town) sms(to, words string) standin.TwilioSent {
	w.Helper()
	var found standin.TwilioSent
	w.until(fmt.Sprintf("an SMS with %q in it", words), func() bool {
		for _, m := range w.twilio.Sent() {
			if m.To == to && strings.Contains(strings.ToLower(m.Body), strings.ToLower(words)) {
				found = m
				return true
			}
		}
		return false
	})
	return found
}

// chat waits for a Telegram message to somebody with words in it, as it reads now.
func (w *town) chat(to standin.TelegramPerson, words string) standin.TelegramSent {
	w.Helper()
	var found standin.TelegramSent
	w.until(fmt.Sprintf("a message to %s with %q in it", to.Name, words), func() bool {
		for _, m := range w.telegram.Sent() {
			if m.Chat == to.ID && strings.Contains(strings.ToLower(m.Text), strings.ToLower(words)) {
				found = m
				return true
			}
		}
		return false
	})
	return found
}

// data returns what a button of m says.
func (w *town) data(m standin.TelegramSent, label string) string {
	w.Helper()
	for _, row := range m.Buttons {
		for _, b := range row {
			if b.Text == label {
				return b.Data
			}
		}
	}
	w.Fatalf("there is no button %q on %q: %v", label, m.Text, m.Buttons)
	return ""
}

// enrols adds a catcher who lives a kilometre or so from the middle.
func (w *town) enrols(name string, address notify.Address, lat, lon float64) {
	w.Helper()
	catcher := notify.Catcher{ID: strings.ToLower(name), Name: name, Address: address, Lat: lat, Lon: lon,
		ReachKm: 20, MaxHeightM: 4, JobsADay: 3}
	if _, err := w.replicas[0].hotline.Hear(w.Context(), bot.Enrolled{Event: nonce(), Catcher: catcher}); err != nil {
		w.Fatal(err)
	}
}

func chatAddress(p standin.TelegramPerson) notify.Address {
	return notify.Address(fmt.Sprintf("telegram:%d", p.ID))
}

var (
	ada  = standin.TelegramPerson{ID: 5550201, Name: "Ada"}
	bram = standin.TelegramPerson{ID: 5550202, Name: "Bram"}
	lupe = standin.TelegramPerson{ID: 5550203, Name: "Lupe", Language: "en"}
)

const (
	gwen   = "+16075550142"
	chidi  = "+16075550123"
	report = "There's a ball of bees hanging on a branch of my apple tree, 6 feet up. Nobody was stung."
)

// stores are the Redis servers that each story is told on: the embedded one, and a real one
// where there is one.
func stores(t *testing.T, story func(t *testing.T, redisURL string)) {
	t.Run("embedded", func(t *testing.T) { story(t, "") })
	t.Run("redis", func(t *testing.T) { story(t, realRedis(t)) })
}

// realRedis returns the URL of the server at SKEPLINE_TEST_REDIS, else of one started here.
func realRedis(t *testing.T) string {
	t.Helper()
	if address := os.Getenv("SKEPLINE_TEST_REDIS"); address != "" {
		return "redis://" + address
	}
	url, _ := ownRedis(t)
	return url
}

// redisDirs are the folders of the servers that ownRedis started, by address.
var redisDirs sync.Map

// redisFiles returns every byte that a server of ownRedis wrote to its disk, "" for another.
func redisFiles(t *testing.T, url string) string {
	dir, ours := redisDirs.Load(url)
	if !ours {
		return ""
	}
	var all strings.Builder
	err := filepath.WalkDir(dir.(string), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		all.Write(data)
		return err
	})
	if err != nil || all.Len() == 0 {
		t.Errorf("Redis' files hold %d bytes: %v", all.Len(), err)
	}
	return all.String()
}

// ownRedis starts a redis-server that the test may also kill.
func ownRedis(t *testing.T) (url string, kill func()) {
	t.Helper()
	binary, err := exec.LookPath("redis-server")
	if err != nil {
		t.Skip("no redis-server on PATH and no SKEPLINE_TEST_REDIS: not tried on a real Redis")
	}
	port, dir := freePort(t), t.TempDir()
	redisDirs.Store("redis://127.0.0.1:"+port, dir)
	cmd := exec.Command(binary, "--port", port, "--bind", "127.0.0.1", "--dir", dir, "--save", "",
		"--appendonly", "yes", "--appendfsync", "always")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() {
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()
	})
	t.Cleanup(kill)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if strings.Contains(lines.Text(), "Ready to accept connections") {
			go func() { _, _ = io.Copy(io.Discard, out) }() // or it would block on a full pipe
			return "redis://127.0.0.1:" + port, kill
		}
	}
	t.Fatal("redis-server ended before it was ready")
	return "", nil
}

func freePort(t *testing.T) string {
	t.Helper()
	port, err := standin.Port()
	if err != nil {
		t.Fatal(err)
	}
	return port
}
