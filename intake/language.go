package intake

import (
	"slices"
	"strings"
)

// LanguageSwitch reports whether text is nothing but a wish for a language, and which:
// "ES", "español por favor", "English please", "no hablo inglés".
func LanguageSwitch(text string) (lang string, ok bool) {
	named, others := "", false
	denied := false
	ts := seen(text)
	for _, t := range ts {
		if t.kind != aWord {
			others = others || t.kind == aNumber
			continue
		}
		if l := namesLanguage(t.text, len(ts)); l != "" {
			if named != "" && named != l {
				return "", false
			}
			named = l
			continue
		}
		denied = denied || t.in("negators")
		others = others || !t.in("switching") && !t.in("negators")
	}
	if named == "" || others {
		return "", false
	}
	if denied {
		return otherLanguage(named), otherLanguage(named) != ""
	}
	return named, true
}

// namesLanguage is the language that a word names. "es" and "en" are words of Spanish as
// well: they name a language only when (nearly) alone.
func namesLanguage(w string, words int) string {
	for _, lang := range grammar.langs {
		if grammar.sets["called."+lang][w] && (len(w) > 2 || words <= 2) {
			return lang
		}
	}
	return ""
}

// otherLanguage is the language meant by "no English" when there are just two.
func otherLanguage(lang string) string {
	others := slices.DeleteFunc(slices.Clone(grammar.langs), func(l string) bool { return l == lang })
	if len(others) == 1 {
		return others[0]
	}
	return ""
}

// GuessLanguage tells the language to talk in from a text, the channel's profile (a tag
// such as "es-MX", "" if none) and the language talked so far ("" at the beginning). It
// returns "" when there is no reason to choose or change. A wish decides; otherwise it
// takes two different words of a language (one that no other language has, at the
// beginning), and twice as many as of any other.
func GuessLanguage(text, profile, current string) string {
	if lang, ok := LanguageSwitch(text); ok {
		return lang
	}
	ts := seen(text)
	best, most, sure, second := "", 0, 0, 0
	for _, lang := range grammar.langs {
		n, s := evidence(ts, lang)
		if n > most {
			best, most, sure, second = lang, n, s, most
		} else {
			second = max(second, n)
		}
	}
	if most >= 2*second+1 && (most >= 2 || sure >= 1 && current == "") {
		return best
	}
	if current == "" {
		tag, _, _ := strings.Cut(strings.ToLower(strings.ReplaceAll(profile, "_", "-")), "-")
		if slices.Contains(grammar.langs, tag) {
			return tag
		}
	}
	return ""
}

// evidence counts the different words of ts that belong to lang, and those that belong to
// no other language.
func evidence(ts []token, lang string) (words, sure int) {
	all, certain := grammar.setIDs["evidence."+lang], grammar.setIDs["sure_evidence."+lang]
	for i, t := range ts {
		if !t.sets.has(all) && !t.sets.has(certain) || slices.ContainsFunc(ts[:min(i, 200)], func(o token) bool { return o.text == t.text }) {
			continue
		}
		words++
		if t.sets.has(certain) {
			sure++
		}
	}
	return words, sure
}

// mostly is the language that more words of ts belong to, "" if none leads.
func mostly(ts []token) string {
	best, most, tied := "", 0, false
	for _, lang := range grammar.langs {
		n, all := 0, grammar.setIDs["evidence."+lang]
		for i := range ts {
			if ts[i].sets.has(all) {
				n++
			}
		}
		if n > most {
			best, most, tied = lang, n, false
		} else if n == most {
			tied = true
		}
	}
	if tied {
		return ""
	}
	return best
}
