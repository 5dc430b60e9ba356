package intake

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/nicksnyder/go-i18n/v2/i18n"
)

// TestTextsAsTheLibraryHasThem fills every text in every language by itself and by the
// library, with all values and with none, as they are and worked out later.
func TestTextsAsTheLibraryHasThem(t *testing.T) {
	later := map[string]any{}
	for name, value := range longest {
		if words, ok := value.(string); ok {
			value = Later(func() string { return words })
		}
		later[name] = value
	}
	one := maps.Clone(longest)
	one["Count"] = 1
	for _, lang := range Languages() {
		library := i18n.NewLocalizer(bundle, lang)
		for _, key := range slices.Sorted(maps.Keys(texts[lang])) {
			for _, row := range []struct{ plain, given map[string]any }{{longest, longest}, {longest, later}, {one, one}, {nil, nil}} {
				// It returns the text also where it misses a plural form.
				want, err := library.Localize(&i18n.LocalizeConfig{MessageID: key, TemplateData: row.plain, PluralCount: row.plain["Count"]})
				if want == "" && row.plain != nil {
					t.Fatal(key, err)
				}
				if got, own, ok := (Words{Language: lang}).find(key, row.given); want != "" && (got != strings.TrimSpace(want) || !own || !ok) {
					t.Errorf("%s in %s: got %q, %v, %v, the library has %q", key, lang, got, own, ok, want)
				}
			}
		}
	}
}

// BenchmarkSay is one text with four values, and one with a condition.
func BenchmarkSay(b *testing.B) {
	for _, key := range []string{"looking", "nobody_yet"} {
		b.Run(key, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_ = Words{Language: "en"}.Say(key, longest)
			}
		})
	}
}
