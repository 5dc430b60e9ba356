package main

import (
	"bufio"
	"bytes"
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base64"
	"fmt"
	"io"
	"maps"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nyaruka/phonenumbers"
)

// What follows is the load of a measurement and the providers around it, as cheap as they
// can be made: they share the machine with what is measured.

// Credentials of nobody.
const (
	loadAccount  = "AC5a5a5a5a5a5a5a5a5a5a5a5a5a5a5a5a"
	loadToken    = "c0ffee55c0ffee55c0ffee55c0ffee55"
	loadBotToken = "5550100:AAmeasure"
	loadSecret   = "measure-secret"
)

// talk is one person's conversation: what they post, one after the other.
type talk struct {
	chat  string // where answers go, on Telegram
	posts [][]byte
}

// people makes up persons and their posts. Numbers are those set aside for fiction.
type people struct {
	count, posts int
	lat, lon     float64 // the middle of where they live
	areas        []int   // the area codes of their numbers
}

// around begins anew with people who live around a place.
func (p *people) around(lat, lon float64) {
	p.lat, p.lon, p.count, p.areas = lat, lon, 0, areas()
}

// areas are the area codes of which the hotline answers the numbers set aside for fiction.
var areas = sync.OnceValue(func() (all []int) {
	for area := 201; area < 990; area++ {
		n, err := phonenumbers.Parse(fmt.Sprintf("+1%d5550100", area), "US")
		if err != nil {
			continue
		}
		// Some belong to no country that the tables know; those are answered, too.
		if region := phonenumbers.GetRegionCodeForNumber(n); region == "" || region == "US" {
			all = append(all, area)
		}
	}
	return all
})

// smsTalk returns a conversation by SMS, signed as Twilio signs.
func (p *people) smsTalk(texts []string) talk {
	p.count++
	n := p.count
	from := fmt.Sprintf("+1%d555%04d", p.areas[n/100%len(p.areas)], 100+n%100)
	var t talk
	for _, text := range texts {
		p.posts++
		form := url.Values{}
		for name, value := range map[string]string{
			"ToCountry": "US", "ToState": "NY", "ToCity": "QUILLBROOK", "ToZip": "14850", "FromCountry": "US", "FromState": "NY",
			"FromCity": "QUILLBROOK", "FromZip": "14850", "NumMedia": "0", "NumSegments": "1", "SmsStatus": "received", "ApiVersion": "2010-04-01",
			"AccountSid": loadAccount, "From": from, "To": ourNumber, "Body": p.placed(text),
		} {
			form.Set(name, value)
		}
		sid := fmt.Sprintf("SM%032x", p.posts)
		form.Set("MessageSid", sid)
		form.Set("SmsSid", sid)
		form.Set("SmsMessageSid", sid)
		t.posts = append(t.posts, post("/twilio/message", form.Encode(), "application/x-www-form-urlencoded",
			"X-Twilio-Signature: "+twilioSignature(publicURL+"/twilio/message", form)))
	}
	return t
}

