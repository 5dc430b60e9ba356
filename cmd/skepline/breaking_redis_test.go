package main

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"skepline/bot/standin"
)

// refused posts a webhook and returns how long the program took to say that it cannot take it,
// false when it took it.
func (w *wreck) refused() (took time.Duration, refused bool) {
	began := time.Now()
	form := w.twilio.Text(w.caller(), ourNumber, report)
	answer, err := w.twilio.SignedPost(publicURL+"/twilio/message", form)
	if err != nil {
		return time.Since(began), true
	}
	_ = answer.Body.Close() // its status is all that counts
	return time.Since(began), answer.StatusCode == http.StatusServiceUnavailable
}

// TestBreakWire (B9, B10) breaks the line to Redis: slow, resetting, without replies, dead.
// Nobody is lost, and nobody is told anything twice.
func TestBreakWire(t *testing.T) {
	for _, test := range []struct {
		why   string
		how   fault
		lasts time.Duration
	}{
		{"slow", fault{delay: 50 * time.Millisecond}, time.Second},
		{"resets", fault{resets: 0.01, delay: time.Millisecond}, time.Second},
		{"no reply", fault{deaf: true}, time.Second},
		{"dead", fault{frozen: true}, 0},
	} {
		t.Run(test.why, func(t *testing.T) {
			w := prepareWreck(t)
			w.startRedis()
			w.wire = newWire(t, "127.0.0.1:"+w.redisPort)
			w.start()
			lasts := test.lasts
			if long(t) {
				lasts = 30 * time.Second
			}
			w.once(15, func() {
				time.Sleep(time.Duration(50+rand.IntN(100)) * time.Millisecond)
				w.wire.set(func(f *fault) { to := f.to; *f = test.how; f.to = to })
				if test.how.frozen {
					took, refused := w.refused()
					t.Logf("a webhook while Redis is a blackhole: refused %v after %v", refused, took.Round(10*time.Millisecond))
					if !refused || took > 12*time.Second {
						t.Errorf("a webhook is answered after %v, refused %v; Twilio waits 15 s", took, refused)
					}
				}
				time.Sleep(lasts)
				w.wire.set(func(f *fault) { *f = fault{to: f.to} })
				if test.how.frozen {
					w.wire.drop()
				}
			})
		})
	}
}

// TestBreakDisk (B7) fills Redis' disk: with every write synced Redis ends itself. The program
// is not ready, says so at once, and after Redis is back nothing that it acknowledged is gone.
func TestBreakDisk(t *testing.T) {
	w := prepareWreck(t)
	full := exec.Command("sh", "-c", `trap "" XFSZ; ulimit -f 150; exec redis-server "$@"`, "sh", "--port", w.redisPort, "--bind", "127.0.0.1", "--dir", w.redisDir,
		"--save", "", "--appendonly", "yes", "--appendfsync", "always")
	if err := full.Start(); err != nil {
		t.Fatal(err)
	}
	defer end(full, syscall.SIGKILL)
	client := redisAt(t, w.redisPort)
	w.until("Redis to be ready", func() bool { return client.Ping(t.Context()).Err() == nil })
	w.start()
	var taken []string
	ended := make(chan struct{})
	go func() { _ = full.Wait(); close(ended) }()
	for open := true; open; {
		select {
		case <-ended:
			open = false
		default:
			if number := w.caller(); w.post(w.twilio.Text(number, ourNumber, report)) {
				taken = append(taken, number)
			}
		}
	}
	took, refused := w.refused()
	if !refused || took > 5*time.Second {
		t.Errorf("without Redis a webhook is answered after %v, refused %v", took, refused)
	}
	w.until("the program not to be ready", func() bool {
		answer, err := http.Get(w.url + "/readyz")
		if err != nil {
			return false
		}
		_ = answer.Body.Close() // its status is all that counts
		return answer.StatusCode == http.StatusServiceUnavailable
	})
	w.startRedis()
	back := time.Now()
	w.until("all to be answered", func() bool {
		for _, number := range taken {
			if w.heard(number, 0) == "" {
				return false
			}
		}
		return true
	})
	t.Logf("%d texts were acknowledged before the disk was full; refused after %v; all answered %v after Redis was back", len(taken),
		took.Round(time.Millisecond), time.Since(back).Round(10*time.Millisecond))
	w.once(5, func() {})
}

