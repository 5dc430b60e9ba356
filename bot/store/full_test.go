package store

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

// TestFullRedis holds that a Redis without room refuses a commit cleanly, and that what is
// in the outbox still drains and timers can still be put off.
func TestFullRedis(t *testing.T) {
	w := newWorld(t, ownServer(t), Options{})
	w.commit(bot.Change{
		Messages: []notify.Message{text("m1", "gwen", notify.Question), text("m2", "gwen", notify.News), text("b1", "bram", notify.Offer)},
		Timers:   []bot.TimerChange{timer("c1/round", 1, start)},
	})
	if err := w.client.ConfigSet(t.Context(), "maxmemory", "1").Err(); err != nil {
		t.Fatal(err)
	}
	before := w.dump()
	if _, err := w.a.Commit(t.Context(), everything("tw:full")); err == nil || !strings.Contains(err.Error(), "OOM") {
		t.Errorf("commit on a full Redis: %v, want a refusal", err)
	}
	if diff := cmp.Diff(before, w.dump()); diff != "" {
		t.Errorf("a refused commit left traces: %s", diff)
	}
	// The test's own clock cannot be moved on a full Redis, so the sender's rate is off.
	drain := w.open(Options{Hotline: strings.Trim(w.a.keys.prefix, "{}:"), Secrets: testSecrets, Pace: quick.Pace}, testClock)
	leased := w.wantLeased(drain, notify.SMS, "b1 fresh", "m1 fresh")
	w.finish(drain, leased.Items[0], notify.Result{End: notify.RetryLater, After: time.Hour}, "")
	w.accept(drain, leased.Items[1])
	w.finish(drain, w.wantLeased(drain, notify.SMS, "m2 fresh").Items[0], notify.Result{}, "stale")
	w.wantLeased(drain, notify.SMS)
	if err := w.a.Postpone(t.Context(), bot.Timer{ID: "c1/round", N: 1}, time.Hour); err != nil {
		t.Errorf("put off a timer on a full Redis: %v", err)
	}
	if err := w.a.Sweep(t.Context()); err != nil {
		t.Errorf("sweep on a full Redis: %v", err)
	}
	w.due()
	if err := w.client.ConfigSet(t.Context(), "maxmemory", "0").Err(); err != nil {
		t.Fatal(err)
	}
	w.commit(everything("tw:full"))
}

// TestCluster runs every script on a Redis Cluster of one node: it refuses keys of two slots
// in one script, which the embedded Redis does not.
func TestCluster(t *testing.T) {
	server := ownServer(t, "--cluster-enabled", "yes")
	if err := server.client.ClusterAddSlotsRange(t.Context(), 0, 16383).Err(); err != nil {
		t.Fatal(err)
	}
	// A second address, though the same, makes the library speak to it as a Cluster.
	s, err := Open(Options{URL: "redis://" + server.addr + "," + server.addr, Hotline: "quillbrook", Secrets: testSecrets, Pace: quick.Pace})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	gwen := person("gwen", 0, "{}")
	gwen.Pointer = &bot.Key{Kind: bot.KindCall, ID: "c1"}
	change := everything("tw:SM1")
	change.Documents, change.Checks = []bot.Document{gwen, call("c1", 0, "{}")}, nil
	waitForCluster(t, server)
	if _, err := s.Commit(t.Context(), change); err != nil {
		t.Fatal(err)
	}
	loaded, err := s.Load(t.Context(), "tw:SM2", "gwen", "ref:7KQ2")
	if err != nil || len(loaded.Documents) != 2 || loaded.Found != "c1" {
		t.Errorf("load: %+v, %v", loaded, err)
	}
	leased, err := s.Lease(t.Context(), notify.SMS, 1, time.Minute)
	if err != nil || len(leased.Items) != 1 {
		t.Fatalf("lease: %+v, %v", leased, err)
	}
	if err := s.Finish(t.Context(), notify.Done{Lease: leased.Items[0], Result: notify.Result{End: notify.Accepted, ProviderID: "P1"}}); err != nil {
		t.Error(err)
	}
	if failed, err := s.Report(t.Context(), bot.DeliveryReport{Message: "m1", ProviderID: "P1", Status: "failed"}); err != nil || failed == nil {
		t.Errorf("report: %v, %v", failed, err)
	}
	if roster, err := s.Roster(t.Context()); err != nil || len(roster) != 1 {
		t.Errorf("roster: %v, %v", roster, err)
	}
	if has, err := s.HasTimer(t.Context(), []string{"c9/x", "c1/round"}); err != nil || !has {
		t.Errorf("timer: %v, %v", has, err)
	}
	if _, _, err := s.DueTimers(t.Context(), 10); err != nil {
		t.Error(err)
	}
	if err := s.Sweep(t.Context()); err != nil {
		t.Error(err)
	}
	profile, problems, err := s.Check(t.Context(), time.Now())
	if err != nil || profile.Name != "replicated" || fatal(problems) {
		t.Errorf("check: %+v %+v %v", profile, problems, err)
	}
}

// waitForCluster waits until the node has noticed that all slots are its own.
func waitForCluster(t *testing.T, s *server) {
	t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	for time.Now().Before(deadline) {
		info, err := s.client.ClusterInfo(t.Context()).Result()
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(info, "cluster_state:ok") {
			return
		}
	}
	t.Fatal("the Cluster did not come up")
}
