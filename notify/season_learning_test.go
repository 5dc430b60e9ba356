package notify

import "testing"

// What the rule holds likely happens as often as it says, for those it holds unlikely as for
// those it holds likely: else it would ask the lucky ones again and again. (A yes also comes,
// uncounted, from who sees an ask hours later: some eight in a hundred.)
func TestChancesAreWhatHappens(t *testing.T) {
	var said, yes, asks [5]float64
	for seed := range uint64(4) {
		p := newPlay(DefaultWorld(), "skepline", 801+seed, DefaultDispatch())
		p.run()
		for _, c := range p.calls {
			for n, a := range c.asked {
				i := min(int(a.P*10), len(said)-1)
				asks[i]++
				said[i] += a.P
				if c.out[n].yes {
					yes[i]++
				}
			}
		}
	}
	for i := range asks {
		if asks[i] < 100 {
			t.Fatalf("only %.0f asks with a chance from %d in ten", asks[i], i)
		}
		if times := yes[i] / said[i]; times < 0.85 || times > 1.3 {
			t.Errorf("of %.0f asks with a chance from %d in ten %.3f were answered yes, expected %.3f", asks[i], i, yes[i]/asks[i], said[i]/asks[i])
		}
	}
}
