package simulation

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

var (
	seeds = flag.Int("seeds", 150, "how many seeds TestSeeds plays")
	first = flag.Uint64("first", 1, "the first of them")
	seed  = flag.Uint64("seed", 1, "the seed whose diary TestDiary prints")
)

// TestSeeds plays plans from many seeds. What fails is made small and printed; keep it in
// testdata/plans together with the mending.
func TestSeeds(t *testing.T) {
	began, events, sent, hits := time.Now(), 0, 0, map[string]int{}
	for i := range uint64(*seeds) {
		plan := Generate(*first + i)
		r := Run(plan, "")
		events, sent = events+r.Events, sent+r.Sent
		for point, n := range r.Hits {
			hits[point] += n
		}
		if r.Broken != "" {
			t.Errorf("seed %d: %s\n%s", plan.Seed, r.Broken, strings.Join(lastOf(r.Diary, 40), "\n"))
			if os.Getenv("SKEPLINE_SIM_GO_ON") == "" {
				break
			}
		}
	}
	t.Logf("%d seeds, %d events, %d messages in %v; faults that struck: %v", *seeds, events, sent, time.Since(began).Round(time.Millisecond), hits)
}

func lastOf(lines []string, n int) []string { return lines[max(0, len(lines)-n):] }

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
	_ = fmt.Sprint
}
