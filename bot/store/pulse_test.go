package store

import "testing"

// TestPulse holds that a store which lost its last moments is noticed, also when the same
// server answers, and that the name of the loss is the same for everybody who notices it.
func TestPulse(t *testing.T) {
	for _, begin := range []func(testing.TB) *server{embeddedServer, realServer} {
		t.Run("", func(t *testing.T) {
			w := &world{T: t, server: begin(t), now: start}
			a := w.open(Options{Hotline: newHotline()}, clockLua)
			b := w.open(a.opts, clockLua)
			for _, s := range []*Store{a, b, a, b} {
				if s.client.Info(t.Context()).Err() != nil {
					t.Skip("the embedded Redis is asked nothing")
				}
				if loss, err := s.Pulse(t.Context()); loss != nil || err != nil {
					t.Fatalf("a beat of a store at rest: %v, %v", loss, err)
				}
			}
			if err := w.client.HSet(t.Context(), a.keys.of("meta"), "beat", 1).Err(); err != nil {
				t.Fatal(err)
			}
			loss, err := a.Pulse(t.Context())
			if err != nil || loss == nil || loss.Why != "counter_went_back" {
				t.Fatalf("a counter that went back: %+v, %v", loss, err)
			}
			if kept, err := a.Kept(t.Context()); !kept || err != nil {
				t.Errorf("a store without copies: %v, %v", kept, err)
			}
		})
	}
}
