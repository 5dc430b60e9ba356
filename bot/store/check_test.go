package store

import (
	"strings"
	"testing"
	"time"
)

// good is a server as the hotline wants it.
var good = facts{version: "7.0.15", role: "master", configRead: true, policy: "noeviction",
	appendOnly: true, appendFsync: "always", minReplicas: 1, used: 1 << 20, limit: 1 << 30}

func TestJudge(t *testing.T) {
	tests := []struct {
		why     string
		change  func(*facts)
		profile string
		problem string // a word of the one sentence expected, "" = none
		fatal   bool
	}{
		{"the advice", func(f *facts) {}, "strict-single", "", false},
		{"two seconds may be lost", func(f *facts) { f.appendFsync = "everysec" }, "single", "", false},
		{"the kernel's own flush comes every 30 s", func(f *facts) { f.appendFsync = "no" }, "single", "appendfsync no", false},
		{"no fsync during a rewrite is no fsync", func(f *facts) { f.pausesFsync = true }, "single", "no-appendfsync-on-rewrite", false},
		{"snapshots only", func(f *facts) { f.appendOnly = false }, "snapshots", "appendonly yes", false},
		{"a failover loses the last moments", func(f *facts) { f.replicas = 1 }, "replicated", "", false},
		{"an island takes writes for nobody", func(f *facts) { f.replicas, f.minReplicas = 1, 0 }, "replicated", "min-replicas-to-write", false},
		{"Sentinels", func(f *facts) { f.sentinelClient = true }, "replicated", "", false},
		{"a Cluster, spoken to as one", func(f *facts) { f.clusterEnabled, f.clusterClient = true, true }, "replicated", "", false},
		{"a Cluster, not spoken to as one", func(f *facts) { f.clusterEnabled = true }, "replicated", "two of its addresses", true},
		{"eviction orphans leases and forgets calls", func(f *facts) { f.policy = "allkeys-lru" }, "strict-single", "noeviction", true},
		{"a managed server that hides everything", func(f *facts) { f.policy, f.appendFsync, f.configRead = "", "", false }, "single", "noeviction", false},
		{"a managed server with INFO", func(f *facts) { f.appendFsync, f.configRead = "", false }, "single", "CONFIG is forbidden", false},
		{"a copy refuses writes", func(f *facts) { f.role = "slave" }, "strict-single", "copy", true},
		{"too old", func(f *facts) { f.version = "6.0.16" }, "strict-single", "too old", true},
		{"newer is fine", func(f *facts) { f.version = "8.2.1" }, "strict-single", "", false},
		{"a version nobody can read", func(f *facts) { f.version = "unstable" }, "strict-single", "too old", true},
		{"a full disk", func(f *facts) { f.aofBroken = true }, "strict-single", "append-only file", true},
		{"filling up", func(f *facts) { f.used = f.limit * 3 / 4 }, "strict-single", "75%", false},
		{"no limit, never full", func(f *facts) { f.limit = 0 }, "strict-single", "", false},
		{"a clock a bit off", func(f *facts) { f.skew = -5 * time.Second }, "strict-single", "5s apart", false},
		{"a clock far off", func(f *facts) { f.skew = time.Hour }, "strict-single", "1h0m0s apart", true},
	}
	for _, tt := range tests {
		f := good
		tt.change(&f)
		profile, problems := judge(f)
		if profile.Name != tt.profile || profile.Loses == "" {
			t.Errorf("%s: profile %+v, want %s", tt.why, profile, tt.profile)
		}
		if fatal(problems) != tt.fatal || (len(problems) > 0) != (tt.problem != "") {
			t.Errorf("%s: problems %v, want fatal %v", tt.why, problems, tt.fatal)
		}
		if tt.problem != "" && !strings.Contains(problems[0].Sentence, tt.problem) {
			t.Errorf("%s: %q does not say %q", tt.why, problems[0].Sentence, tt.problem)
		}
	}
}

func fatal(problems []Problem) bool {
	for _, p := range problems {
		if p.Fatal {
			return true
		}
	}
	return false
}

// TestCheckRealServer reads the facts of a server as they are.
func TestCheckRealServer(t *testing.T) {
	server := ownServer(t)
	w := newWorld(t, server, Options{Deployment: "quillbrook-1"})
	check := func(s *Store, profile, problem string, isFatal bool) {
		t.Helper()
		now, err := s.Now(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got, problems, err := s.Check(t.Context(), now)
		if err != nil {
			t.Fatal(err)
		}
		if got.Name != profile || got.Version == "" || fatal(problems) != isFatal {
			t.Errorf("check: %+v %v, want %s, fatal %v", got, problems, profile, isFatal)
		}
		if problem != "" && (len(problems) == 0 || !strings.Contains(problems[0].Sentence, problem)) {
			t.Errorf("check: %v does not say %q", problems, problem)
		}
	}
	set := func(name, value string) {
		t.Helper()
		if err := server.client.ConfigSet(t.Context(), name, value).Err(); err != nil {
			t.Fatal(err)
		}
	}
	check(w.a, "single", "", false)
	set("appendfsync", "always")
	check(w.a, "strict-single", "", false)
	set("maxmemory-policy", "volatile-lru")
	check(w.a, "strict-single", "noeviction", true)
	set("maxmemory-policy", "noeviction")

	same := Options{Hotline: strings.Trim(w.a.keys.prefix, "{}:")}
	check(w.open(same, clockLua), "strict-single", "", false) // whoever does not say who they are is let in
	same.Deployment = "elsewhere"
	check(w.open(same, clockLua), "strict-single", "another hotline", true)
	if err := server.client.HSet(t.Context(), w.a.keys.of("meta"), "schema", "2").Err(); err != nil {
		t.Fatal(err)
	}
	check(w.a, "strict-single", "layout 2", true)
}

func TestCheckEmbedded(t *testing.T) {
	s, m, err := OpenEmbedded("quillbrook")
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	m.SetTime(start)
	profile, problems, err := s.Check(t.Context(), start.Add(time.Hour))
	if err != nil || profile.Name != "embedded" || len(problems) != 0 {
		t.Errorf("check: %+v %v %v", profile, problems, err)
	}
	if now, err := s.Now(t.Context()); err != nil || !now.Equal(start) {
		t.Errorf("now %v, %v, want %v", now, err, start)
	}
	if _, err := s.Hold(t.Context(), "poll", "one", time.Minute); err != nil {
		t.Fatal(err)
	}
	m.SetTime(start.Add(time.Minute))
	if held, err := s.Hold(t.Context(), "poll", "two", time.Minute); err != nil || !held {
		t.Errorf("the caller's clock does not drive the embedded store: %v, %v", held, err)
	}
}
