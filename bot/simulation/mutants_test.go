package simulation

import (
	"slices"
	"testing"
	"time"
)

// mutantSeeds is within how many seeds every planted fault must be noticed.
const mutantSeeds = 80

// TestMutants plants one fault at a time and wants each noticed. A simulation that misses
// one proves nothing about the promise it breaks.
func TestMutants(t *testing.T) {
	t.Parallel()
	began := time.Now()
	var needed []int
	for _, mutant := range Mutants {
		killed := 0
		for seed := range uint64(mutantSeeds) {
			if r := Run(Generate(seed+1), mutant); r.Broken != "" {
				killed = int(seed) + 1
				t.Logf("after %2d seeds: %s (%s)", killed, mutant, r.Broken)
				break
			}
		}
		if killed == 0 {
			t.Errorf("not noticed in %d seeds: %s", mutantSeeds, mutant)
			continue
		}
		needed = append(needed, killed)
	}
	slices.Sort(needed)
	t.Logf("%d of %d planted faults noticed in %v; median %d seeds, most %d", len(needed), len(Mutants),
		time.Since(began).Round(time.Millisecond), needed[len(needed)/2], needed[len(needed)-1])
}
