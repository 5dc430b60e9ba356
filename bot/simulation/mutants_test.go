package simulation

import (
	"flag"
	"slices"
	"testing"
	"time"
)

var measure = flag.Bool("measure", false, "let TestMutants count from the first seed how many each planted fault survives")

// mutantSeeds is within how many seeds every planted fault must be noticed.
const mutantSeeds = 80

// killers are seeds that notice a planted fault, tried before the others. They are right for
// the drawing of plans as it is; -measure finds them anew.
var killers = map[Mutant]uint64{
	ForgetSeen: 1, FreshAnswer: 2, NoVersions: 4, NoChecks: 4, DropLast: 1, KeepFired: 1, NoTimers: 1, EarlyTimers: 1,
	TakeTimers: 4, NoPause: 11, SafetyWaits: 2, NoLease: 4, IgnoreStop: 4, ForgetOpen: 6, NoFuse: 23, NoFence: 4,
	NoResolver: 46, BlindResolver: 12, NewIDs: 1, LoseStops: 4, LoseParked: 9, AckFirst: 4, NoSweep: 1, NoTruth: 8, AllTaken: 1,
	DropFailed: 3, DoubtIsGone: 4, NoRepair: 45, NoKept: 43, NoSenderRate: 1, NoChatRate: 4,
}

// TestMutants plants one fault at a time and wants each noticed. A simulation that misses
// one proves nothing about the promise it breaks.
func TestMutants(t *testing.T) {
	t.Parallel()
	began := time.Now()
	var needed []int
	for _, mutant := range Mutants {
		if killer := killers[mutant]; !*measure && killer > 0 && Run(Generate(killer), mutant).Broken != "" {
			continue
		}
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
	t.Logf("%d planted faults in %v, %d of them searched for", len(Mutants), time.Since(began).Round(time.Millisecond), len(needed))
	if *measure {
		slices.Sort(needed)
		t.Logf("%d of %d noticed; median %d seeds, most %d", len(needed), len(Mutants), needed[len(needed)/2], needed[len(needed)-1])
	}
}
