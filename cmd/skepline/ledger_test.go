package main

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/store"
	"skepline/intake"
	"skepline/triage"
)

// keepSeason commits calls that ended in 2026: every fourth was wasps, the others swarms.
func keepSeason(t *testing.T, st *store.Store, calls int) {
	t.Helper()
	change := bot.Change{Outcome: bot.OutcomeNoted}
	for i := range calls {
		opened := time.Date(2026, 5, 1+i%28, 15, 0, 0, 0, time.UTC)
		c := bot.Call{
			ID: fmt.Sprintf("call%d", i), Reference: fmt.Sprintf("%04d", i), Stage: bot.Hived, Opened: opened, Ended: opened.Add(20 * time.Hour),
			Caller:  bot.Party{Address: "sms:+16075550142"},
			Answers: intake.Answers{Shape: "hanging_cluster", Body: "shiny_yellow", Place: &intake.Place{Lat: 42.4467, Lon: -76.4901, Text: "14 Mill Ln"}},
			Holder:  &bot.Holder{Catcher: "ada", Taken: opened.Add(9 * time.Minute)}, Found: triage.HoneyBeeSwarm,
		}
		if i%4 == 3 {
			c.Stage, c.Found = bot.PassedOn, triage.Yellowjacket
		}
		c.Assessment = triage.Assess(c.Answers, triage.Scene{At: opened, Latitude: 42, Longitude: -76})
		body, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		change.Documents = append(change.Documents, bot.Document{Key: bot.Key{Kind: bot.KindCall, ID: c.ID}, Body: body})
		change.Closed = append(change.Closed, bot.Closed{Call: c.ID, At: c.Ended})
		if len(change.Documents) == 60 || i == calls-1 {
			change.Event = bot.EventID(fmt.Sprint("season:", i))
			if _, err := st.Commit(t.Context(), change); err != nil {
				t.Fatal(err)
			}
			change.Documents, change.Closed = nil, nil
		}
	}
}

// One reading of the ledger gives the table, the map, the plots, the summary and what triage
// can learn, with a bar on the way; nothing of it names a caller.
func TestLedger(t *testing.T) {
	redisURL := realRedis(t)
	tag := strings.ToLower(rand.Text())
	hotline := write(t, "hotline.toml", strings.Replace(readText(t, "../../bot/hotline.toml"), `tag = "quillbrook"`, "tag = \""+tag+"\"", 1))
	st, err := store.Open(store.Options{URL: redisURL, Hotline: tag, Secrets: [][]byte{[]byte(strings.Repeat("s", 32))}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = st.Close() }() // nothing is in flight
	keepSeason(t, st, 600)
	dir := t.TempDir()
	getenv := func(key string) string {
		return map[string]string{"SKEPLINE_REDIS_URL": redisURL, "SKEPLINE_SECRET": strings.Repeat("s", 32)}[key]
	}
	file := func(name string) string { return filepath.Join(dir, name) }
	r := runCommand(t, "", getenv, "--hotline", hotline, "ledger", "--from", "2026-01-01", "--to", "2026-12-31", "--csv", file("calls.csv"),
		"--geojson", file("calls.geojson"), "--plots", file("plots"), "--format", "svg", "--learn", file("learned.json"))
	if r.code != 0 {
		t.Fatalf("exit %d: %s", r.code, r.errs)
	}
	for _, want := range []string{"600 calls from 2026-05-01 to 2026-05-28, 450 caught", "Brier score", "was yellowjacket", "body=shiny_yellow"} {
		if !strings.Contains(r.out, want) {
			t.Errorf("the summary does not say %q:\n%s", want, r.out)
		}
	}
	if !strings.Contains(r.errs, "600 of 600 calls") {
		t.Errorf("no progress: %q", r.errs)
	}
	for name, lines := range map[string]int{"calls.csv": 601, "calls.geojson": 602} {
		text := readText(t, file(name))
		if got := strings.Count(text, "\n"); got != lines || strings.Contains(text, "5550142") || strings.Contains(text, "Mill") {
			t.Errorf("%s has %d lines, want %d, and no caller", name, got, lines)
		}
	}
	for _, name := range []string{"weeks", "time_to_take", "outcomes", "map", "reliability"} {
		if text := readText(t, file("plots/"+name+".svg")); !strings.Contains(text, "<svg") {
			t.Errorf("%s is no SVG", name)
		}
	}
	learned, err := triage.ReadLearned(strings.NewReader(readText(t, file("learned.json"))))
	if err != nil || learned.Seen[triage.Yellowjacket] != 150 {
		t.Errorf("learned %v, %v", learned, err)
	}
	r = runCommand(t, "", getenv, "--hotline", hotline, "ledger", "--from", "2025-01-01", "--to", "2025-12-31", "--csv", "-")
	if r.code != 0 || strings.Count(r.out, "\n") != 1 {
		t.Errorf("an empty year: exit %d, %q", r.code, r.out)
	}
	if r = runCommand(t, "", getenv, "--hotline", hotline, "ledger", "--from", "May"); r.code != 1 || !strings.Contains(r.errs, "is not a day") {
		t.Errorf("a wrong day: exit %d, %q", r.code, r.errs)
	}
}

func readText(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
