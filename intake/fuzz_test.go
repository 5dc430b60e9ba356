package intake

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
)

var awkward = []string{
	"There's a ball of bees on my apple tree about 8ft up since this morning, nobody stung", "hay un enjambre a 2,5 m", "10'6\"", "\xff\xfe bees \x80", "½", "1/2", "-",
	"' \"", "8'", "since", "between 1 and", "42.4512, -76.4821", "42°26'38\"N 76°30'07\"W", "8FVC9G8F+6W", "+", "geo:1e999,NaN", "https://maps.google.com/?q=1e400,2.55",
	"TAKE 7KQ2", "OUT 99999999999999999999d", "ETA 9e99", "/start", "/", "7KQ2", "ＳＴＯＰ", "👍🏽", "é́́", "a million million bees", "stung 99999999999 times", "999999999 years", "\u202ebees",
	"ﷺﷺﷺ", "999999999999999999999999999999999 ft up", "no " + "or swelling of face ", "8.5.5.5 ft",
}

func checkHeard(t *testing.T, text string, h Heard) {
	t.Helper()
	if err := h.Answers.Validate(); err != nil {
		t.Errorf("%q: %v", text, err)
	}
	for _, r := range h.Readings {
		if r.Start < 0 || r.End > len(text) || r.Start >= r.End {
			t.Errorf("%q: %s from %d to %d of %d bytes", text, r.Field, r.Start, r.End, len(text))
		}
	}
	for _, s := range []string{h.Answers.Name, h.Answers.Access} {
		if !utf8.ValidString(s) {
			t.Errorf("%q: %q is not valid UTF-8", text, s)
		}
	}
	if p := h.Answers.Place; p != nil && !utf8.ValidString(p.Text) {
		t.Errorf("%q: %q is not valid UTF-8", text, p.Text)
	}
	if twice := h.Answers.Merge(h.Answers); !cmp.Equal(twice, h.Answers) {
		t.Errorf("%q: told twice it is different: %s", text, cmp.Diff(h.Answers, twice))
	}
}

func FuzzUnderstand(f *testing.F) {
	for _, text := range append(append(awkward, emergencies...), calm...) {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		h := Understand(text, quillbrook)
		checkHeard(t, text, h)
		if again := Understand(text, quillbrook); !cmp.Equal(h, again) {
			t.Errorf("%q: read again it is different: %s", text, cmp.Diff(h, again))
		}
		if Emergency(text) != (h.Answers.Stung == "trouble_breathing") {
			t.Errorf("%q: Emergency and Understand disagree", text)
		}
		ReadYesNo(text)
		Courtesy(text)
		GuessLanguage(text, "es-MX", "en")
	})
}

func FuzzReadAnswer(f *testing.F) {
	for i, text := range awkward {
		f.Add(uint8(i), text)
	}
	all := append(append([]Question{AskBody, AskEntry, AskPhoto, "", "unheard of"}, MustAsk...), AskMeanwhile...)
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		q := all[int(which)%len(all)]
		h, ok := ReadAnswer(q, text, quillbrook)
		checkHeard(t, text, h)
		again, okAgain := ReadAnswer(q, text, quillbrook)
		if ok != okAgain || !cmp.Equal(h, again) {
			t.Errorf("%s, %q: read again it is different: %s", q, text, cmp.Diff(h, again))
		}
		if EmergencyIn(q, text) && h.Answers.Stung != "trouble_breathing" {
			t.Errorf("%s, %q: the emergency got lost", q, text)
		}
	})
}

func FuzzCommand(f *testing.F) {
	for _, text := range awkward {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, ok := ReadCommand(text, quillbrook)
		if !ok && c.Word != "" && c.Word != WordJoin && c.Word != WordETA && c.Word != WordOut {
			t.Errorf("%q: %+v, but no command", text, c)
		}
		if c.Until < 0 || c.Minutes < 0 || c.Minutes > 1440 {
			t.Errorf("%q: %+v", text, c)
		}
		if c.Reference != "" && (len(c.Reference) != 4 || c.Reference != strings.ToUpper(c.Reference)) {
			t.Errorf("%q: reference %q", text, c.Reference)
		}
		if again, _ := ReadCommand(text, quillbrook); again != c {
			t.Errorf("%q: read again it is different", text)
		}
		OptOut(text)
		AsksHelp(text)
		BareMinutes(text)
	})
}

// TestLongTexts reads 10 000 characters of the worst kinds.
func TestLongTexts(t *testing.T) {
	for _, piece := range append(awkward, "no swelling or ", "cant ") {
		text := strings.Repeat(piece+" ", 10000/(len(piece)+1)+1)
		checkHeard(t, piece+"…", Heard{Answers: Understand(text, quillbrook).Answers})
		ReadCommand(text, quillbrook)
	}
}

func BenchmarkUnderstand(b *testing.B) {
	for _, c := range []struct{ name, text string }{
		{"sms", "There's a ball of bees on my apple tree about 8ft up since this morning, nobody stung"},
		{"typos", "swarm of beees haning from our porch celing about 8 foot up, dont konw what kynd"},
		{"es", "Buenas tardes, tengo un enjambre colgado de una rama como a 3 metros, llegó esta mañana"},
		{"long", strings.Repeat("There's a ball of bees on my apple tree about 8ft up since this morning, nobody stung. ", 115)},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Understand(c.text, quillbrook)
			}
		})
	}
}

func BenchmarkEmergency(b *testing.B) {
	for b.Loop() {
		Emergency("There's a ball of bees on my apple tree about 8ft up since this morning, nobody stung")
	}
}
