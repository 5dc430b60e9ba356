package intake

import (
	"hash/maphash"
	"slices"
	"sync/atomic"
)

// recent holds what was made of the texts read last. A decision looks at one text a dozen
// times, for an opt-out, an emergency, a command, an answer and so on, and starts over when it
// lacks a document; the text is cut into words, its misspellings mended and its sense read once.
var (
	recent     [64]atomic.Pointer[recentText]
	recentSeed = maphash.MakeSeed()
)

// longestRecent keeps what a stranger sends from staying in memory. Texts are far shorter.
const longestRecent = 1000

// recentText is a text and its tokens, which are copied before anybody changes them.
type recentText struct {
	text  string
	plain []token
	known atomic.Pointer[[]token] // the same as the grammar knows them; nil until asked for
	heard atomic.Pointer[heardIn] // what Understand made of it last; nil until asked for
	alarm atomic.Pointer[alarm]   // whether it is an emergency; nil until asked for
}

// heardIn is what a text told in a setting.
type heardIn struct {
	setting Setting
	heard   Heard
}

func recall(text string) *recentText {
	if len(text) > longestRecent {
		return &recentText{plain: grammar.tokens(text)}
	}
	place := &recent[maphash.String(recentSeed, text)%uint64(len(recent))]
	if r := place.Load(); r != nil && r.text == text {
		return r
	}
	r := &recentText{text: text, plain: grammar.tokens(text)}
	place.Store(r)
	return r
}

// tokens cuts text into folded tokens.
func tokens(text string) []token { return slices.Clone(recall(text).plain) }

// seen returns what tokens does, for those who only look: others look at the same.
func seen(text string) []token { return recall(text).plain }

// knownTokens cuts text into tokens that the grammar knows, misspellings mended.
func knownTokens(text string) []token { return slices.Clone(seenKnown(text)) }

// seenKnown returns what knownTokens does, for those who only look.
func seenKnown(text string) []token {
	r := recall(text)
	known := r.known.Load()
	if known == nil {
		ts := slices.Clone(r.plain)
		grammar.know(ts)
		known = &ts
		r.known.Store(known)
	}
	return *known
}
