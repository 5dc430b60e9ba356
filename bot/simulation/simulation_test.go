package simulation

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

var (
	seeds   = flag.Int("seeds", 80, "how many seeds TestSeeds plays")
	first   = flag.Uint64("first", 1, "the first of them")
	onwards = flag.Bool("onwards", false, "go on after a seed that fails")
	seed    = flag.Uint64("seed", 1, "the seed whose diary TestDiary prints")
)

// TestSeeds plays plans from many seeds. What fails is made small and printed; keep it in
// testdata/plans together with the mending.
func TestSeeds(t *testing.T) {
	t.Parallel()
	began, events, sent, hits := time.Now(), 0, 0, map[string]int{}
	for i := range uint64(*seeds) {
		plan := Generate(*first + i)
		r := Run(plan, "")
		events, sent = events+r.Events, sent+r.Sent
		for point, n := range r.Hits {
			hits[point] += n
		}
		if r.Broken != "" {
			t.Errorf("seed %d: %s\n%s", plan.Seed, r.Broken, smallest(t, plan))
			if !*onwards {
				break
			}
		}
	}
	t.Logf("%d seeds, %d events, %d messages in %v; faults that struck: %v", *seeds, events, sent, time.Since(began).Round(time.Millisecond), hits)
}

// smallest shrinks a failing plan, keeps it in a file and returns its diary.
func smallest(t *testing.T, plan Plan) string {
	t.Helper()
	seed := plan.Seed
	plan = Shrink(plan, "", 3000)
	b, err := json.MarshalIndent(plan, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(os.TempDir(), fmt.Sprintf("plan-%d.json", seed))
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	diary := Run(plan, "").Diary
	return fmt.Sprintf("%d steps and %d faults are enough; keep %s in bot/simulation/testdata/plans\n%s", len(plan.Steps), len(plan.Faults), file,
		strings.Join(diary[max(0, len(diary)-60):], "\n"))
}

// TestPlans plays the plans that broke a promise once, made small.
func TestPlans(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("testdata/plans/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no plans: %v", err)
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var plan Plan
		if err := json.Unmarshal(b, &plan); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		if r := Run(plan, ""); r.Broken != "" {
			t.Errorf("%s: %s\n%s", file, r.Broken, strings.Join(r.Diary, "\n"))
		}
	}
}

// TestTheSameTwice holds that a seed means one run: every line of its diary is the same the
// second time.
func TestTheSameTwice(t *testing.T) {
	t.Parallel()
	for seed := range uint64(10) {
		a, b := Run(Generate(seed), ""), Run(Generate(seed), "")
		if diff := cmp.Diff(a.Diary, b.Diary); diff != "" {
			t.Fatalf("seed %d: %s", seed, diff)
		}
	}
}

// TestShrink holds that a failing plan becomes small and still fails.
func TestShrink(t *testing.T) {
	t.Parallel()
	for seed := range uint64(80) {
		plan := Generate(seed + 1)
		if promiseOf(Run(plan, NoFence).Broken) == "" {
			continue
		}
		small := Shrink(plan, NoFence, 600)
		if n := len(small.Steps) + len(small.Faults); n > 20 || Run(small, NoFence).Broken == "" {
			t.Errorf("seed %d shrank to %d steps and %d faults: %s", plan.Seed, len(small.Steps), len(small.Faults), Run(small, NoFence).Broken)
		}
		return
	}
	t.Error("no seed fails")
}

