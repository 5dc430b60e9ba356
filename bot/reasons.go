package bot

import (
	"strings"
	"unicode"
)

// reasonWords says in p's language why a person must look. The reasons that triage names in
// its own sentences have their words under reason_<sentence in small letters>.
func (d *decision) reasonWords(p Party, code string) string {
	if code == "" {
		return ""
	}
	// Triage says before its sentence why it matters; the sentence alone tells a person more.
	for _, frame := range []string{"contradiction ", "not offered, "} {
		code = strings.TrimPrefix(code, frame)
	}
	return d.say(p, "reason_"+slug(code), nil)
}

// evidenceWords says a fact of the weighing, "shape=hanging_cluster", as people say it.
func (d *decision) evidenceWords(p Party, code string) string {
	field, value, _ := strings.Cut(code, "=")
	if field == "month" {
		return d.say(p, "evidence_month", nil)
	}
	if own := "evidence_" + field + "_" + value; words(p).Knows(own) {
		return d.say(p, own, nil)
	}
	return d.say(p, "word_"+field+"_"+value, nil)
}

// slug makes a key of a sentence: "bees at flowers or water" is bees_at_flowers_or_water.
func slug(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }), "_")
}
