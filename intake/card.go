package intake

import (
	"bytes"
	"io"
	"mime/quotedprintable"
	"strings"

	"github.com/emersion/go-vcard"
)

// LongestCard bounds a contact card, in bytes: a card with a picture in it is a few hundred
// thousand (judgement).
const LongestCard = 1 << 20

// ReadCard reads the place out of a contact card: vCard 4.0 (RFC 6350), 3.0 (RFC 2426) or
// 2.1. Phones send one when somebody shares where they are by MMS. It looks for a GEO, then
// for a map link among the URLs, then for an address, which is a place in words. Names,
// numbers and pictures are not read. More than LongestCard bytes are no card.
func ReadCard(r io.Reader, s Setting) (Place, bool) {
	raw, err := io.ReadAll(io.LimitReader(r, LongestCard+1))
	if err != nil || len(raw) > LongestCard {
		return Place{}, false
	}
	// Decode returns what it read of a card that breaks off.
	card, _ := vcard.NewDecoder(bytes.NewReader(modernCard(raw))).Decode()
	for _, f := range card[vcard.FieldGeolocation] {
		if p, ok := cardPoint(f.Value, s); ok {
			return p.named(card, s), true
		}
	}
	for _, f := range card[vcard.FieldURL] {
		// Apple's maps escape the comma a second time: ll=42.44\\,-76.50.
		if p, _, ok := findLink(strings.ReplaceAll(f.Value, `\`, ""), s); ok && plausible(p, s) {
			return p.named(card, s), true
		}
	}
	if words := cardAddress(card); words != "" {
		return inWords(words, s), true
	}
	return Place{}, false
}

// named adds the card's address to its point: a driver reads words.
func (p Place) named(card vcard.Card, s Setting) Place {
	if words := cardAddress(card); words != "" {
		p.Text = inWords(words, s).Text
	}
	return p
}

// cardPoint reads a GEO: "geo:42.44,-76.50" of 4.0, "42.44;-76.50" of 3.0. In 2.1 a comma
// stands between them, and programs disagree which comes first: the order that lies in the
// area served is meant.
func cardPoint(value string, s Setting) (Place, bool) {
	value = strings.TrimSpace(value)
	if rest, ok := strings.CutPrefix(strings.ToLower(value), "geo:"); ok {
		p, ok := readGeo(rest)
		return p, ok && plausible(p, s)
	}
	first, second, ok := strings.Cut(strings.ReplaceAll(value, ",", ";"), ";")
	if !ok {
		return Place{}, false
	}
	p, ok := pair(first, second)
	if !ok {
		return Place{}, false
	}
	if !plausible(p, s) || outside(p, s) {
		if q, ok := pair(second, first); ok && plausible(q, s) && !outside(q, s) {
			return q, true
		}
	}
	return p, plausible(p, s)
}

// cardAddress is the first address of a card in one line: street, town, region, code.
func cardAddress(card vcard.Card) string {
	for _, a := range card.Addresses() {
		var parts []string
		for _, part := range []string{a.StreetAddress, a.Locality, strings.TrimSpace(a.Region + " " + a.PostalCode)} {
			if part = clean(part); part != "" {
				parts = append(parts, part)
			}
		}
		if len(parts) > 0 {
			return strings.Join(parts, ", ")
		}
	}
	for _, f := range card["LABEL"] { // the address as one would print it, of 2.1 and 3.0
		if words := clean(strings.ReplaceAll(f.Value, "\n", ", ")); words != "" {
			return words
		}
	}
	return ""
}

// modernCard rewrites what only vCard 2.1 has and the reader does not know: quoted-printable
// values, whose lines end in "=", and parameters without a name ("ADR;HOME:").
func modernCard(raw []byte) []byte {
	var out bytes.Buffer
	lines := strings.Split(strings.ReplaceAll(string(raw), "\r\n", "\n"), "\n")
	for i := 0; i < len(lines); i++ {
		name, value, ok := strings.Cut(lines[i], ":")
		if !ok || strings.HasPrefix(name, " ") || strings.HasPrefix(name, "\t") || strings.Contains(name, `"`) {
			out.WriteString(lines[i] + "\r\n")
			continue
		}
		params := strings.Split(name, ";")
		kept, quoted := params[:1], false
		for _, p := range params[1:] {
			switch {
			case strings.Contains(strings.ToUpper(p), "QUOTED-PRINTABLE"):
				quoted = true
			case strings.Contains(p, "="):
				kept = append(kept, p)
			}
		}
		if quoted {
			for strings.HasSuffix(value, "=") && i+1 < len(lines) {
				i++
				value = strings.TrimSuffix(value, "=") + lines[i]
			}
			if plain, err := io.ReadAll(quotedprintable.NewReader(strings.NewReader(value))); err == nil {
				value = strings.NewReplacer("\r\n", `\n`, "\n", `\n`).Replace(string(plain))
			}
		}
		out.WriteString(strings.Join(kept, ";") + ":" + value + "\r\n")
	}
	return out.Bytes()
}
