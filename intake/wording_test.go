package intake

import (
	"bytes"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"testing"
	"text/template"
	"unicode"

	"github.com/BurntSushi/toml"
)

// longest fills a text with the longest values that are likely, so that a text that fits
// here fits in the field.
var longest = map[string]any{
	"Hotline": "Quillbrook County Beekeepers", "Name": "Saltmarsh County Beekeepers", "With": "4DM8", "Emergency": "911", "Poison": "1-800-222-1222", "Many": 10, "Report": "607-555-0171",
	"Ref": "7KQ2", "Fallback": "Bartholomew", "Lost": "100%", "Hope": "100%", "Price": "10.0", "Gain": "100.0", "Starts": "12:30 pm", "Arrives": "12:50 pm", "Caller": "Guadalupe", "Holder": "Bartholomew", "Word": "JUNIPER",
	"By": "12:30 pm", "ETA": "12:50 pm", "Sunset": "8:14 pm", "Back": "8:40 pm", "From": "8:39 pm", "Since": "12:12 pm",
	"Opens": "7:00 am tomorrow", "Until": "12:30 pm tomorrow", "Clock": "12:30 pm", "Date": "12/31",
	"Swarms": "12 swarms", "Caught": 12, "Took": 12, "Trapped": 12, "Flown": 12, "NotASwarm": 12, "Open": 12, "Held": 2, "Segments": 1420, "Cost": "17.04 USD", "In": 12, "Out": 12, "Passed": 12, "Left": 12, "Half": "12 min",
	"Count": 3, "Percent": 80, "Standoff": "30 ft", "Help": "607-555-0170", "Area": "Millhouse Ln", "Place": "1420 Millhouse Ln", "Where": "1420 Millhouse Ln, Quillbrook", "Was": "1240 Millhouse Ln, Quillbrook",
	"Kind": "European hornet", "Reason": "paper nest without a hole, looking like bees", "Words": "…", "What": "a hanging ball of bees, on a branch, 8 ft",
	"Boxes": "7KQ2 1420 Millhouse Ln", "List": "1 7KQ2 Mill Ln; 2 4DM8 Oak St", "Number": "+16075550142", "Link": "https://bees.example.org/w/______________________", "Likelihood": 95, "Other": "Alexandra", "Alarm": true, "Stewards": 1,
}

// twoSegments may take two: they name several things that each must be there. The rest of
// the texts is one SMS.
var twoSegments = []string{
	"steward_held", "steward_thin", "steward_late", "steward_catcher_hurt", "referral", "referral_held", "caller_emergency", "dusk", "dusk_light", "box_yours", "season_club", "care_season_kit",
	"taken_caller", "boxed_caller", "eta_caller_phone", "boxed_noted", "lapsed", "hive", "nobody_yet", "looking", "night", "status_eta",
}

// TestEveryTextFitsItsMessage counts the septets of every SMS text in every language with
// its longest values (3GPP TS 23.038 section 6.2.1: 160 in one message, 153 in each of
// several).
func TestEveryTextFitsItsMessage(t *testing.T) {
	for _, room := range []string{"caller", "catcher", "steward"} {
		for _, lang := range Languages() {
			for key, text := range readTexts(t, "wording/"+room+"."+lang+".toml") {
				if strings.Contains(key, "_chat") {
					continue
				}
				said := GSM(fill(t, key, text))
				if i := strings.IndexFunc(said, func(r rune) bool { return !inGSM(r) }); i >= 0 {
					t.Errorf("%s in %s holds %q, which costs half of an SMS", key, lang, []rune(said[i:])[0])
				}
				limit := 160
				if slices.Contains(twoSegments, key) {
					limit = 306
				}
				if n := len([]rune(said)); n > limit {
					t.Errorf("%s in %s takes %d of %d septets: %s", key, lang, n, limit, said)
				}
			}
		}
	}
}

