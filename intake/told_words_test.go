package intake

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

// toldWords finds words that a text tells people to send: in capitals, alone or two together.
var toldWords = regexp.MustCompile(`\p{Lu}{2,}(?: \p{Lu}{2,})*`)

// cries are texts whose capitals are there because they matter.
var cries = []string{"lifted_by_day", "steward_catcher_hurt", "steward_emergency", "caller_emergency", "gone_holder", "update_place"}

// notToSend are what is filled in, references, and the channel.
var notToSend = regexp.MustCompile(`\{\{[^}]*\}\}|7KQ2|4DM8|SMS|UTC`)

// isRead reports whether somebody who works here may send words: alone, about a call, or about
// two.
func isRead(words, lang string) bool {
	s := quillbrook
	s.Language = lang
	for _, text := range []string{words, words + " 7KQ2"} {
		if _, ok := ReadCommand(text, s); ok {
			return true
		}
	}
	_, join := ReadTies(words + " 7KQ2 4DM8")
	_, split := ReadTies(words + " 7KQ2")
	return join || split
}

// TestWordsThatTextsTellAreRead holds that whatever a text tells a catcher or steward to send is
// read as a command, in every language.
func TestWordsThatTextsTellAreRead(t *testing.T) {
	for _, room := range []string{"catcher", "steward"} {
		for _, lang := range Languages() {
			for key, text := range readTexts(t, "wording/"+room+"."+lang+".toml") {
				said := notToSend.ReplaceAllString(text, " ")
				for _, words := range toldWords.FindAllString(said, -1) {
					box := strings.HasPrefix(key, "box_") || key == "care_trap" // "BOX 1 CAUGHT": the bait box reads its own
					if !box && !slices.Contains(cries, key) && !isRead(words, lang) {
						t.Errorf("%s in %s tells %q, which nobody reads: %s", key, lang, words, text)
					}
				}
			}
		}
	}
}
