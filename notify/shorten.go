package notify

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"skepline/intake"
)

// fact is one piece of a text. Rank 0 is never left out; of the others the highest rank
// goes first when there is no room for all.
type fact struct {
	text  string
	rank  int
	apart bool // a sentence of its own, not one of a list
}

// shorten leaves facts out, least important first, until the text that render makes of the
// rest fits into segments SMS, or in chat into MaxText.
func shorten(w intake.Words, facts []fact, segments int, render func(facts []fact) string) string {
	text := render(facts)
	fits := func(text string) bool { return Segments(intake.GSM(text)) <= segments }
	if w.Chat {
		fits = func(text string) bool { return utf8.RuneCountInString(text) <= MaxText }
	}
	for !fits(text) {
		least := leastOf(facts)
		if least < 0 {
			break
		}
		facts = append(facts[:least:least], facts[least+1:]...)
		text = render(facts)
	}
	return text
}

// leastOf returns which fact to leave out next, -1 when all must stay.
func leastOf(facts []fact) int {
	least, rank := -1, 0
	for i, f := range facts {
		if f.rank > 0 && f.rank >= rank {
			least, rank = i, f.rank
		}
	}
	return least
}

// joined puts the facts that say anything behind one another.
func joined(facts []fact, between string) string {
	var texts []string
	for _, f := range facts {
		if f.text != "" {
			texts = append(texts, f.text)
		}
	}
	return strings.Join(texts, between)
}

// quoted prepares somebody's own words for a text of ours: one line, at most max letters (in
// chat three times as many), and by SMS without what would more than halve the room for it:
// accents and emoji go, letters of other alphabets stay.
func quoted(w intake.Words, text string, max int) string {
	text = strings.Join(strings.Fields(text), " ")
	switch {
	case w.Chat:
		max *= 3
	case !w.Letters:
		text = strings.Join(strings.Fields(cheap(intake.GSM(text))), " ")
	}
	if letters := []rune(text); len(letters) > max {
		text = strings.TrimSpace(string(letters[:max-3])) + "..."
	}
	return strings.TrimRight(text, " ,;")
}

func cheap(text string) string {
	var b strings.Builder
	for _, r := range text {
		_, gsm := gsmCost[r]
		base := []rune(norm.NFD.String(string(r)))[0]
		switch _, baseGSM := gsmCost[base]; {
		case gsm || unicode.IsLetter(base) && !baseGSM:
			b.WriteRune(r)
		case baseGSM:
			b.WriteRune(base)
		}
	}
	return b.String()
}
