package intake

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// A token is one word, number or mark of a text, folded so that "Árbol", "arbol" and
// "ＡＲＢＯＬ" are the same. start and end are bytes of the text as it came.
type token struct {
	text       string
	kind       tokenKind
	start, end int
	number     float64  // of a number
	decimals   int      // digits after the point
	capital    bool     // its first letter was a capital
	glued      bool     // nothing stood between it and the token before
	mended     bool     // text is what was meant, not what was typed
	stretched  bool     // a letter stood three times or more: "heeelp"
	classes    []class  // what the grammar knows it as
	sets       *setBits // the sets of the grammar that text is in; nil = none
}

// in reports whether the token is in a set of the grammar.
func (t *token) in(set string) bool { return t.sets.has(grammar.setIDs[set]) }

// rename puts another word in a token's place.
func (t *token) rename(word string) { t.text, t.sets = word, grammar.wordSets[word] }

type tokenKind uint8

const (
	aWord   tokenKind = iota
	aNumber           // digits, perhaps with a decimal point or comma
	aMark             // ' and " after a number, - / : between
	aPause            // comma, colon, bracket, dash: the sentence goes on
	anEnd             // full stop, question mark, new line: the sentence ends
	anEmoji
)

// letter is one folded letter with the bytes it came from.
type letter struct {
	r          rune
	start, end int
	capital    bool
}

// lookalikes are Cyrillic and Greek letters that are drawn like Latin ones (a part of
// Unicode Technical Standard 39's confusables, from memory).
var lookalikes = map[rune]rune{
	'а': 'a', 'в': 'b', 'с': 'c', 'е': 'e', 'ё': 'e', 'н': 'h', 'і': 'i', 'ї': 'i', 'ј': 'j', 'к': 'k', 'м': 'm', 'о': 'o',
	'р': 'p', 'ѕ': 's', 'т': 't', 'у': 'y', 'х': 'x', 'ԁ': 'd', 'ԛ': 'q', 'ԝ': 'w', 'ь': 'b', 'п': 'n', 'г': 'r',
	'α': 'a', 'β': 'b', 'ε': 'e', 'ζ': 'z', 'η': 'n', 'ι': 'i', 'κ': 'k', 'μ': 'm', 'ν': 'v', 'ο': 'o', 'ρ': 'p', 'τ': 't', 'υ': 'u', 'χ': 'x',
	'ı': 'i', 'ł': 'l', 'ø': 'o', 'đ': 'd', 'ꓢ': 's', 'ꓔ': 't', 'ꓳ': 'o', 'ꓑ': 'p',
}

// marks are signs that mean the same as one on a keyboard.
var marks = map[rune]rune{
	'’': '\'', '‘': '\'', '`': '\'', '´': '\'', 'ʼ': '\'', '′': '\'', '‛': '\'', '“': '"', '”': '"', '″': '"', '„': '"', '«': '"', '»': '"',
	'–': '-', '—': '-', '−': '-', '‐': '-', '‑': '-', '…': '.', '⁄': '/', '¿': ' ', '¡': ' ', '。': '.', '\u2028': '\n', '\u2029': '\n',
}

// letters folds text letter by letter: compatibility forms and accents go (Unicode NFKD
// without its marks), case goes, look-alikes become Latin, what has no width goes.
func letters(text string) []letter {
	out := make([]letter, 0, len(text))
	for i := 0; i < len(text); {
		if c := text[i]; c < utf8.RuneSelf {
			if r, ok := plainByte(c); ok {
				out = append(out, letter{r, i, i + 1, c >= 'A' && c <= 'Z'})
			}
			i++
			continue
		}
		r, size := utf8.DecodeRuneInString(text[i:])
		out = appendFolded(out, r, i, i+size)
		i += size
	}
	return out
}

func plainByte(c byte) (rune, bool) {
	switch {
	case c >= 'A' && c <= 'Z':
		return rune(c) + 'a' - 'A', true
	case c == '`':
		return '\'', true
	case c == '\r':
		return '\n', true
	case c == '\t' || c >= ' ' && c < 0x7f || c == '\n':
		return rune(c), true
	}
	return 0, false
}

func appendFolded(out []letter, r rune, start, end int) []letter {
	if m, ok := marks[r]; ok {
		return append(out, letter{m, start, end, false})
	}
	switch {
	case r == utf8.RuneError || unicode.Is(unicode.Z, r):
		return append(out, letter{' ', start, end, false})
	case unicode.In(r, unicode.Cc, unicode.Cf, unicode.M, unicode.Sk):
		return out
	case r == '½' || r == '¼' || r == '¾': // a fraction is a number of its own: "2½"
		return append(out, letter{r, start, end, false})
	}
	capital := unicode.IsUpper(r)
	for _, d := range norm.NFKD.String(string(r)) {
		if unicode.Is(unicode.M, d) {
			continue
		}
		d = unicode.ToLower(d)
		if l, ok := lookalikes[d]; ok {
			d = l
		}
		out = append(out, letter{d, start, end, capital})
	}
	return out
}

