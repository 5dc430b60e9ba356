package intake

import (
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

// TestEveryPhraseMeansSomethingAllowed holds the reading files to the values of Answers, so
// that a slip in them is a red test and not a silent one.
func TestEveryPhraseMeansSomethingAllowed(t *testing.T) {
	closed := map[string][]string{
		"body": BodyValues, "shape": ShapeValues, "surface": SurfaceValues, "crowd": CrowdValues, "size": CrowdValues, "stung": StungValues,
		"allergic": YesNoValues, "owner": YesNoValues, "hazards": HazardValues, "entry": EntryValues,
		"access": {"words"}, "notsure": {"yes"}, "emergency": {"yes"}, "calm": {"yes"}, "grave": {"yes"}, "mild": {"yes"}, "local": {"yes"}, "frail": {"yes"}, "sting": {"yes"}, "well": {"yes"}, "state": {"yes"}, "seems": {"yes"}, "turn": {"yes"}, "unhurt": {"yes"}, "joke": {"yes"}, "elsewhen": {"yes"}, "now": {"yes"}, "yesno": {"yes", "no", "unknown"}, "optout": {"stop", "start", "help"},
		"arrival": {"self", "other"}, "kit": kitItems, "weighing": {SizeSmall, SizeMedium, SizeLarge, "kg", "lb", "frames"},
		"correction": {"yes"},
		"again":      {"yes"}, "person": {"yes"},
	}
	words := []Word{WordTake, WordPass, WordETA, WordThere, WordBoxed, WordLifted, WordLiftedAll, WordHived, WordFlown, WordNotBees, WordDrop, WordOut,
		WordIn, WordMine, WordMenu, WordBack, WordAgain, WordGone, WordDelete, WordJoin, WordSay, WordOffer, WordClose, WordNew, WordOpen,
		WordTooHigh, WordUnsafe, WordColony, WordRetry, WordTomorrow, WordSomeoneElse, WordDone, WordLater, WordSkip, WordSkipAll, WordLeft, WordHours, WordReach, WordShare, WordBox,
		WordKit, WordSize, WordFrames, WordNoFrames, WordSeason, WordNext, WordWhy}
	for _, r := range grammar.rule {
		if !ruleAllowed(r, closed, words) {
			t.Errorf("%s: %s=%s is not allowed", r.lang, r.topic, r.value)
		}
		if r.asked != "" && len(Options(r.asked)) == 0 {
			t.Errorf("%s: nothing to choose at question %q", r.lang, r.asked)
		}
	}
}

func ruleAllowed(r rule, closed map[string][]string, words []Word) bool {
	switch r.topic {
	case "nothing":
		field, value, one := strings.Cut(r.value, ":")
		return field == "" || r.value == "height_m" || r.value == "age_h" || closed[field] != nil && (!one || slices.Contains(closed[field], value))
	case "command":
		return slices.Contains(words, Word(strings.ReplaceAll(r.value, "_", " ")))
	case "height_m", "age_h", "stings":
		_, err := strconv.ParseFloat(r.value, 64)
		return err == nil || r.topic == "age_h" && (hoursSince(strings.TrimPrefix(r.value, "since:"), quillbrook.At) != 24)
	}
	return slices.Contains(closed[r.topic], r.value)
}

// TestReadingFilesAreChecked names what is wrong with a reading file.
func TestReadingFilesAreChecked(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"unknown set":   {"[[says]]\nmeans = \"shape=unsure\"\nphrases = \"<nobody>\"", "no set <nobody>"},
		"unknown key":   {"[[says]]\nmeaning = \"x\"", "unknown key"},
		"empty meaning": {"[[says]]\nmeans = \"\"\nphrases = \"x\"", "means nothing"},
		"no TOML":       {"[[says", "xx.toml"},
	} {
		_, err := loadGrammar(fstest.MapFS{"reading/xx.toml": {Data: []byte(c.text)}})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// TestPhraseFormat tries each sign of the format that en.toml explains.
func TestPhraseFormat(t *testing.T) {
	g, err := loadGrammar(fstest.MapFS{"reading/xx.toml": {Data: []byte(`
[sets]
fruit = "apple pear"
articles = "the a"
negators = "not"
attached = "on"
[[says]]
means = "topic=value"
phrases = """
red|green <fruit> # a comment
big? tree
ripe _ cherry
falls ... ground
"""
`)}})
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]bool{
		"a red apple": true, "GREEN, the Pear": true, "blue apple": false, "tree": true, "big tree": true, "ripe red cherry": true, "ripe cherry": false,
		"ripe on cherry": false, "falls to the dry ground": true, "falls ground": true, "falls to the very dry old ground": false, "falls not on ground": false,
		"falls. ground": false, "grxne apple": false, "gren pear": false, "greeen pear": true, "greem pear": true, "red appel": true, "red appls": true, "red aple": false,
	} {
		ts := g.tokens(text)
		g.know(ts)
		if got := len(g.find("", ts)) > 0; got != want {
			t.Errorf("%q: found %v, want %v", text, got, want)
		}
	}
}

func TestTokens(t *testing.T) {
	for text, want := range map[string]string{
		"Can’t REACH it!":  "cant|reach|it|!",
		"8ft":              "8|ft",
		`10'6" up`:         `10|'|6|"|up`,
		"2,5 m":            "2.5|m",
		"10,000 bees":      "10000|bees",
		"2½":               "2|½",
		"Árbol ＡＲＢＯＬ":      "arbol|arbol",
		"ѕwаrm":            "swarm", // Cyrillic letters among Latin ones
		"b\u200bee":        "bee",
		"yesssss":          "yess",
		"12–15 ft":         "12|-|15|ft",
		"\xff\xfe":         "",
		"e\u0301l":         "el",
		"👍🏽":               "👍",
		"a\x00b":           "ab",
		"2️⃣":              "2",
		"it's 5:30, maybe": "its|5|:|30|,|maybe",
	} {
		var got []string
		for _, tok := range tokens(text) {
			got = append(got, tok.text)
		}
		if strings.Join(got, "|") != want {
			t.Errorf("tokens(%q) = %q, want %q", text, strings.Join(got, "|"), want)
		}
	}
}
