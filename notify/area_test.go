package notify

import (
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"
)

func TestAreaWords(t *testing.T) {
	for _, test := range []struct{ text, want, why string }{
		{"14 Mill Ln", "Mill Ln", "the house goes"},
		{"14B Mill Ln.", "Mill Ln.", "with its letter"},
		{"14-16 mill lane, Quillbrook", "mill lane", "the town says nothing new"},
		{"Apt 3, 14 Mill Ln, Quillbrook NY 14850", "Mill Ln", "the flat goes"},
		{"120 5th Ave", "5th Ave", "a street called by a number"},
		{"Mill Ln 14", "Mill Ln", "the number behind"},
		{"Calle Luna 14", "Calle Luna", "Spanish order"},
		{"Av. Juárez 120, col. Centro", "Av. Juárez", "Spanish, shortened"},
		{"14 Mill Ln and Oak St", "", "a crossing is a place"},
		{"Mill Ln, Oak St", "", "two streets"},
		{"behind 14 Mill Ln", "", "words before"},
		{"behind Mill Ln", "", "a description"},
		{"my house on Mill Ln", "", "a description"},
		{"Gwen's at 14 Mill Ln", "", "a description"},
		{"14 Mill Ln 607-555-0142", "", "digits left over"},
		{"14 Mill Ln Apt 3B", "", "not plainly a street at the end"},
		{"the oak by the school", "", "no street at all"},
		{"Elm", "", "not plainly a street"},
		{"Lane", "", "a street has a name"},
		{"", "", "nothing"},
		{"42.446,-76.490", "", "coordinates"},
	} {
		if got := AreaWords(test.text); got != test.want {
			t.Errorf("AreaWords(%q) = %q, want %q (%s)", test.text, got, test.want, test.why)
		}
	}
}

// Whatever somebody writes, no digit that is not part of an ordinal gets through.
func TestAreaWordsLetsNoNumberThrough(t *testing.T) {
	word := rapid.SampledFrom([]string{"14", "14B", "3/4", "#2", "Mill", "Oak", "Ln", "St.", "Calle", "Luna", "Apt", "Unit", "2nd", ",", "at", "607-555-0142", "No.5"})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(word, 0, 7).Draw(t, "words"), " ")
		for _, w := range strings.Fields(AreaWords(text)) {
			if strings.IndexFunc(w, unicode.IsDigit) >= 0 && w != "2nd" {
				t.Fatalf("%q lets %q through", text, w)
			}
		}
	})
}
