package main

import (
	"io"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/notify"
)

const (
	quarryman = "+16075550171"
	ferryman  = "+16075550172"
	stewardAt = "+16075550199"
)

// enrol adds a catcher, from a connection of the test's own.
func (w *wreck) enrol(name, number string) {
	w.Helper()
	h, _ := w.opens()
	catcher := notify.Catcher{ID: strings.ToLower(name), Name: name, Address: notify.Address("sms:" + number),
		Lat: h.Settings.Latitude, Lon: h.Settings.Longitude, ReachKm: 20, MaxHeightM: 4, JobsADay: 20}
	if _, err := h.Hear(w.Context(), bot.Enrolled{Event: nonce(), Catcher: catcher}); err != nil {
		w.Fatal(err)
	}
}

// steward puts a steward into the settings.
func (w *wreck) steward(number string) { w.settings("stewards = [\"sms:"+number+"\"]\n", "") }

// settings puts more in front of the settings, and at their end.
func (w *wreck) settings(before, after string) {
	w.Helper()
	text, err := os.ReadFile(w.file)
	if err == nil {
		err = os.WriteFile(w.file, []byte(before+string(text)+after), 0o600)
	}
	if err != nil {
		w.Fatal(err)
	}
}

// heard returns everything that was sent to a number, after the first n messages of all.
func (w *wreck) heard(number string, from int) string {
	var all strings.Builder
	for _, m := range w.twilio.Sent()[from:] {
		if m.To == number {
			all.WriteString(m.Body + "\n")
		}
	}
	return all.String()
}

func (w *wreck) hears(number, words string) {
	w.Helper()
	w.until("\""+words+"\" to "+number, func() bool { return strings.Contains(w.heard(number, 0), words) })
}

// reading returns a number from the program's /metrics, 0 when it is not there.
func (w *wreck) reading(name string) float64 {
	answer, err := http.Get("http://" + w.metrics + "/metrics")
	if err != nil {
		return 0
	}
	defer answer.Body.Close()
	page, err := io.ReadAll(answer.Body)
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(page)) {
		if value, ok := strings.CutPrefix(strings.TrimSpace(line), name+" "); ok {
			v, err := strconv.ParseFloat(value, 64)
			if err == nil {
				return v
			}
		}
	}
	return 0
}

func redisAt(t *testing.T, port string) *redis.Client {
	client := redis.NewClient(&redis.Options{Addr: "127.0.0.1:" + port, MaxRetries: -1})
	t.Cleanup(func() { _ = client.Close() })
	return client
}

// replicated starts a main server and copies of it, each over a wire of its own, and waits
// until the copies have all there is.
func (w *wreck) replicated(copies int) (servers []*exec.Cmd, ports []string, wires []*wire) {
	w.Helper()
	w.options = append(w.options, "--repl-diskless-sync-delay", "0")
	w.startRedis()
	for range copies {
		line := newWire(w.T, "127.0.0.1:"+w.redisPort)
		port := freePort(w.T)
		server := startServer(w.T, port, w.TempDir(), "--replicaof", "127.0.0.1 "+line.port())
		w.Cleanup(func() { end(server, syscall.SIGKILL) })
		servers, ports, wires = append(servers, server), append(ports, port), append(wires, line)
	}
	for _, port := range ports {
		client := redisAt(w.T, port)
		w.until("a copy to be in step", func() bool {
			return strings.Contains(client.Info(w.Context(), "replication").Val(), "master_link_status:up")
		})
	}
	return servers, ports, wires
}

// inStep waits until the copies have all that the main server has written by now.
func (w *wreck) inStep(ports []string) {
	w.Helper()
	offset := func(port, field string) (n int) {
		for _, line := range strings.Fields(redisAt(w.T, port).Info(w.Context(), "replication").Val()) {
			if value, is := strings.CutPrefix(line, field+":"); is {
				n, _ = strconv.Atoi(value) // 0 for what is no number: not in step
			}
		}
		return n
	}
	written := offset(w.redisPort, "master_repl_offset")
	for _, port := range ports {
		w.until("a copy to be in step", func() bool { return written > 0 && offset(port, "slave_repl_offset") >= written })
	}
}

