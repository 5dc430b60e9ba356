package bot

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestTyped(t *testing.T) {
	for _, c := range []struct{ why, in, want string }{
		{"plain words stay as they are", "There's a swarm", "There's a swarm"},
		{"accents and emoji stay", "¿Dónde? 🐝", "¿Dónde? 🐝"},
		{"a family emoji is held together by joiners", "👩‍👧", "👩‍👧"},
		{"line breaks of Windows", "a\r\nb\rc", "a\nb\nc"},
		{"a tab is a space", "a\tb", "a b"},
		{"NUL and escape are dropped", "a\x00b\x1b[2J", "ab[2J"},
		{"a right-to-left override hides words", "TAKE\u202e9\u202c", "TAKE9"},
		{"isolates too", "\u2066TAKE\u2069", "TAKE"},
		{"bytes that are no UTF-8", "bees\xff\xfe!", "bees!"},
		{"nothing but such bytes", "\xff\xfe", ""},
		{"only blanks", " \n\t ", ""},
	} {
		if got := Typed(c.in); got != c.want {
			t.Errorf("%s: Typed(%q) = %q, want %q", c.why, c.in, got, c.want)
		}
	}
	if got := utf8.RuneCountInString(Typed(strings.Repeat("é", MaxTyped+1))); got != MaxTyped {
		t.Errorf("a text of %d characters is read to %d, want %d", MaxTyped+1, got, MaxTyped)
	}
}

// TestTypedTwice holds that cleaning a clean text changes nothing, so that the same text
// read twice is the same event.
func TestTypedTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		once := Typed(string(rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "bytes")))
		if twice := Typed(once); twice != once {
			t.Fatalf("once %q, twice %q", once, twice)
		}
		if !utf8.ValidString(once) {
			t.Fatalf("%q is not UTF-8", once)
		}
	})
}