// TestDetour holds that a catcher whose channel is down hears of their take on their second
// one within minutes, and that everybody else hears when the channel works again.
func TestDetour(t *testing.T) {
	t.Parallel()
	w := newWorld(Plan{Start: time.Date(2026, 5, 12, 15, 0, 0, 0, time.UTC), Replicas: 2, Lasts: 3 * time.Hour, Fuse: -1, Steps: []Step{
		{At: 0, Who: "Gwen", Do: "says", Text: "hanging cluster of bees on my fence, nobody stung, 14 Mill Ln, I can reach it"},
		{At: time.Minute, Do: "channel", Text: "sms", For: 20 * time.Minute},
		{At: 2 * time.Minute, Who: "Chidi", Do: "takes"},
		{At: 10 * time.Minute, Who: "Gwen", Do: "says", Text: "side gate, big dog"},
	}}, "")
	w.play()
	if w.broken != "" {
		t.Fatal(w.broken)
	}
	told := func(who notify.Address, words string) (first time.Duration) {
		for _, s := range w.phones[who].screen {
			if strings.Contains(s.text, words) {
				return s.at.Sub(w.plan.Start)
			}
		}
		return -1
	}
	if at := told("telegram:5550164", "Yours: "); at < 0 || at > 4*time.Minute {
		t.Errorf("Chidi, who has a second address, is told after %v\n%s", at, strings.Join(w.diary, "\n"))
	}
	if at := told("sms:+16075550142", "Good news"); at < 21*time.Minute || at > 23*time.Minute {
		t.Errorf("Gwen is told after %v", at)
	}
}

// TestAYear holds that what is stored stays bounded: the second half of a year leaves its
// ended calls for the ledger, and nothing else that the first half did not.
func TestAYear(t *testing.T) {
	t.Parallel()
	plan := Plan{Start: time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC), Replicas: 1, Lasts: 366 * 24 * time.Hour, Fuse: -1}
	for day := range 90 {
		at := time.Duration(day) * 4 * 24 * time.Hour
		who := town[day%4]
		plan.Steps = append(plan.Steps, Step{At: at, Who: who.name, Do: "says", Text: "hanging cluster of bees on my fence, nobody stung, " + who.house + ", I can reach it"},
			Step{At: at + 9*time.Hour, Who: "Ada", Do: "takes"}, Step{At: at + 10*time.Hour, Who: "Ada", Do: "says", Text: "THERE"},
			Step{At: at + 11*time.Hour, Who: "Ada", Do: "says", Text: "BOXED"}, Step{At: at + 20*time.Hour, Who: "Ada", Do: "says", Text: "LIFTED"},
			Step{At: at + 21*time.Hour, Who: "Ada", Do: "says", Text: "HIVED"})
	}
	w := newWorld(plan, "")
	censusAt := func(at time.Time) map[string]Held {
		w.runUntil(at)
		if err := w.memory.Sweep(t.Context()); err != nil {
			t.Fatal(err)
		}
		return w.memory.Census()
	}
	half, whole := censusAt(plan.Start.Add(183*24*time.Hour)), censusAt(w.end)
	if w.broken != "" {
		t.Fatal(w.broken)
	}
	entries, size, table := 0, 0, ""
	for _, kind := range slices.Sorted(maps.Keys(whole)) {
		was, is := half[kind], whole[kind]
		entries, size = entries+is.Entries, size+is.Bytes
		table += fmt.Sprintf("\n%-8s %5d entries %7d bytes, after half a year %5d and %7d", kind, is.Entries, is.Bytes, was.Entries, was.Bytes)
		if kind != bot.KindCall && kind != "closed" && kind != "find" && is.Bytes > was.Bytes+was.Bytes/4+2000 {
			t.Errorf("%s grows: %+v after half a year, %+v after a whole one", kind, was, is)
		}
	}
	calls := whole[bot.KindCall]
	t.Logf("after a year of %d calls %d entries, about %d bytes, %d a call%s", calls.Entries, entries, size, calls.Bytes/calls.Entries, table)
	if per := calls.Bytes / calls.Entries; per > 4000 {
		t.Errorf("an ended call takes %d bytes", per)
	}
	for _, kind := range []string{"item", "held", "tries", "line", "errand"} {
		if whole[kind].Entries > 0 {
			t.Errorf("%d of %s are left", whole[kind].Entries, kind)
		}
	}
}

// TestDiary prints what happens in one seed: go test ./bot/simulation -run Diary -seed 7 -v
func TestDiary(t *testing.T) {
	r := Run(Generate(*seed), "")
	t.Log("\n" + strings.Join(r.Diary, "\n"))
	if r.Broken != "" {
		t.Error(r.Broken)
	}
	if len(r.Diary) == 0 {
		t.Error("nothing happens")
	}
}
