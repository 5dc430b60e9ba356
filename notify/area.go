package notify

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// AreaWords returns the street of an address without the house: "14 Mill Ln, Quillbrook"
// becomes "Mill Ln". It is what an offer may say of a place. Anything that is not plainly a
// house and a street ("behind the red barn on Mill Ln") becomes "", for an offer that says
// too little costs a question and one that says too much tells a stranger's door.
func AreaWords(text string) string {
	area := ""
	for part := range strings.SplitSeq(text, ",") {
		street := streetOf(part)
		if street == "" {
			continue
		}
		if area != "" {
			return "" // two streets: a crossing, or something we do not understand
		}
		area = street
	}
	return area
}

var (
	// houseNumber is a number with what may hang on it: 14, 14B, 14-16, 14/2, #3, no. 14.
	houseNumber = regexp.MustCompile(`^(?i:((no|n[º°])\.?)?#?\d+[a-z]?([-/]\d+[a-z]?)?)$`)
	// ordinal is a street that is called by a number: 5th, 2nd.
	ordinal = regexp.MustCompile(`^(?i:\d{1,3}(st|nd|rd|th))$`)
)

// What a street is called, at the end in English and at the start in Spanish.
var (
	streetEnds = strings.Fields("st street ln lane rd road ave avenue av blvd boulevard dr drive ct court " +
		"pl place ter terrace way cir circle pkwy parkway hwy highway pike trail trl row close crescent")
	streetStarts = strings.Fields("calle c/ avenida av avda camino carretera paseo plaza callejón callejon bulevar")
	// placeWords show that a part is a description and not an address.
	placeWords = strings.Fields("a al an and at behind beside between by close corner de-tras detras detrás en " +
		"entre esquina frente from front house i i'm in is junto la-casa mi my near next of off on opposite " +
		"or our over past the to under unit apt suite y")
)

// streetOf returns the street of one part of an address, "" when it is none.
func streetOf(part string) string {
	words := strings.Fields(strings.TrimSpace(part))
	if len(words) > 0 && houseNumber.MatchString(words[0]) {
		words = words[1:]
	}
	if len(words) > 0 && houseNumber.MatchString(words[len(words)-1]) {
		words = words[:len(words)-1]
	}
	if len(words) < 2 || len(words) > 5 || !slices.ContainsFunc([]bool{
		slices.Contains(streetEnds, plain(words[len(words)-1])),
		slices.Contains(streetStarts, plain(words[0])),
	}, func(is bool) bool { return is }) {
		return ""
	}
	for _, word := range words {
		if slices.Contains(placeWords, strings.ToLower(word)) || !streetWord(word) {
			return ""
		}
	}
	return strings.Join(words, " ")
}

// streetWord reports whether word may stand in the name of a street: letters only, or an
// ordinal.
func streetWord(word string) bool {
	return ordinal.MatchString(word) || strings.IndexFunc(word, func(r rune) bool {
		return !unicode.IsLetter(r) && !strings.ContainsRune(".'’-/", r)
	}) < 0
}

func plain(word string) string { return strings.TrimSuffix(strings.ToLower(word), ".") }