// cutTokens cuts text into folded tokens.
func cutTokens(text string) []token {
	ls := letters(text)
	out := make([]token, 0, len(ls)/4+4)
	last := -1
	for i := 0; i < len(ls); {
		t, n := nextToken(ls[i:], out)
		if n == 0 {
			i++
			continue
		}
		t.start, t.end = ls[i].start, ls[i+n-1].end
		t.glued = t.start == last && last >= 0
		last = t.end
		out = append(out, t)
		i += n
	}
	return out
}

// nextToken reads the token that ls begins with and how many letters it took; none for
// space and for signs that say nothing.
func nextToken(ls []letter, before []token) (token, int) {
	r := ls[0].r
	switch {
	case r >= '0' && r <= '9':
		return numberToken(ls)
	case r == '½' || r == '¼' || r == '¾':
		return token{kind: aNumber, text: string(r), number: map[rune]float64{'½': 0.5, '¼': 0.25, '¾': 0.75}[r]}, 1
	case unicode.IsLetter(r):
		return wordToken(ls)
	case r == '\'' || r == '"':
		return markToken(ls, before)
	case r == '&', r == '+' && len(ls) > 1 && ls[1].r == ' ' && len(before) > 0 && before[len(before)-1].kind == aWord:
		return token{kind: aWord, text: "and"}, 1 // "Ames & Tolland", "Bexley + Poplar"
	case strings.ContainsRune("-/:", r):
		return token{kind: aMark, text: string(r)}, 1
	case strings.ContainsRune(".!?;\n", r):
		return token{kind: anEnd, text: string(r)}, 1
	case strings.ContainsRune(",()[]", r):
		return token{kind: aPause, text: string(r)}, 1
	case r > 0x7f && unicode.In(r, unicode.So, unicode.Sm):
		return token{kind: anEmoji, text: string(r)}, 1
	}
	return token{}, 0
}

// wordToken reads letters; an apostrophe between letters is dropped, so that "can't" and
// "cant" are one word. A letter that stands three times or more is kept twice.
func wordToken(ls []letter) (token, int) {
	t := token{kind: aWord, capital: ls[0].capital}
	var b strings.Builder
	var last, beforeLast rune
	n := 0
	for n < len(ls) {
		r := ls[n].r
		if r == '\'' && n+1 < len(ls) && unicode.IsLetter(ls[n+1].r) {
			n++
			continue
		}
		if !unicode.IsLetter(r) {
			break
		}
		if r == last && r == beforeLast {
			t.stretched = true
		} else {
			b.WriteRune(r)
		}
		beforeLast, last = last, r
		n++
	}
	t.text = b.String()
	return t, n
}

// numberToken reads digits with one decimal point or comma, or with the thousands set
// apart: 2.5, "2,5", 10,000 and 10.000.
func numberToken(ls []letter) (token, int) {
	digit := func(i int) bool { return i < len(ls) && ls[i].r >= '0' && ls[i].r <= '9' }
	run := func(i int) (string, int) {
		var b []byte
		for digit(i) {
			b = append(b, byte(ls[i].r))
			i++
		}
		return string(b), i
	}
	whole, n := run(0)
	t := token{kind: aNumber}
	for n < len(ls) && (ls[n].r == '.' || ls[n].r == ',') && digit(n+1) {
		part, after := run(n + 1)
		thousands := len(part) == 3 && len(whole) <= 3 && (ls[n].r == ',' || part == "000")
		if thousands {
			whole, n = whole+part, after
			continue
		}
		t.decimals = len(part)
		whole, n = whole+"."+part, after
		break
	}
	t.text = whole
	t.number, _ = strconv.ParseFloat(whole, 64)
	return t, n
}

// markToken reads the feet and inches marks, which count only behind a number: 10'6".
func markToken(ls []letter, before []token) (token, int) {
	if len(before) == 0 || before[len(before)-1].kind != aNumber {
		return token{}, 0
	}
	if ls[0].r == '\'' && len(ls) > 1 && ls[1].r == '\'' {
		return token{kind: aMark, text: `"`}, 2
	}
	return token{kind: aMark, text: string(ls[0].r)}, 1
}
