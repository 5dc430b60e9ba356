package rehearsal

import (
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
)

// planted is what a caller lets us know of themselves in the play below.
var planted = []string{"6075550142", "Gwendolyn", "Mill Ln", "4711", "42.44678", "76.49012", "/photo"}

const plantedPlay = `clock 2026-05-12 14:05
phone gwen sms +16075550142
catcher ada telegram 42.451,-76.482 reach 15 height 4
gwen > There's a ball of bees hanging on my apple tree
gwen > 1
gwen > 14 Mill Ln, Quillbrook
gwen pins 42.44678,-76.49012
gwen > 2
gwen photo
ada taps Take it
ada > 30
gwen > yes
gwen > branch
gwen > just now
gwen > thousands
gwen > no
gwen > yes
gwen > Gwendolyn
gwen > the gate code is 4711
ada > there
`

// Thirty days after a call's end, or on request, not one byte of what its caller told of
// themselves is left in the store: every key is looked at.
func TestNothingPersonalIsLeft(t *testing.T) {
	for _, row := range []struct {
		why, end string
		wait     time.Duration
	}{
		{"on the clock", "ada > boxed\nada > lifted\nada > hived\n", 31 * 24 * time.Hour},
		{"the swarm flew on", "ada > flown\n", 31 * 24 * time.Hour},
		{"on request, while a catcher is there", "gwen > DELETE\ngwen > DELETE\nada > flown\n", 2 * time.Hour},
		{"on request, after the end", "ada > flown\ngwen > DELETE\ngwen > DELETE\n", 2 * time.Hour},
		{"opted out", "gwen > STOP\nada > flown\n", 31 * 24 * time.Hour},
		{"on request, after opting out", "gwen > STOP\ngwen > DELETE\nada > flown\n", 2 * time.Hour},
	} {
		t.Run(row.why, func(t *testing.T) {
			play, err := Parse("planted", plantedPlay+row.end)
			if err != nil {
				t.Fatal(err)
			}
			s, err := Player{}.stage(play)
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = s.store.Close() }() // an embedded store has nothing to lose
			there := ""
			for _, a := range play.acts {
				if err := s.perform(t.Context(), a); err != nil {
					t.Fatalf("line %d: %v", a.lineNo(), err)
				}
				there += dump(t, s.redis)
			}
			for _, secret := range planted {
				if !strings.Contains(there, secret) {
					t.Errorf("%q never was in the store, so this test proves nothing", secret)
				}
			}
			s.setTime(s.clock.now.Add(row.wait)) // at one go: nothing but the erasure is waiting
			if err := s.later(t.Context(), 0); err != nil {
				t.Fatal(err)
			}
			// What was sent is remembered for some days more; the sweep runs every hour.
			for range 3 {
				if err := s.store.Sweep(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			left := dump(t, s.redis)
			for _, secret := range planted {
				if at := strings.Index(left, secret); at >= 0 {
					t.Errorf("%q is left: …%s…", secret, left[max(0, at-200):min(len(left), at+60)])
				}
			}
			if !strings.Contains(left, `"shape":"hanging_cluster"`) {
				t.Error("the ledger lost what the bees looked like")
			}
		})
	}
}

// dump returns every key and every value of the store; miniredis' own Dump cuts long ones.
func dump(t *testing.T, r *miniredis.Miniredis) string {
	t.Helper()
	var all strings.Builder
	keep := func(err error, words ...string) {
		if err != nil {
			t.Fatal(err)
		}
		all.WriteString(strings.Join(words, "\n") + "\n")
	}
	for _, key := range r.Keys() {
		keep(nil, key)
		switch r.Type(key) {
		case "string":
			v, err := r.Get(key)
			keep(err, v)
		case "hash":
			fields, err := r.HKeys(key)
			keep(err, fields...)
			for _, f := range fields {
				keep(nil, r.HGet(key, f))
			}
		case "set":
			v, err := r.Members(key)
			keep(err, v...)
		case "zset":
			v, err := r.ZMembers(key)
			keep(err, v...)
		default:
			t.Fatalf("nobody looks into a %s", r.Type(key))
		}
	}
	return all.String()
}