// twilioSignature is Twilio's: HMAC-SHA1 over the address and the sorted parameters
// (https://www.twilio.com/docs/usage/security).
func twilioSignature(address string, form url.Values) string {
	mac := hmac.New(sha1.New, []byte(loadToken))
	_, _ = io.WriteString(mac, address) // a hash takes everything
	for _, name := range slices.Sorted(maps.Keys(form)) {
		_, _ = io.WriteString(mac, name+form.Get(name))
	}
	return base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// chatTalk returns a conversation on Telegram.
func (p *people) chatTalk(texts []string) talk {
	p.count++
	t := talk{chat: strconv.Itoa(555_000_000 + p.count)}
	for _, text := range texts {
		p.posts++
		update := fmt.Sprintf(`{"update_id":%d,"message":{"message_id":%d,"from":{"id":%s,"is_bot":false,"first_name":"Gwen","language_code":"en"},`+
			`"chat":{"id":%s,"first_name":"Gwen","type":"private"},"date":1778608800,"text":%q}}`, p.posts, p.posts, t.chat, t.chat, p.placed(text))
		t.posts = append(t.posts, post("/telegram", update, "application/json", "X-Telegram-Bot-Api-Secret-Token: "+loadSecret))
	}
	return t
}

// placed puts a tree and a place of the person's own into a text: nobody reports another
// one's swarm, and no two texts are the same.
func (p *people) placed(text string) string {
	// Spread evenly (the R2 sequence, M. Roberts, 2018): a swarm every kilometre or two.
	_, north := math.Modf(float64(p.count) * 0.7548776662466927)
	_, east := math.Modf(float64(p.count) * 0.5698402909980532)
	lat, lon := p.lat-1+2*north, p.lon-1+2*east
	trees := []string{"apple", "plum", "cherry", "pear", "oak", "maple", "walnut", "cedar"}
	return strings.NewReplacer("TREE", trees[p.count%len(trees)]+" "+trees[p.count/8%len(trees)], "N", strconv.Itoa(2+p.count%9), "LAT", fmt.Sprintf("%.5f", lat), "LON", fmt.Sprintf("%.5f", lon)).Replace(text)
}

func post(path, body, kind, header string) []byte {
	return fmt.Appendf(nil, "POST %s HTTP/1.1\r\nHost: bees.example.org\r\nContent-Type: %s\r\n%s\r\nContent-Length: %d\r\n\r\n%s", path, kind, header, len(body), body)
}

// poster is one connection that posts.
type poster struct {
	net.Conn
	answers *bufio.Reader
}

func dial(address string) (*poster, error) {
	c, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	return &poster{c, bufio.NewReader(c)}, nil
}

// post sends one request and returns the status of its answer.
func (w *poster) post(request []byte) (status int, err error) {
	if _, err := w.Write(request); err != nil {
		return 0, err
	}
	length := 0
	for first := true; ; first = false {
		line, err := w.answers.ReadSlice('\n')
		if err != nil {
			return 0, err
		}
		line = bytes.TrimSpace(line)
		switch {
		case first:
			status, err = strconv.Atoi(string(line[9:12]))
		case len(line) == 0:
			_, err := w.answers.Discard(length)
			return status, err
		default:
			if value, ok := bytes.CutPrefix(line, []byte("Content-Length: ")); ok {
				length, err = strconv.Atoi(string(value))
			}
		}
		if err != nil {
			return 0, err
		}
	}
}

// leg is what one stretch of load showed.
type leg struct {
	posts         int
	took          time.Duration
	p99           time.Duration
	server, redis time.Duration // processor time
}

func (l leg) rate() float64 { return float64(l.posts) / l.took.Seconds() }

// each is the processor time of a post, server and Redis together.
func (l leg) each() time.Duration { return (l.server + l.redis) / time.Duration(max(1, l.posts)) }

// load plays talks to address over so many connections at once, until d has passed or they
// are used up. With heard, a post is done when its answer has reached the provider.
func load(t testing.TB, address string, connections int, talks []talk, d time.Duration, heard *provider) leg {
	t.Helper()
	var next, posts atomic.Int64
	var mu sync.Mutex
	var waits []time.Duration
	var wg sync.WaitGroup
	began := time.Now()
	for range connections {
		wg.Go(func() {
			w, err := dial(address)
			if err != nil {
				t.Error(err)
				return
			}
			defer w.Close()
			var mine []time.Duration
			for time.Since(began) < d {
				i := next.Add(1) - 1
				if i >= int64(len(talks)) {
					break
				}
				mine = append(mine, play(t, w, talks[i], began, d, heard)...)
			}
			posts.Add(int64(len(mine)))
			mu.Lock()
			defer mu.Unlock()
			waits = append(waits, mine...)
		})
	}
	wg.Wait()
	l := leg{posts: int(posts.Load()), took: time.Since(began)}
	if slices.Sort(waits); len(waits) > 0 {
		l.p99 = waits[len(waits)*99/100]
	}
	return l
}

// play plays one talk and returns how long each post took.
func play(t testing.TB, w *poster, talk talk, began time.Time, d time.Duration, heard *provider) (waits []time.Duration) {
	t.Helper()
	var arrived chan struct{}
	if heard != nil {
		arrived = heard.listen(talk.chat)
	}
	for _, post := range talk.posts {
		if time.Since(began) > d {
			return waits
		}
		for len(arrived) > 0 { // of what the post before brought besides
			<-arrived
		}
		at := time.Now()
		status, err := w.post(post)
		if err != nil || status != http.StatusOK {
			t.Errorf("a post was answered with %d, %v", status, err)
			return waits
		}
		if arrived != nil {
			select {
			case <-arrived:
			case <-time.After(10 * time.Second):
				t.Error("no answer reached the provider")
				return waits
			}
		}
		waits = append(waits, time.Since(at))
	}
	return waits
}

// provider is a stand-in for both providers that takes every message and looks at nothing
// but where it goes.
type provider struct {
	*httptest.Server
	taken     atomic.Int64
	first     atomic.Int64 // when the first message came, in ns since 1970
	last      atomic.Int64
	listeners sync.Map // chat -> chan struct{}
	only      []byte   // what a message must hold to be listened to; nil = any
}

func newProvider(t testing.TB) *provider {
	p := &provider{}
	p.Server = httptest.NewServer(http.HandlerFunc(p.serve))
	t.Cleanup(p.Close)
	return p
}

func (p *provider) listen(chat string) chan struct{} {
	arrived, _ := p.listeners.LoadOrStore(chat, make(chan struct{}, 64))
	return arrived.(chan struct{})
}

// reset forgets what came before.
func (p *provider) reset() {
	p.taken.Store(0)
	p.first.Store(0)
	p.last.Store(0)
	p.listeners.Clear()
}

func (p *provider) serve(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return
	}
	w.Header().Set("Content-Type", "application/json")
	switch {
	case strings.Contains(r.URL.Path, "/send"), strings.Contains(r.URL.Path, "/edit"):
		n := p.take()
		fmt.Fprintf(w, `{"ok":true,"result":{"message_id":%d,"date":1778608800,"chat":{"id":5550201,"type":"private"},"text":"taken"}}`, n)
		if arrived, ok := p.listeners.Load(chatOf(body)); ok && bytes.Contains(body, p.only) {
			select {
			case arrived.(chan struct{}) <- struct{}{}:
			default:
			}
		}
	case strings.HasSuffix(r.URL.Path, "/Messages.json") && r.Method == http.MethodPost:
		n := p.take()
		w.WriteHeader(http.StatusCreated)
		fmt.Fprintf(w, `{"sid":"SM%032x","status":"queued","account_sid":"%s"}`, n, loadAccount)
	case strings.HasSuffix(r.URL.Path, "/Messages.json"):
		_, _ = io.WriteString(w, `{"messages":[]}`)
	default:
		_, _ = io.WriteString(w, `{"ok":true,"result":true}`)
	}
}

func (p *provider) take() int64 {
	now := time.Now().UnixNano()
	p.first.CompareAndSwap(0, now)
	p.last.Store(now)
	return p.taken.Add(1)
}

// chatOf finds where a message goes, in a form or in JSON: the digits behind "chat_id".
func chatOf(body []byte) string {
	_, rest, _ := bytes.Cut(body, []byte("chat_id"))
	from := bytes.IndexAny(rest, "0123456789")
	if from < 0 {
		return ""
	}
	to := from
	for to < len(rest) && rest[to] >= '0' && rest[to] <= '9' {
		to++
	}
	return string(rest[from:to])
}

// processorTime is what a process has used, as the kernel counts it (proc(5), /proc/PID/stat).
func processorTime(t testing.TB, pid int) time.Duration {
	t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	user, err1 := strconv.Atoi(fields[11])
	system, err2 := strconv.Atoi(fields[12])
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	const tick = 10 * time.Millisecond // sysconf(_SC_CLK_TCK) is 100 on every Linux that Go runs on
	return time.Duration(user+system) * tick
}
