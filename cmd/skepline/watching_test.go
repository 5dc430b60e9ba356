package main

import (
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/notify"
)

// inService opens a service without starting its loops.
func inService(t *testing.T, environment map[string]string, change func(*config)) (*service, *lockedBuffer) {
	t.Helper()
	logs := &lockedBuffer{}
	c, err := (&terminal{errs: logs, getenv: func(n string) string { return environment[n] }}).config(root + "/bot/hotline.toml")
	if err != nil {
		t.Fatal(err)
	}
	c.log = slog.New(slog.NewTextHandler(logs, nil))
	change(&c)
	s, err := open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.store.Close() }) // nothing is in flight
	return s, logs
}

// TestDeadManHearsThatAllIsWell holds that the dead man's link is fetched after an audit that
// found nothing, and after no other; and that the log does not name it.
func TestDeadManHearsThatAllIsWell(t *testing.T) {
	var fetched, status atomic.Int64
	status.Store(http.StatusOK)
	link := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fetched.Add(1)
		w.WriteHeader(int(status.Load()))
	}))
	defer link.Close()
	s, _ := inService(t, nil, func(c *config) { c.inMemory, c.settings.Audit.DeadMan = true, link.URL+"/secret-of-a-kind" })
	if err := s.audit(t.Context()); err != nil || fetched.Load() != 1 {
		t.Errorf("all is well: %v, fetched %d times", err, fetched.Load())
	}
	status.Store(http.StatusNotFound)
	if err := s.audit(t.Context()); err == nil || strings.Contains(err.Error(), "secret-of-a-kind") {
		t.Errorf("a link that does not work: %v", err)
	}
	link.Close()
	if err := s.audit(t.Context()); err == nil || strings.Contains(err.Error(), "secret-of-a-kind") {
		t.Errorf("a link that does not answer: %v", err)
	}

	// A call that nothing happens to any more.
	call := bot.Call{Schema: 1, ID: "c1", Reference: "7KQ2", Stage: bot.Looking, Opened: time.Now().Add(-time.Hour)}
	body, err := json.Marshal(call)
	card, err2 := json.Marshal(notify.CallCard{Reference: "7KQ2", Stage: "looking", Opened: call.Opened})
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	_, err = s.store.Commit(t.Context(), bot.Change{Event: "x:1", Documents: []bot.Document{{Key: bot.Key{Kind: bot.KindCall, ID: "c1"}, Body: body}},
		Cards: []bot.Card{{Field: "c:c1", Body: card}}})
	if err != nil {
		t.Fatal(err)
	}
	before := fetched.Load()
	if err := s.audit(t.Context()); err != nil || fetched.Load() != before {
		t.Errorf("a call without a next step: %v, fetched %d times", err, fetched.Load()-before)
	}
	docs, err := s.store.Documents(t.Context(), []bot.Key{{Kind: bot.KindCall, ID: "c1"}})
	if err != nil || json.Unmarshal(docs[0].Body, &call) != nil || len(call.Timers) == 0 {
		t.Errorf("the auditor gave it no next step: %+v, %v", call, err)
	}
}

// TestRedisIsLookedAtAgain holds that a setting of Redis which changes under way is told of in
// the log and makes the program not ready, and that putting it back makes it ready again.
func TestRedisIsLookedAtAgain(t *testing.T) {
	url, _ := ownRedis(t)
	s, logs := inService(t, map[string]string{"SKEPLINE_REDIS_URL": url, "SKEPLINE_SECRET": strings.Repeat("plum", 10)}, func(*config) {})
	opts, err := redis.ParseURL(url)
	if err != nil {
		t.Fatal(err)
	}
	client := redis.NewClient(opts)
	defer func() { _ = client.Close() }() // only settings were changed
	recheck := s.recheck()
	look := func() string {
		t.Helper()
		if err := recheck(t.Context()); err != nil {
			t.Fatal(err)
		}
		state, err := s.look(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return state.Problem
	}
	if problem := look(); problem != "" || strings.Contains(logs.String(), "the store has changed") {
		t.Fatalf("a Redis as it should be: %q", problem)
	}
	if err := client.ConfigSet(t.Context(), "maxmemory-policy", "allkeys-lru").Err(); err != nil {
		t.Fatal(err)
	}
	if problem := look(); !strings.Contains(problem, "noeviction") || !strings.Contains(logs.String(), "the store has changed") {
		t.Errorf("a Redis that forgets when it is full: %q", problem)
	}
	if err := client.ConfigSet(t.Context(), "maxmemory-policy", "noeviction").Err(); err != nil {
		t.Fatal(err)
	}
	if problem := look(); problem != "" {
		t.Errorf("put right again: %q", problem)
	}
	if err := client.ConfigSet(t.Context(), "appendfsync", "everysec").Err(); err != nil {
		t.Fatal(err)
	}
	if problem := look(); problem != "" || strings.Count(logs.String(), "the store has changed") != 3 || !strings.Contains(logs.String(), "single;") && !strings.Contains(logs.String(), "now=single") {
		t.Errorf("a Redis that may lose seconds: %q; the log: %s", problem, logs)
	}
}