// TestFailoverThatLosesATake plays what no Redis can prevent: a take that one copy has and
// that is told to its catcher, the main server dead, another copy promoted that never heard
// of the take, and a second take there. Both catchers hear the truth within a minute.
func TestFailoverThatLosesATake(t *testing.T) {
	w := prepareWreck(t)
	w.steward(stewardAt)
	_, ports, wires := w.replicated(2)
	w.wire = newWire(t, "127.0.0.1:"+w.redisPort)
	w.start()
	w.enrol("Quentin", quarryman)
	w.enrol("Ferris", ferryman)
	caller := w.caller()
	w.untilTaken(w.twilio.Text(caller, ourNumber, report))
	w.untilTaken(w.twilio.Text(caller, ourNumber, "14 Mill Lane"))
	w.hears(quarryman, "TAKE")
	w.hears(ferryman, "TAKE")
	w.inStep(ports)

	wires[1].set(func(f *fault) { f.frozen = true })
	w.untilTaken(w.twilio.Text(quarryman, ourNumber, "TAKE"))
	w.hears(quarryman, "Yours:")
	before := len(w.twilio.Sent())

	end(w.redis, syscall.SIGKILL)
	promoted := redisAt(t, ports[1])
	if err := promoted.ReplicaOf(t.Context(), "NO", "ONE").Err(); err != nil {
		t.Fatal(err)
	}
	failed := time.Now()
	w.wire.set(func(f *fault) { f.to = "127.0.0.1:" + ports[1] })
	w.wire.drop()
	w.untilTaken(w.twilio.Text(ferryman, ourNumber, "TAKE"))

	has := func(words string) bool {
		return strings.Contains(words, "Yours:") && !strings.Contains(words, "promised to two")
	}
	hasNot := func(words string) bool {
		return strings.Contains(words, "promised to two") || strings.Contains(words, "no need to go")
	}
	settled := func() bool {
		quentin, ferris := w.heard(quarryman, before), w.heard(ferryman, before)
		repaired := w.reading(`skepline_takes_repaired_total{how="conflict"}`) + w.reading(`skepline_takes_repaired_total{how="restored"}`)
		return repaired == 1 && (has(quentin) && hasNot(ferris) || has(ferris) && hasNot(quentin)) &&
			strings.Contains(w.heard(stewardAt, before), "lost its last moments")
	}
	w.until("both to hear the truth", settled)
	took := time.Since(failed)
	t.Logf("both catchers and the steward knew %v after the failover", took.Round(100*time.Millisecond))
	if took > time.Minute {
		t.Errorf("the repair took %v", took)
	}
	time.Sleep(time.Second)
	quentin, ferris := w.heard(quarryman, before), w.heard(ferryman, before)
	if n := w.reading(`skepline_store_lineage_changes_total{why="took_over"}`); n != 1 {
		t.Errorf("%v failovers were counted", n)
	}
	if has(quentin) == has(ferris) {
		t.Errorf("Quentin hears\n%s\nFerris hears\n%s", quentin, ferris)
	}
	t.Logf("repaired: %v conflicts, %v restored", w.reading(`skepline_takes_repaired_total{how="conflict"}`), w.reading(`skepline_takes_repaired_total{how="restored"}`))
}

// TestATakeWaitsForACopy holds that with copies a take is told only when one has it, and that
// the person who tapped hears so.
func TestATakeWaitsForACopy(t *testing.T) {
	w := prepareWreck(t)
	_, _, wires := w.replicated(1)
	w.start()
	w.enrol("Quentin", quarryman)
	caller := w.caller()
	w.untilTaken(w.twilio.Text(caller, ourNumber, report))
	w.untilTaken(w.twilio.Text(caller, ourNumber, "14 Mill Lane"))
	w.hears(quarryman, "TAKE")
	wires[0].set(func(f *fault) { f.frozen = true })
	w.untilTaken(w.twilio.Text(quarryman, ourNumber, "TAKE"))
	if n := w.reading(`skepline_events_total{kind="said",outcome="settling"}`); n != 1 {
		t.Errorf("%v takes were answered as not yet safe", n)
	}
	time.Sleep(time.Second)
	if words := w.heard(quarryman, 0); strings.Contains(words, "Yours:") {
		t.Fatalf("told although no copy has it: %s", words)
	}
	wires[0].set(func(f *fault) { f.frozen = false })
	w.hears(quarryman, "Yours:")
}
