package notify

import (
	"context"
	"errors"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
)

// TestAPoisonousMessageLeavesItsLine holds that a message which cannot be read, cannot be
// checked or breaks its door is told to the state and lets those behind it go.
func TestAPoisonousMessageLeavesItsLine(t *testing.T) {
	for _, test := range []struct {
		why   string
		spoil func(p *post)
		want  string
		tries int
	}{
		{"what is stored of it is broken", func(p *post) { p.shelf.items[0].state = Unreadable }, "m: unreadable", 1},
		{"its door breaks over it", func(p *post) {
			door := p.door
			p.Senders[SMS] = sendFunc(func(ctx context.Context, out Outgoing) Result {
				if out.ID == "m" {
					panic("again and again")
				}
				return door.Send(ctx, out)
			})
		}, "m: fault", 1},
		{"what it is about cannot be read", func(p *post) {
			p.Truth = func(_ context.Context, m Message, _ time.Time) (string, error) {
				if m.ID == "m" {
					return "", errors.New("the call document c1 cannot be read")
				}
				return "", nil
			}
		}, "m: unchecked", persistences[Claim].tries},
	} {
		p := newPost(noon)
		p.shelf.put(to("ada", "m", Claim), to("ada", "n", News))
		test.spoil(p)
		tries := 0
		for len(p.failed) == 0 && tries < 100 {
			tries++
			_, _, _ = p.Step(t.Context(), SMS, p.shelf.now) // the trouble is what is looked for
			p.shelf.now = p.shelf.now.Add(2 * time.Minute)
		}
		if diff := gocmp.Diff([]string{test.want}, p.failed); diff != "" || tries != test.tries {
			t.Errorf("%s: after %d tries, want %d: %s", test.why, tries, test.tries, diff)
		}
		p.step(t)
		if len(p.door.sent) != 1 || p.door.sent[0].ID != "n" {
			t.Errorf("%s: the one behind it does not go: %v", test.why, p.door.sent)
		}
	}
}
