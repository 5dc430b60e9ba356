package intake

import (
	"math"
	"strings"
	"testing"
)

// TestReadCard reads the places of cards as phones send them. The forms are those of RFC 6350,
// RFC 2426 and vCard 2.1; Apple's "Current Location" is from memory.
func TestReadCard(t *testing.T) {
	for name, c := range map[string]struct {
		card     string
		lat, lon float64 // 0 = only words
		text     string
	}{
		"4.0 GEO":                 {"VERSION:4.0\nFN:Gwen\nGEO:geo:42.446,-76.49;u=30", 42.446, -76.49, ""},
		"3.0 GEO":                 {"VERSION:3.0\nFN:Gwen\nGEO:42.446;-76.49", 42.446, -76.49, ""},
		"2.1 GEO, latitude first": {"VERSION:2.1\nGEO:42.446,-76.49", 42.446, -76.49, ""},
		"2.1 GEO, the other way":  {"VERSION:2.1\nGEO:-76.49,42.446", 42.446, -76.49, ""},
		"4.0 GEO and ADR":         {"VERSION:4.0\nADR:;;14 Mill Ln;Quillbrook;NY;14850;USA\nGEO:geo:42.446,-76.49", 42.446, -76.49, "14 Mill Ln, Quillbrook, NY 14850"},
		"4.0 GEO of the address":  {"VERSION:4.0\nADR;GEO=\"geo:42.4,-76.4\":;;14 Mill Ln;Quillbrook;;;", 0, 0, "14 Mill Ln, Quillbrook"},
		"Apple's current location": {"VERSION:3.0\nPRODID:-//Apple Inc.//iPhone OS 17.0//EN\nN:;Current Location;;;\nFN:Current Location\n" +
			`item1.URL;type=pref:http://maps.apple.com/?ll=42.446000\,-76.490000&q=42.446000\,-76.490000` + "\nitem1.X-ABLabel:map url", 42.446, -76.49, ""},
		"3.0 ADR, folded":      {"VERSION:3.0\nADR;TYPE=HOME:;;14 Mill\n  Ln;Quillbrook;NY;14850;USA", 0, 0, "14 Mill Ln, Quillbrook, NY 14850"},
		"2.1 ADR, quoted":      {"VERSION:2.1\nADR;HOME;CHARSET=UTF-8;ENCODING=QUOTED-PRINTABLE:;;Calle Ju=C3=A1=\nrez 12;Quillbrook;;;", 0, 0, "Calle Juárez 12, Quillbrook"},
		"2.1 ADR, bare":        {"VERSION:2.1\nADR;HOME:;;14 Mill Ln;Quillbrook;;;", 0, 0, "14 Mill Ln, Quillbrook"},
		"3.0 LABEL":            {"VERSION:3.0\n" + `LABEL;TYPE=HOME:14 Mill Ln\nQuillbrook`, 0, 0, "14 Mill Ln, Quillbrook"},
		"null island, address": {"VERSION:3.0\nGEO:0;0\nADR:;;14 Mill Ln;;;;", 0, 0, "14 Mill Ln"},
	} {
		p, ok := ReadCard(strings.NewReader("BEGIN:VCARD\r\n"+strings.ReplaceAll(c.card, "\n", "\r\n")+"\r\nEND:VCARD\r\n"), quillbrook)
		if !ok || p.Text != c.text {
			t.Errorf("%s: %+v, %v, want %q", name, p, ok, c.text)
			continue
		}
		point := p.PrecisionM < InWordsOnly
		if point != (c.lat != 0) || point && (math.Abs(p.Lat-c.lat) > 1e-6 || math.Abs(p.Lon-c.lon) > 1e-6) {
			t.Errorf("%s: %+v, want %g, %g", name, p, c.lat, c.lon)
		}
	}
}

// TestReadCardKeepsOnlyAPlace: a card without a place is none, whatever else it tells.
func TestReadCardKeepsOnlyAPlace(t *testing.T) {
	for name, raw := range map[string]string{
		"a person":       "BEGIN:VCARD\nVERSION:3.0\nFN:Gwen\nTEL:+16075550142\nEND:VCARD\n",
		"nothing":        "",
		"no card":        "hello there",
		"another GEO":    "BEGIN:VCARD\nVERSION:4.0\nGEO:somewhere\nEND:VCARD\n",
		"too much of it": "BEGIN:VCARD\nVERSION:3.0\nGEO:42.446;-76.49\nPHOTO:" + strings.Repeat("A", LongestCard) + "\nEND:VCARD\n",
	} {
		if p, ok := ReadCard(strings.NewReader(raw), quillbrook); ok {
			t.Errorf("%s: %+v", name, p)
		}
	}
	broken := "BEGIN:VCARD\nVERSION:3.0\nGEO:42.446;-76.49\nFN:Gw"
	if _, ok := ReadCard(strings.NewReader(broken), quillbrook); !ok {
		t.Error("a card that breaks off after its place tells none")
	}
}

// FuzzReadCard: no card makes the reader fall, and what it reads is on earth.
func FuzzReadCard(f *testing.F) {
	f.Add([]byte("BEGIN:VCARD\nVERSION:2.1\nADR;HOME;ENCODING=QUOTED-PRINTABLE:;;a=\nb;;;;\nGEO:1,2\nEND:VCARD"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		if p, ok := ReadCard(strings.NewReader(string(raw)), quillbrook); ok {
			if err := (Answers{Place: &p}).Validate(); err != nil {
				t.Error(err)
			}
		}
	})
}