// TestEveryLanguageSaysEverything compares the keys of the languages.
func TestEveryLanguageSaysEverything(t *testing.T) {
	for _, room := range []string{"caller", "catcher", "steward", "brief", "advice", "page", "desk"} {
		english := readTexts(t, "wording/"+room+".en.toml")
		if len(english) == 0 {
			t.Errorf("no English words for %s", room)
		}
		for _, lang := range Languages() {
			texts := readTexts(t, "wording/"+room+"."+lang+".toml")
			for key := range english {
				// A text that one language needs no longer form for may lack it.
				if _, ok := texts[key]; !ok && !strings.HasSuffix(key, "_chat") {
					t.Errorf("%s.%s.toml lacks %s", room, lang, key)
				}
			}
		}
	}
}

// TestEveryQuestionHasItsWords holds that a question of the design can be asked, asked again
// and answered in every language.
func TestEveryQuestionHasItsWords(t *testing.T) {
	questions := append(append(slices.Clone(MustAsk), AskMeanwhile...), AskBody, AskEntry, AskPhoto)
	for _, lang := range Languages() {
		w := Words{Language: lang}
		for _, q := range questions {
			keys := []string{"ask_" + string(q), "ask_" + string(q) + "_again"}
			for _, o := range Options(q) {
				keys = append(keys, "opt_"+string(q)+"_"+o.Key)
			}
			for _, key := range keys {
				if !w.Knows(key) {
					t.Errorf("%s lacks %s", lang, key)
				}
			}
		}
	}
}

// named is a name in a text.
var named = regexp.MustCompile(`\{\{.*?\}\}`)

// TestNobodyReadsEnglishInsteadOfTheirOwn holds that a longer form for chat that a language
// lacks is not said in English when the short form is there.
func TestNobodyReadsEnglishInsteadOfTheirOwn(t *testing.T) {
	english := Words{Language: "en", Chat: true}
	for _, room := range []string{"caller", "catcher", "steward", "brief", "advice"} {
		for key, raw := range readTexts(t, "wording/"+room+".en.toml") {
			key = strings.TrimSuffix(key, "_chat")
			if !strings.ContainsFunc(named.ReplaceAllString(raw, ""), unicode.IsLetter) {
				continue // names alone, which have no language
			}
			said := english.Say(key, longest)
			if len(said) > 40 && (Words{Language: "es", Chat: true}).Say(key, longest) == said {
				t.Errorf("%s is said in English to people who talk Spanish: %s", key, said)
			}
		}
	}
}

func readTexts(t *testing.T, name string) map[string]string {
	t.Helper()
	data, err := fs.ReadFile(wordingFiles, name)
	if err != nil {
		t.Fatal(err)
	}
	var raw map[string]any
	if err := toml.Unmarshal(data, &raw); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	texts := make(map[string]string)
	for key, v := range raw {
		switch v := v.(type) {
		case string:
			texts[key] = v
		case map[string]any:
			texts[key] = v["other"].(string)
		}
	}
	return texts
}

func fill(t *testing.T, key, text string) string {
	t.Helper()
	tmpl, err := template.New(key).Option("missingkey=error").Parse(text)
	if err != nil {
		t.Fatalf("%s: %v", key, err)
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, longest); err != nil {
		t.Fatalf("%s: %v", key, err)
	}
	return out.String()
}

// inGSM knows the letters of the GSM alphabet that our words may use; the full table is in
// notify, which this room may not import.
func inGSM(r rune) bool {
	return r < 0x7f && r != '`' && !strings.ContainsRune(`^{}\[]~|`, r) || strings.ContainsRune("éèùìòÇØøÅåÆæßÉÄÖÑÜ§¿äöñüà¡£¥¤", r)
}

// TestOneOClock holds that the hour and its article agree in Spanish.
func TestOneOClock(t *testing.T) {
	es := Words{Language: "es"}
	for by, want := range map[string]string{"1:15 pm": "antes de la 1:15 pm", "11:15 am": "antes de las 11:15 am", "2:30 pm": "antes de las 2:30 pm"} {
		for _, w := range []Words{es, {Language: "es", Chat: true}} {
			if said := w.Say("held", map[string]any{"By": by}); !strings.Contains(said, want) {
				t.Errorf("%q, want %q", said, want)
			}
		}
	}
}
