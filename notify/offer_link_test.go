package notify

import (
	"strings"
	"testing"
	"time"

	"skepline/intake"
)

// TestOfferWithALinkStaysOneText holds that the link of a page costs facts of low rank and
// never a second segment, and that the words to reply with stay.
func TestOfferWithALinkStaysOneText(t *testing.T) {
	height := 12.5
	j := Job{
		Reference: "7KQ2", Shown: 93, Against: "seen for three weeks", Several: true,
		Sunset: time.Date(2026, 5, 12, 20, 14, 0, 0, time.UTC), Link: "https://bees.example.org/o/______________________",
		Answers: intake.Answers{Surface: "bare_wood", HeightM: &height, Crowd: "thousands", Hazards: []string{"power_line"},
			Place: &intake.Place{Text: "1420 Millhouse Ln"}},
	}
	for _, lang := range intake.Languages() {
		for _, metric := range []bool{false, true} {
			text := OfferText(intake.Words{Language: lang}, j, Far{Km: 24, Bearing: "nw"}, 7, metric)
			if n := Segments(text); n != 1 {
				t.Errorf("%s: %d segments: %s", lang, n, text)
			}
			for _, want := range []string{j.Link, "7KQ2", "93%"} {
				if !strings.Contains(text, want) {
					t.Errorf("%s: %q is not in %q", lang, want, text)
				}
			}
			if strings.HasSuffix(text, ".") {
				t.Errorf("%s: a dot behind the link would become part of it: %s", lang, text)
			}
		}
	}
	j.Link = "https://a-very-long-name-of-a-club-that-loves-bees.and-its-county.example.org/swarms/o/______________________"
	if text := OfferText(intake.Words{Language: "en"}, j, Far{Km: 24, Bearing: "nw"}, 7, false); Segments(text) != 1 || !strings.Contains(text, "TAKE") {
		t.Errorf("a long link: %d segments: %s", Segments(text), text)
	}
}
