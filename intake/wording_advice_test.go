package intake

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// fullAdvice are the longest values that the placeholders of the advice texts get.
var fullAdvice = map[string]any{
	"Emergency": "911", "Poison": "1-800-222-1222", "Many": 10, "Report": "agriculture 607-555-0171",
	"Help": "county 607-555-0170", // a word and a number
}

func readAdvice(t *testing.T, language string) map[string]string {
	t.Helper()
	data, err := os.ReadFile("wording/advice." + language + ".toml")
	if err != nil {
		t.Fatal(err)
	}
	texts := map[string]string{}
	if err := toml.Unmarshal(data, &texts); err != nil {
		t.Fatal(err)
	}
	if len(texts) < 60 {
		t.Fatalf("only %d texts in %s", len(texts), language)
	}
	return texts
}

func sortedKeys(texts map[string]string) []string {
	var keys []string
	for key := range texts {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}

// The GSM alphabet, 3GPP TS 23.038 section 6.2.1: one septet each, those of the extension
// table two.
const (
	gsmLetters   = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	gsmExtension = "^{}\\[~]|€"
)

func septets(t *testing.T, key, text string) int {
	t.Helper()
	n := 0
	for _, r := range text {
		switch {
		case strings.ContainsRune(gsmLetters, r):
			n++
		case strings.ContainsRune(gsmExtension, r):
			n += 2
		default:
			t.Errorf("%s: %q is not in the GSM alphabet", key, r)
		}
	}
	return n
}

// Each advice text by SMS is one segment with the longest values filled in, and the chat
// texts stand beside it.
func TestAdviceFitsOneSegment(t *testing.T) {
	for _, language := range []string{"en", "es"} {
		texts := readAdvice(t, language)
		for _, key := range sortedKeys(texts) {
			if strings.HasSuffix(key, "_chat") || strings.HasPrefix(key, "kind_") {
				continue
			}
			said := Words{Language: language}.Say(key, fullAdvice)
			if n := septets(t, language+" "+key, said); n > 160 {
				t.Errorf("%s %s: %d septets, 160 fit: %s", language, key, n, said)
			}
			if texts[key+"_chat"] == "" {
				t.Errorf("%s %s has no longer form for chat", language, key)
			}
		}
	}
}

func TestAdviceIsSaidInEveryLanguage(t *testing.T) {
	en, es := sortedKeys(readAdvice(t, "en")), sortedKeys(readAdvice(t, "es"))
	if !slices.Equal(en, es) {
		t.Errorf("the languages differ: en %v, es %v", en, es)
	}
}

// With no poison centre and nobody to turn to, nothing is left hanging; no text shows a
// percentage or a placeholder, and a swarm is never a "call": that is the phone.
func TestAdviceWithoutNumbers(t *testing.T) {
	bare := map[string]any{"Emergency": "112", "Poison": "", "Help": "", "Report": "", "Many": 3}
	wrong := regexp.MustCompile(`%|no value|\{\{|  |Help: \.|Ayuda: \.|[Ss]warm call|this call|1-800`)
	callWord := regexp.MustCompile(`(?i)\bcall\b`)
	for _, language := range []string{"en", "es"} {
		for _, key := range sortedKeys(readAdvice(t, language)) {
			for _, chat := range []bool{false, true} {
				said := Words{Language: language, Chat: chat}.Say(key, bare)
				if found := wrong.FindString(said); found != "" {
					t.Errorf("%s %s says %q: %s", language, key, found, said)
				}
				if strings.HasPrefix(key, "redirect_") && callWord.MatchString(said) {
					t.Errorf("%s %s speaks of a call: %s", language, key, said)
				}
			}
		}
	}
}

// What each text must name, so that the person is better off.
func TestAdviceNames(t *testing.T) {
	for _, row := range []struct {
		key  string
		says []string
	}{
		{"emergency", []string{"CALL 911 NOW", "flat", "stand or walk", "cannot send"}},
		{"redirect_yellowjacket", []string{"wasps", "frost", "county 607-555-0170", "Tell us"}},
		{"redirect_paper_wasp", []string{"wasps", "frost", "county 607-555-0170", "Not paper? Tell us what you see"}},
		{"redirect_aerial_hornet", []string{"wasps", "hornets", "frost", "Not paper? Tell us what you see"}},
		{"redirect_european_hornet", []string{"hornets", "frost", "Tell us"}},
		{"redirect_bumble_bee", []string{"bumble", "autumn", "Tell us"}},
		{"redirect_carpenter_bee", []string{"carpenter", "midsummer", "Tell us"}},
		{"redirect_ground_bee", []string{"ground bees", "few weeks", "Tell us"}},
		{"redirect_foragers", []string{"not a swarm", "evening", "Tell us"}},
		{"redirect_specialist", []string{"ost likely honey bees", "remover", "nest", "Tell us"}},
		{"redirect_honey_bee_colony", []string{"ost likely honey bees", "remover", "nest"}},
		{"redirect_exposed_comb", []string{"ost likely honey bees", "remover", "nest"}},
		{"redirect_honey_bee_swarm", []string{"ost likely honey bees", "days"}},
		{"redirect_unsure", []string{"photo", "Tell us"}},
		{"advice_allergy", []string{"indoors", "911", "keep back"}},
		{"advice_sting_first_aid", []string{"stinger", "911", "1-800-222-1222"}},
		{"advice_power_line", []string{"10 ft", "electric company", "911"}},
	} {
		for _, chat := range []bool{false, true} {
			said := Words{Language: "en", Chat: chat}.Say(row.key, fullAdvice)
			for _, want := range row.says {
				if !strings.Contains(strings.ToLower(said), strings.ToLower(want)) {
					t.Errorf("%s (chat %t) does not say %q: %s", row.key, chat, want, said)
				}
			}
		}
	}
	if said := (Words{Language: "es"}).Say("emergency", fullAdvice); !strings.HasPrefix(said, "LLAME AL 911 YA") {
		t.Errorf("the Spanish emergency text begins %q", said)
	}
}
