package notify

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

type smsVector struct {
	Name     string
	Text     string
	Encoding string
	Segments int
	Units    int
	Parts    []int `json:"units_per_segment"`

	Reference int `json:"segments_reference"`
	CodePoint int `json:"segments_codepoint_splitter"`
}

func smsVectors(t *testing.T) (same, divergent []smsVector) {
	t.Helper()
	raw, err := os.ReadFile("../testdata/published/sms_segments.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Count              int
		Vectors, Divergent []smsVector
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Vectors) != file.Count || file.Count < 50 {
		t.Fatalf("got %d vectors, want the file's %d", len(file.Vectors), file.Count)
	}
	return file.Vectors, file.Divergent
}

// Source: npm sms-segments-calculator 1.3.0, by the SMS provider itself.
func TestSegmentsMatchesThePublishedVectors(t *testing.T) {
	vectors, _ := smsVectors(t)
	for _, v := range vectors {
		units, gsm := Septets(v.Text)
		if units != v.Units || gsm != (v.Encoding == "GSM-7") {
			t.Errorf("%s: Septets = %d, %v; want %d in %s", v.Name, units, gsm, v.Units, v.Encoding)
		}
		if got := Segments(v.Text); got != v.Segments {
			t.Errorf("%s: Segments = %d, want %d", v.Name, got, v.Segments)
		}
		if strings.Contains(v.Text, "\u200d") {
			continue // joined emoji: as many parts, but cut elsewhere (see below)
		}
		if diff := cmp.Diff(v.Parts, parts(v.Text)); diff != "" {
			t.Errorf("%s: parts (-want +got):\n%s", v.Name, diff)
		}
	}
}

// The reference keeps a joined emoji whole and so needs a third part; networks cut between
// its members, as we do.
func TestSegmentsCutsJoinedEmoji(t *testing.T) {
	_, divergent := smsVectors(t)
	if len(divergent) != 1 {
		t.Fatalf("got %d divergent vectors, want 1", len(divergent))
	}
	v := divergent[0]
	if got := Segments(v.Text); got != v.CodePoint || got == v.Reference {
		t.Errorf("Segments = %d, want %d (the reference says %d)", got, v.CodePoint, v.Reference)
	}
}

func TestSeptets(t *testing.T) {
	for _, test := range []struct {
		text string
		n    int
		gsm  bool
		why  string
	}{
		{"", 0, true, "nothing costs nothing"},
		{"ñÑüÜ¿¡éÉ", 8, true, "the Spanish letters that GSM has"},
		{"€", 2, true, "the extension table costs an escape"},
		{"á", 1, false, "the Spanish letter that it lacks"},
		{"ç", 1, false, "only the capital is in the alphabet"},
		{"🐝", 2, false, "a surrogate pair"},
		{"bees 🐝", 7, false, "one letter outside makes all of it UCS-2"},
	} {
		if n, gsm := Septets(test.text); n != test.n || gsm != test.gsm {
			t.Errorf("Septets(%q) = %d, %v; want %d, %v: %s", test.text, n, gsm, test.n, test.gsm, test.why)
		}
	}
}

// No part is overfull, none but the last has room for two more, and nothing is lost.
func TestPartsAreWellFilled(t *testing.T) {
	letters := []rune("ab ñ€{^é")
	rapid.Check(t, func(t *rapid.T) {
		alphabet := letters
		most := septetsInPart
		if rapid.Bool().Draw(t, "wide") {
			alphabet, most = append(letters, 'á', '🐝', '蜂'), unitsInPart
		}
		text := rapid.StringOfN(rapid.SampledFrom(alphabet), 0, 700, -1).Draw(t, "text")
		total, gsm := Septets(text)
		filled := parts(text)
		sum := 0
		for i, n := range filled {
			sum += n
			if len(filled) == 1 {
				continue
			}
			limit := most
			if gsm {
				limit = septetsInPart
			}
			if n > limit || (i < len(filled)-1 && n < limit-1) {
				t.Fatalf("part %d of %v holds %d, limit %d", i+1, filled, n, limit)
			}
		}
		if sum != total {
			t.Fatalf("parts %v hold %d of %d", filled, sum, total)
		}
	})
}

func TestMaxTextIsElevenSegments(t *testing.T) {
	if got := Segments(strings.Repeat("a", MaxText)); got != 11 {
		t.Errorf("Segments of %d letters = %d, want 11", MaxText, got)
	}
}
