package sms

import (
	"testing"

	"pgregory.net/rapid"
)

func TestNumberOf(t *testing.T) {
	for _, c := range []struct{ why, in, want string }{
		{"as Twilio writes it", "+16075550142", "+16075550142"},
		{"as people write it", "(607) 555-0142", "+16075550142"},
		{"with dots and the country", "1.607.555.0142", "+16075550142"},
		{"from abroad", "+44 1632 960123", "+441632960123"},
		{"a short code", "72345", ""},
		{"letters on the keys", "1-800-FLOWERS", ""},
		{"too few digits for a number", "5550142", ""},
		{"too many", "+1607555014216075550142", ""},
		{"nothing", "", ""},
	} {
		got, ok := numberOf(c.in, "US")
		if ok != (c.want != "") || ok && got != c.want {
			t.Errorf("%s: numberOf(%q) = %q, %v; want %q", c.why, c.in, got, ok, c.want)
		}
	}
}

// TestNumberOfAnything holds that whatever comes out can be answered (E.164), and reads as
// itself.
func TestNumberOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOfN(rapid.RuneFrom([]rune("0123456789+-.() /;=x")), 0, 45, -1).Draw(t, "sender")
		number, ok := numberOf(s, "US")
		if !ok {
			return
		}
		if again, ok := numberOf(number, "US"); !ok || again != number || !e164.MatchString(number) {
			t.Fatalf("%q is read as %q, and that as %q", s, number, again)
		}
	})
}