// TestBreakMemory (B8) fills Redis' memory. Texts are refused whole; what was taken before
// still goes out, for that frees memory; and then everything goes on.
func TestBreakMemory(t *testing.T) {
	w := openWreck(t)
	client := redisAt(t, w.redisPort)
	number := w.caller()
	w.twilio.Next(standin.TwilioCreate, 1, standin.TooMany(1))
	w.untilTaken(w.twilio.Text(number, ourNumber, "bees stung me and i cant breathe"))
	if err := client.ConfigSet(t.Context(), "maxmemory", "1").Err(); err != nil {
		t.Fatal(err)
	}
	documents := func() int { return len(client.Keys(t.Context(), "*:d:*").Val()) }
	before := documents()
	for range 3 {
		if took, refused := w.refused(); !refused || took > 5*time.Second {
			t.Errorf("with its memory full Redis' webhook is answered after %v, refused %v", took, refused)
		}
	}
	w.until("what was taken before to go out", func() bool { return w.heard(number, 0) != "" })
	if now := documents(); now != before {
		t.Errorf("%d documents, before the refusals %d: something was written in part", now, before)
	}
	if err := client.ConfigSet(t.Context(), "maxmemory", "0").Err(); err != nil {
		t.Fatal(err)
	}
	w.once(10, func() {})
}

// cluster starts three main servers and three copies on loopback and makes them one Cluster.
func (w *wreck) cluster() (ports []string, servers map[string]*exec.Cmd) {
	w.Helper()
	servers = map[string]*exec.Cmd{}
	var nodes []string
	for range 6 {
		port := freePort(w.T)
		for p := 0; p == 0 || p > 55000; port = freePort(w.T) { // the bus is at port + 10000
			_, _ = fmt.Sscan(port, &p)
		}
		servers[port] = startServer(w.T, port, w.TempDir(), "--cluster-enabled", "yes", "--cluster-node-timeout", "2000", "--repl-diskless-sync-delay", "0")
		server := servers[port]
		w.Cleanup(func() { end(server, syscall.SIGKILL) })
		ports, nodes = append(ports, port), append(nodes, "127.0.0.1:"+port)
	}
	made, err := exec.Command("redis-cli", append(append([]string{"--cluster", "create"}, nodes...), "--cluster-replicas", "1", "--cluster-yes")...).CombinedOutput()
	if err != nil {
		w.Fatalf("%v: %s", err, made)
	}
	for _, port := range ports {
		client := redisAt(w.T, port)
		w.until("the copies to be in step", func() bool {
			info := client.Info(w.Context(), "replication").Val()
			if !strings.Contains(client.ClusterInfo(w.Context()).Val(), "cluster_state:ok") {
				return false
			}
			return strings.Contains(info, "role:master") && strings.Contains(info, "connected_slaves:1") || strings.Contains(info, "master_link_status:up")
		})
	}
	w.redisURL = "redis://" + strings.Join(nodes, ",")
	return ports, servers
}

// TestBreakCluster (B13) kills the main server that holds the hotline, of a real Cluster of
// three and three.
func TestBreakCluster(t *testing.T) {
	if !long(t) {
		t.Skip("only with SKEPLINE_BREAKING")
	}
	w := prepareWreck(t)
	ports, servers := w.cluster()
	w.start()
	w.once(10, func() {})
	holder := ""
	for _, port := range ports {
		client := redisAt(t, port)
		if n, _ := client.DBSize(t.Context()).Result(); n > 0 && strings.Contains(client.Info(t.Context(), "replication").Val(), "role:master") {
			holder = port
		}
	}
	w.once(20, func() {
		time.Sleep(200 * time.Millisecond)
		killed := time.Now()
		end(servers[holder], syscall.SIGKILL)
		w.until("texts to be taken again", func() bool { return w.post(w.twilio.Text(w.caller(), ourNumber, report)) })
		t.Logf("texts were taken again %v after the main server died (node timeout 2 s)", time.Since(killed).Round(10*time.Millisecond))
	})
	w.until("the program to notice", func() bool { return w.reading(`skepline_store_lineage_changes_total{why="took_over"}`) == 1 })
}

// TestBreakIsland (B16) cuts the main server off from its copy while the program stays with
// it: with min-replicas-to-write it must stop taking texts soon.
func TestBreakIsland(t *testing.T) {
	if !long(t) {
		t.Skip("only with SKEPLINE_BREAKING")
	}
	w := prepareWreck(t)
	w.options = []string{"--min-replicas-to-write", "1", "--min-replicas-max-lag", "2"}
	_, _, wires := w.replicated(1)
	w.start()
	wires[0].set(func(f *fault) { f.frozen = true })
	cut := time.Now()
	w.until("texts to be refused", func() bool { _, refused := w.refused(); return refused })
	t.Logf("the cut-off server stopped taking texts after %v", time.Since(cut).Round(10*time.Millisecond))
	if took := time.Since(cut); took > 5*time.Second {
		t.Errorf("it took texts for %v that nobody else has", took)
	}
}
