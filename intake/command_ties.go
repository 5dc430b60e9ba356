package intake

import "strings"

// Ties is a steward's word about two calls that may be one swarm.
type Ties struct {
	Join       bool   // JOIN One Other; else SPLIT One
	One, Other string // references
}

// tieWords are the words for it, in every language.
var tieWords = map[string]bool{"join": true, "une": true, "unir": true, "split": false, "separa": false, "separar": false}

// ReadTies reads "SPLIT 7KQ2" and "JOIN 7KQ2 4DM8", nothing before and nothing after.
func ReadTies(text string) (Ties, bool) {
	words := strings.Fields(strings.ToLower(strings.Trim(strings.TrimSpace(text), ".!")))
	if len(words) < 2 || len(words) > 4 {
		return Ties{}, false
	}
	join, known := tieWords[words[0]]
	if !known {
		return Ties{}, false
	}
	var refs []string
	for _, w := range words[1:] {
		if w == "and" || w == "with" || w == "y" || w == "con" {
			continue
		}
		ref, rest := cutReference(w)
		if ref == "" || rest != "" {
			return Ties{}, false
		}
		refs = append(refs, ref)
	}
	switch {
	case join && len(refs) == 2:
		return Ties{true, refs[0], refs[1]}, true
	case !join && len(refs) == 1:
		return Ties{One: refs[0]}, true
	}
	return Ties{}, false
}

// ReadNew reads a steward's "NEW ball of bees at 3 Oak St" and returns what follows the word.
// From anybody else "new swarm on my fence" is a report.
func ReadNew(text string) (report string, ok bool) {
	ts := knownTokens(text)
	for _, m := range grammar.find("command", ts[:min(len(ts), 2)]) {
		if m.from == 0 && m.rule.value == string(WordNew) {
			report = strings.TrimLeft(text[ts[m.to-1].end:], " \t\r\n:,.-")
			return report, report != ""
		}
	}
	return "", false
}
