package rehearsal

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"

	"skepline/bot"
)

// planted is what a caller lets us know of themselves in the play below.
var planted = []string{"6075550142", "Gwendolyn", "Mill Ln", "4711#60417", "42.44678", "76.49012", "/photo"}

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
gwen > the gate code is 4711#60417
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
			s, there := plant(t, plantedPlay+row.end)
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

// plant plays what somebody lets us know and returns all that was in the store at any time.
// Catchers are called Gundula, which stands nowhere else.
func plant(t *testing.T, text string) (s *stage, there string) {
	t.Helper()
	play, err := Parse("planted", text)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = (Player{}).stage(play); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.store.Close() }) // an embedded store has nothing to lose
	for _, a := range play.acts {
		if c, is := a.(meetCatcher); is {
			c.catcher.Name = "Gundula"
			a = c
		}
		if err := s.perform(t.Context(), a); err != nil {
			t.Fatalf("line %d: %v", a.lineNo(), err)
		}
		there += dump(t, s.redis)
	}
	return s, there
}

// plantedLine is what a catcher lets us know of themselves in the play below.
var plantedLine = []string{"Gundula", "hollow larch", "42.45871", "76.48261", "5550101", `"ladder_m"`, "BX01"}

// A catcher who texts DELETE loses trap line, kit and reminders; one who is taken off the list
// leaves nothing but the id that stands in the ledger. A catch of theirs stays, without its
// place.
func TestNothingIsLeftOfACatcher(t *testing.T) {
	const play = `clock 2026-05-12 14:05
catcher ada telegram 42.45871,-76.48261 reach 15 height 4
ada > KIT ladder 12 ft, box
ada > BOX hollow larch by the weir, 40 L, 3 m, 12 cm2, lure
ada > BOX 1 caught
`
	for _, row := range []struct {
		why, more string
		dismissed bool
		left      []string // of what was planted: the list of volunteers needs it
	}{
		{"on request", "ada > DELETE\nada > DELETE\n", false, []string{"Gundula", "42.45871", "76.48261", "5550101"}},
		{"off the list", "", true, nil},
	} {
		t.Run(row.why, func(t *testing.T) {
			s, there := plant(t, play+row.more)
			if row.dismissed {
				if err := s.hear(t.Context(), bot.Dismissed{Event: "ro:off", Catcher: "ada"}); err != nil {
					t.Fatal(err)
				}
			}
			s.setTime(s.clock.now.Add(15 * 24 * time.Hour)) // the log of sent texts forgets after 14 days
			if err := s.later(t.Context(), 0); err != nil {
				t.Fatal(err)
			}
			for range 3 {
				if err := s.store.Sweep(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			left := dump(t, s.redis)
			for _, secret := range plantedLine {
				at := strings.Index(left, secret)
				switch {
				case !strings.Contains(there, secret):
					t.Errorf("%q never was in the store, so this test proves nothing", secret)
				case at >= 0 && !slices.Contains(row.left, secret):
					t.Errorf("%q is left: …%s…", secret, left[max(0, at-300):min(len(left), at+60)])
				}
			}
			if !strings.Contains(left, `"by":"trap_line"`) {
				t.Error("the ledger lost the catch")
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
		case "list":
			v, err := r.List(key)
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
