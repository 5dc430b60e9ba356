package main

import (
	"strings"
	"testing"

	"skepline/bot"
	"skepline/bot/store"
)

// TestSecretRotation holds that check says what a new secret still has to wait for, that a
// running hotline does it, and that a secret given up too early is noticed.
func TestSecretRotation(t *testing.T) {
	redisURL, _ := ownRedis(t)
	older, newest := strings.Repeat("plum", 10), strings.Repeat("pear", 10)
	st, err := store.Open(store.Options{URL: redisURL, Hotline: "quillbrook", Secrets: [][]byte{[]byte(older)}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = st.Close() }() // nothing is in flight
	doc := bot.Document{Key: bot.Key{Kind: bot.KindPerson, ID: "gwen"}, Body: []byte(`{"name":"Gwendolyn"}`)}
	if _, err := st.Commit(t.Context(), bot.Change{Event: "tw:1", Documents: []bot.Document{doc}}); err != nil {
		t.Fatal(err)
	}
	with := func(secrets string) func(string) string {
		return func(name string) string {
			return map[string]string{"SKEPLINE_REDIS_URL": redisURL, "SKEPLINE_SECRET": secrets}[name]
		}
	}
	checks := func(secrets, want string) {
		t.Helper()
		if r := runCommand(t, "", with(secrets), "check"); !strings.Contains(r.out, want) || strings.Contains(r.out+r.errs, "pearpear") {
			t.Errorf("check says %q, want %q and no secret", r.out+r.errs, want)
		}
	}
	checks(older, "sealed under the newest secret")
	checks(newest, "1 values in Redis cannot be opened")
	checks(newest+","+older, "1 of 1 values in Redis are not under the newest secret yet")

	c, err := (&terminal{errs: &lockedBuffer{}, getenv: with(newest + "," + older)}).config("")
	if err != nil {
		t.Fatal(err)
	}
	s, err := open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.store.Close() }() // nothing is in flight
	if err := s.reseal(t.Context()); err != nil {
		t.Fatal(err)
	}
	checks(newest+","+older, "sealed under the newest secret")
	checks(newest, "sealed under the newest secret")
	checks(older, "1 values in Redis cannot be opened")
}
