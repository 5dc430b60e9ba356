package bot

import (
	"context"
	"strings"
	"testing"

	"skepline/notify"
)

type sentTo struct{ text string }

func (s *sentTo) Send(_ context.Context, out notify.Outgoing) notify.Result {
	s.text = out.Text
	return notify.Result{End: notify.Accepted}
}

// TestLinkIsFilledInAtSending holds that a stored text has the length of the sent one and
// does not hold the token, and that a rotated secret still fills in what it made.
func TestLinkIsFilledInAtSending(t *testing.T) {
	old, fresh := []byte(strings.Repeat("old!", 8)), []byte(strings.Repeat("new!", 8))
	token := linkToken(old, "o/call/ada/0")
	if len(token) != len(linkMask) || strings.Trim(token, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
		t.Fatalf("the token %q is not 22 letters of base64url, which are 128 bits", token)
	}
	stored := notify.Message{Text: "See: https://bees.example.org/o/" + linkMask, Link: &notify.Link{Seed: "o/call/ada/0", Hash: LinkHash(token)}}
	for _, row := range []struct {
		why     string
		secrets [][]byte
		end     notify.End
	}{
		{"the secret that made it", [][]byte{old}, notify.Accepted},
		{"a newer one before it", [][]byte{fresh, old}, notify.Accepted},
		{"its secret is gone", [][]byte{fresh}, notify.Refused},
	} {
		sent := &sentTo{}
		got := linked{sent, row.secrets}.Send(t.Context(), notify.Outgoing{Message: stored})
		if got.End != row.end {
			t.Errorf("%s: ended %s, want %s", row.why, got.End, row.end)
		}
		if row.end == notify.Accepted && (!strings.HasSuffix(sent.text, "/o/"+token) || len(sent.text) != len(stored.Text)) {
			t.Errorf("%s: sent %q, want the token in the mask's place and nothing else", row.why, sent.text)
		}
	}
}

func TestLinksOfOthersDiffer(t *testing.T) {
	secret := []byte(strings.Repeat("x", 32))
	c := &Call{ID: "call", Caller: Party{Person: "gwen"}}
	seen := map[string]string{}
	for _, seed := range []string{offerSeed(c, "ada"), offerSeed(c, "bram"), callerSeed(c), offerSeed(&Call{ID: "call", Epoch: 1}, "ada"), offerSeed(&Call{ID: "other"}, "ada")} {
		token := linkToken(secret, seed)
		if other := seen[token]; other != "" {
			t.Errorf("%s and %s have the same token", seed, other)
		}
		seen[token] = seed
	}
}
