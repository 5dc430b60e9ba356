package store

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"skepline/bot/simulation"
)

// TestMemoryIsThisStore runs the same random commands on the simulation's store and on the
// scripts, in the embedded Redis and, where there is one, in a real one, and wants the same
// answers. Without it the simulation would prove a fiction.
func TestMemoryIsThisStore(t *testing.T) {
	for _, s := range []struct {
		name  string
		start func(testing.TB) *server
	}{{"embedded", embeddedServer}, {"real", realServer}} {
		t.Run(s.name, func(t *testing.T) {
			server := s.start(t)
			runs, steps := 0, 0
			rapid.Check(t, func(rt *rapid.T) {
				opts := Options{Fuse: Fuse{SegmentsADay: rapid.SampledFrom([]int{0, 5}).Draw(rt, "fuse")}}
				redis, model := newPlayer(t, server, opts), newPlayer(t, server, opts)
				model.on = memoryFor(model, opts)
				runs++
				for _, o := range rapid.SliceOfN(anOrder, 20, 60).Draw(rt, "orders") {
					steps++
					want, got := redis.do(o), model.do(o)
					if got != want {
						rt.Fatalf("%+v: the memory says\n%s\nRedis\n%s", o, got, want)
					}
				}
			})
			t.Logf("%d runs, %d commands on each", runs, steps)
		})
	}
}

func memoryFor(p *player, opts Options) *simulation.Memory {
	m := simulation.NewMemory(func() time.Time { return p.now })
	m.Pace, m.ChatPace, m.Fuse = DefaultPace, DefaultChatPace, -1
	if opts.Fuse.SegmentsADay > 0 {
		m.Fuse = opts.Fuse.SegmentsADay
	}
	return m
}
