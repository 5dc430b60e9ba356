package notify

import (
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

// In small seasons the best that any dispatcher could do is found by trying everything. No
// policy, and not the oracle, catches more, and the bound is never below it.
func TestTheBoundAgainstTryingEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := DefaultWorld()
		w.Days = 1
		w.Catchers, w.Reports = rapid.IntRange(1, 3).Draw(t, "catchers"), rapid.IntRange(2, 6).Draw(t, "reports")
		w.SpeedKmh = rapid.SampledFrom([]float64{45, 8}).Draw(t, "speed") // with slow roads people are long away
		w.StayHours = rapid.Float64Range(1, 20).Draw(t, "stay")
		w.Tiring = rapid.SampledFrom([]float64{0, 0.03}).Draw(t, "tiring")
		w.JobsADay = rapid.IntRange(1, 8).Draw(t, "jobs a day")
		seed := rapid.Uint64().Draw(t, "seed")
		best := drawScene(w, seed).mostCaught()
		for _, policy := range SeasonPolicies {
			got := PlaySeason(w, policy, seed, DefaultDispatch())
			if n := int(got.Caught*float64(w.Reports) + 0.5); n > best {
				t.Fatalf("%s caught %d, more than the %d that were possible", policy, n, best)
			}
			if policy == "oracle" && int(got.UpperBound*float64(w.Reports)+0.5) < best {
				t.Fatalf("the bound is %.2f of %d, but %d were possible", got.UpperBound, w.Reports, best)
			}
		}
	})
}

// mostCaught returns how many reports can be caught when each goes to whom it is best for
// all, by trying every share of the reports among the people.
func (s *scene) mostCaught() int {
	sets := 1 << len(s.reports)
	most := make([]int, sets) // of these reports, with the people so far
	for i := range s.people {
		next := append([]int(nil), most...)
		for mine := 1; mine < sets; mine++ {
			if !s.canDo(i, mine, -forever, map[int]int{}) {
				continue
			}
			for all := range sets {
				if all&mine == mine {
					next[all] = max(next[all], most[all&^mine]+bits.OnesCount(uint(mine)))
				}
			}
		}
		most = next
	}
	return most[sets-1]
}

// canDo reports whether person i, busy until then, can be in time at all of these reports, in
// some order.
func (s *scene) canDo(i, these int, busyTo float64, today map[int]int) bool {
	if these == 0 {
		return true
	}
	for j := range s.reports {
		if these&(1<<j) == 0 {
			continue
		}
		if _, ok := Able(s.people[i].Catcher, s.reports[j].needs); !ok {
			return false
		}
		for part := partOf(awakeAt(s.reports[j].at)); partBegins(part) < s.reports[j].leaves; part++ {
			yes, arrives, ok := s.soonest(i, j, part, busyTo)
			day := int(yes / dayMinutes)
			if !ok || today[day] >= s.people[i].JobsADay {
				continue
			}
			today[day]++
			ok = s.canDo(i, these&^(1<<j), arrives+60, today)
			today[day]--
			if ok {
				return true
			}
		}
	}
	return false
}

// soonest returns when i, asked for j in a part of the day, says yes and arrives, if that is
// in time: asked as early as can be, but so that the yes does not come while they are busy.
func (s *scene) soonest(i, j, part int, busyTo float64) (yes, arrives float64, ok bool) {
	r := s.reports[j]
	now := awakeAt(max(r.at, partBegins(part)))
	a := s.answer(j, i, now, 1)
	if !a.yes || partOf(now) != part {
		return 0, 0, false
	}
	if a.at < busyTo {
		if partOf(now+busyTo-a.at) != part || awakeAt(now+busyTo-a.at) != now+busyTo-a.at {
			return 0, 0, false
		}
		a.at = busyTo
	}
	arrives = a.at + a.starts + a.travel
	return a.at, arrives, arrives < r.leaves && a.dropsOut >= a.starts+a.travel
}
