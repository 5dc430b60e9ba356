package intake

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"
)

// The words people read. The rules:
//
//   - Second person, one thing asked at a time, the danger before the courtesy.
//   - A text is written once, correctly, accents and all. On SMS the letters that the GSM
//     alphabet lacks are replaced at the last moment (á becomes a), so that one segment
//     holds 160 of them and not 70.
//   - A key may have a longer form for chat, <key>_chat; SMS always gets <key>.
//   - To a caller say "swarm", never "call": that is the phone. Never a percentage.
//   - Whoever must wait is told the clock time of the next news.
//
// A language is the set of files wording/*.<language>.toml: adding one is adding files.
//
//go:embed wording/*.toml
var wordingFiles embed.FS

var bundle, languages, texts = mustLoadWording(wordingFiles)

func mustLoadWording(files fs.FS) (*i18n.Bundle, []string, map[string]map[string]*wordingText) {
	b := i18n.NewBundle(language.English)
	b.RegisterUnmarshalFunc("toml", toml.Unmarshal)
	names, err := fs.Glob(files, "wording/*.toml")
	if err != nil {
		panic(err)
	}
	texts := map[string]map[string]*wordingText{}
	for _, name := range names {
		file, err := b.LoadMessageFileFS(files, name)
		if err != nil {
			panic(fmt.Sprintf("%s: %v", name, err))
		}
		tag := strings.TrimPrefix(path.Ext(strings.TrimSuffix(name, ".toml")), ".")
		if texts[tag] == nil {
			texts[tag] = map[string]*wordingText{}
		}
		for _, m := range file.Messages {
			if texts[tag][m.ID], err = readText(m); err != nil {
				panic(fmt.Sprintf("%s: %s: %v", name, m.ID, err))
			}
		}
	}
	return b, slices.Sorted(maps.Keys(texts)), texts
}

// tags are the languages as the plural rules know them.
var tags = func() map[string]language.Tag {
	tags := map[string]language.Tag{}
	for _, name := range languages {
		tags[name] = language.Make(name)
	}
	return tags
}()

// fallback is the language of what another one lacks.
const fallback = "en"

// Languages returns the languages that have words, sorted: "en", "es".
func Languages() []string { return slices.Clone(languages) }

// Words says things in one language on one kind of channel.
type Words struct {
	Language string
	Chat     bool // a channel with long texts and every letter
	Letters  bool // short texts, but with every letter: WhatsApp
	// Always are values that every text may name; a text's own go before them.
	Always map[string]any
}

// Say returns the text of key with data filled in. A key that the language lacks is said
// in English; one that nobody has is a mistake of ours and comes back in brackets, which a
// test looks for.
func (w Words) Say(key string, data map[string]any) string {
	s, own, ok := w.find(key, data)
	if w.Chat {
		// A short text in their own language is better than a long one in English.
		if long, ownLong, there := w.find(key+"_chat", data); there && (ownLong || !own) {
			return w.mended(long)
		}
	}
	if !ok {
		return "[" + key + "]"
	}
	if !w.Chat && !w.Letters {
		s = GSM(s)
	}
	return w.mended(s)
}

// mends are what a filled-in value changes in the words around it: one o'clock is "la 1:15"
// in Spanish, the other hours are "las".
var mends = map[string]*strings.Replacer{"es": strings.NewReplacer(" las 1:", " la 1:")}

func (w Words) mended(s string) string {
	if m := mends[w.Language]; m != nil {
		return m.Replace(s)
	}
	return s
}

// Knows reports whether key has words in w's language.
func (w Words) Knows(key string) bool {
	if own, ok := texts[w.Language]; ok {
		return own[key] != nil
	}
	_, err := i18n.NewLocalizer(bundle, w.Language).Localize(&i18n.LocalizeConfig{MessageID: key})
	var missing *i18n.MessageNotFoundErr
	return !errors.As(err, &missing)
}

// find returns the words of key, and whether they are in w's own language.
func (w Words) find(key string, data map[string]any) (text string, own, ok bool) {
	t := (*wordingText)(nil)
	if mine, known := texts[w.Language]; known {
		in := w.Language
		if t = mine[key]; t == nil {
			in, t = fallback, texts[fallback][key]
		}
		if t == nil {
			return "", false, false
		}
		return strings.TrimSpace(t.byCount(in, data).fill(given{data, w.Always})), in == w.Language, true
	}
	// A language that has no files: the library knows which of ours is next to it.
	s, tag, err := i18n.NewLocalizer(bundle, w.Language).LocalizeWithTag(&i18n.LocalizeConfig{
		MessageID: key, TemplateData: data, PluralCount: data["Count"],
	})
	if s == "" && err != nil {
		return "", false, false
	}
	base, _ := tag.Base()
	return strings.TrimSpace(s), base.String() == w.Language, true
}

// gsm replaces what the GSM 03.38 alphabet (3GPP TS 23.038 section 6.2.1) lacks and our
// words use. The letters é ñ ü ¿ ¡ are in it and stay.
var gsm = strings.NewReplacer(
	"á", "a", "í", "i", "ó", "o", "ú", "u", "Á", "A", "Í", "I", "Ó", "O", "Ú", "U", "ç", "c",
	"’", "'", "‘", "'", "“", `"`, "”", `"`, "–", "-", "—", "-", "…", "...", "\u00a0", " ", "°", "", "•", "-",
)

// GSM returns s with the letters our words use brought into the SMS alphabet.
func GSM(s string) string { return gsm.Replace(s) }
