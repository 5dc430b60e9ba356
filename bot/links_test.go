package bot

import (
	"strings"
	"testing"

	"skepline/notify"
)

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
		ok      bool
	}{
		{"the secret that made it", [][]byte{old}, true},
		{"a newer one before it", [][]byte{fresh, old}, true},
		{"its secret is gone", [][]byte{fresh}, false},
	} {
		out, ok := (&Hotline{Secrets: row.secrets}).fillLink(notify.Outgoing{Message: stored})
		if ok != row.ok {
			t.Errorf("%s: filled %v, want %v", row.why, ok, row.ok)
		}
		if row.ok && (!strings.HasSuffix(out.Text, "/o/"+token) || len(out.Text) != len(stored.Text)) {
			t.Errorf("%s: sent %q, want the token in the mask's place and nothing else", row.why, out.Text)
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
