package main

import (
	"bytes"
	"context"
	"crypto/hmac"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// floor is the least that a program of this kind can do: it checks the same signature,
// reads one document, decides nothing to speak of, and writes the document back in one
// script that also knows repeated events. What the hotline costs is told as a ratio to it.
// With senders it also has an outbox, and as many goroutines that send from it.
type floor struct {
	redis *redis.Client
	tag   string
	body  string // what a document holds
	item  string // what a message holds
	api   string // Telegram's address
	http  *http.Client
	bell  chan struct{}
}

var (
	floorCommit = redis.NewScript(`
local first = redis.call('HGET', KEYS[1], ARGV[1])
if first then return first end
redis.call('HSET', KEYS[1], ARGV[1], 'noted')
redis.call('SET', KEYS[2], ARGV[2])
if ARGV[3] ~= '' then
  redis.call('HSET', KEYS[3], ARGV[1], ARGV[3])
  local t = redis.call('TIME')
  redis.call('ZADD', KEYS[4], t[1] * 1000 + math.floor(t[2] / 1000), ARGV[1])
end
return 'noted'`)
	floorLease = redis.NewScript(`
local t = redis.call('TIME')
local now = t[1] * 1000 + math.floor(t[2] / 1000)
local id = redis.call('ZRANGEBYSCORE', KEYS[2], '-inf', now, 'LIMIT', 0, 1)[1]
if not id then return {} end
redis.call('ZADD', KEYS[2], now + 60000, id)
return {id, redis.call('HGET', KEYS[1], id)}`)
	floorFinish = redis.NewScript(`
redis.call('HDEL', KEYS[1], ARGV[1])
return redis.call('ZREM', KEYS[2], ARGV[1])`)
)

// serveFloor runs the floor as a program of its own until it is killed.
func serveFloor(kind string) error {
	options, err := redis.ParseURL(os.Getenv("SKEPLINE_REDIS_URL"))
	if err != nil {
		return err
	}
	size := func(name string) string {
		n, _ := strconv.Atoi(os.Getenv(name))
		return strings.Repeat("x", n)
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.MaxIdleConnsPerHost = 64
	f := &floor{redis: redis.NewClient(options), tag: os.Getenv("FLOOR_TAG"), body: size("FLOOR_BODY"), item: size("FLOOR_ITEM"),
		api: os.Getenv("TELEGRAM_API_URL"), http: &http.Client{Transport: transport}, bell: make(chan struct{}, 64)}
	if kind != "F2" {
		for range 16 {
			go f.sends()
		}
	}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /twilio/message", f.message)
	mux.HandleFunc("POST /telegram", f.telegram)
	return http.ListenAndServe(os.Getenv("SKEPLINE_LISTEN"), mux)
}

func (f *floor) key(name string) string { return "{" + f.tag + "}:" + name }

func (f *floor) message(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		http.Error(w, "body", http.StatusBadRequest)
		return
	}
	form, err := url.ParseQuery(string(body))
	if err != nil || !hmac.Equal([]byte(twilioSignature(publicURL+r.URL.RequestURI(), form)), []byte(r.Header.Get("X-Twilio-Signature"))) {
		http.Error(w, "signature", http.StatusForbidden)
		return
	}
	if err := f.hear(r.Context(), form.Get("MessageSid"), form.Get("From"), form.Get("Body"), ""); err != nil {
		http.Error(w, "redis", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/xml")
	_, _ = io.WriteString(w, xml.Header+"<Response/>")
}

func (f *floor) telegram(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("X-Telegram-Bot-Api-Secret-Token") != loadSecret {
		http.Error(w, "secret", http.StatusUnauthorized)
		return
	}
	var update struct {
		ID      int64 `json:"update_id"`
		Message struct {
			Text string
			Chat struct{ ID int64 }
		}
	}
	if err := json.NewDecoder(r.Body).Decode(&update); err != nil {
		http.Error(w, "json", http.StatusBadRequest)
		return
	}
	chat := strconv.FormatInt(update.Message.Chat.ID, 10)
	if err := f.hear(r.Context(), strconv.FormatInt(update.ID, 10), chat, update.Message.Text, chat+" "+f.item); err != nil {
		http.Error(w, "redis", http.StatusServiceUnavailable)
		return
	}
	select {
	case f.bell <- struct{}{}:
	default:
	}
}

// hear reads the document, counts, and writes it back at its usual size.
func (f *floor) hear(ctx context.Context, event, from, text, item string) error {
	key := f.key("d:" + from)
	old, err := f.redis.Get(ctx, key).Result()
	if err != nil && err != redis.Nil {
		return err
	}
	head, _, _ := strings.Cut(old, " ")
	n, _ := strconv.Atoi(head) // none = 0
	fresh := strconv.Itoa(n+len(text)) + " " + f.body
	return floorCommit.Run(ctx, f.redis, []string{f.key("seen"), key, f.key("item"), f.key("due")}, event, fresh, item).Err()
}

// sends sends what the outbox holds, one message at a time.
func (f *floor) sends() {
	ctx := context.Background()
	keys := []string{f.key("item"), f.key("due")}
	for {
		leased, err := floorLease.Run(ctx, f.redis, keys).StringSlice()
		if err != nil || len(leased) == 0 {
			select {
			case <-f.bell:
			case <-time.After(50 * time.Millisecond):
			}
			continue
		}
		chat, text, _ := strings.Cut(leased[1], " ")
		body, _ := json.Marshal(map[string]any{"chat_id": chat, "text": text}) // strings can be written
		answer, err := f.http.Post(f.api+"/bot"+loadBotToken+"/sendMessage", "application/json", bytes.NewReader(body))
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			continue
		}
		var taken struct{ OK bool }
		err = json.NewDecoder(answer.Body).Decode(&taken)
		_ = answer.Body.Close() // it has been read
		if err == nil && taken.OK {
			floorFinish.Run(ctx, f.redis, keys, leased[0])
		}
	}
}
