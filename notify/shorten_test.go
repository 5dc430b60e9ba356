package notify

import (
	"strings"
	"testing"

	"skepline/intake"
)

func TestShortenLeavesOutTheLeast(t *testing.T) {
	long := func(letter string) string { return strings.Repeat(letter, 70) }
	facts := []fact{{text: long("a")}, {text: long("b"), rank: 1}, {text: long("c"), rank: 2}, {text: long("d"), rank: 1}}
	render := func(facts []fact) string { return joined(facts, "") }
	for _, test := range []struct {
		segments int
		chat     bool
		want     string
		why      string
	}{
		{2, false, "abcd", "280 fit into two"},
		{1, false, "ab", "the highest rank goes first, of equals the later one"},
		{1, true, "abcd", "in chat there is room"},
	} {
		got := shorten(intake.Words{Chat: test.chat}, facts, test.segments, render)
		want := ""
		for _, letter := range test.want {
			want += long(string(letter))
		}
		if got != want {
			t.Errorf("got %q, want %q (%s)", got, want, test.why)
		}
	}
	must := []fact{{text: strings.Repeat("a", 500)}}
	if got := shorten(intake.Words{}, must, 1, render); got != must[0].text {
		t.Error("what must stay was cut")
	}
}

func TestQuoted(t *testing.T) {
	sms, chat := intake.Words{}, intake.Words{Chat: true}
	for _, test := range []struct {
		w    intake.Words
		text string
		max  int
		want string
		why  string
	}{
		{sms, "  14 Mill\n Ln ", 20, "14 Mill Ln", "one line"},
		{sms, "Calle José, Łódź 🏠 5", 40, "Calle José, Łodz 5", "accents and emoji go, a letter of its own stays"},
		{sms, "Señor Núñez", 40, "Señor Nuñez", "what GSM has stays"},
		{sms, "蜂", 40, "蜂", "letters of other alphabets stay"},
		{chat, "Calle José 🏠", 40, "Calle José 🏠", "chat has every letter"},
		{sms, "a long way round the back", 10, "a long...", "cut"},
		{chat, "a long way round the back", 10, "a long way round the back", "chat holds three times as much"},
		{sms, "red barn,", 10, "red barn", "no dangling comma"},
	} {
		if got := quoted(test.w, test.text, test.max); got != test.want {
			t.Errorf("quoted(%q) = %q, want %q (%s)", test.text, got, test.want, test.why)
		}
	}
}
