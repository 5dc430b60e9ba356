package bot

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// MaxTyped is how many characters of one text are read. A long chat message holds 4096
// (Telegram) and a long SMS 1600 (Twilio); the rest of a longer one is cut. Judgement.
const MaxTyped = 10_000

// Typed returns what a person typed as the hotline reads it: valid UTF-8, at most MaxTyped
// characters, line breaks as "\n", without control characters, invisible ones and those
// that turn the writing direction around (Unicode Bidirectional Algorithm, UAX #9: they can
// make a text read differently from what it says). Every door passes its texts through it.
func Typed(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, ""), "\r\n", "\n")
	s = strings.TrimSpace(strings.Map(readable, s))
	if utf8.RuneCountInString(s) <= MaxTyped {
		return s
	}
	return strings.TrimSpace(string([]rune(s)[:MaxTyped]))
}

// readable maps a character to what is kept of it, -1 for nothing. The joiners U+200C and
// U+200D stay: some scripts and many emoji need them.
func readable(r rune) rune {
	switch {
	case r == '\n' || r == '\r':
		return '\n'
	case r == '\t':
		return ' '
	case unicode.IsControl(r):
		return -1
	case r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069: // bidi embeddings, overrides, isolates
		return -1
	case r == 0x200B, r == 0x200E, r == 0x200F, r == 0x2060, r == 0xFEFF: // no width, no meaning for us
		return -1
	}
	return r
}
