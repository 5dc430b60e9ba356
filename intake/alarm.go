package intake

import (
	_ "embed"
	"hash/fnv"
	"math"
	"slices"
)

// The rules say what is an emergency and why, but frightened people never run out of words. So
// a second ear listens for what the rules do not list: it weighs pieces of words, as learned
// from the texts of testdata/utterances (logistic regression on hashed n-grams; K. Weinberger
// et al., Feature Hashing for Large Scale Multitask Learning, 2009). It only adds alarms.

// alarmWeights are written by TestAlarmWeights: what a piece speaks for the alarm, in steps
// of alarmStep, for words and pairs of words first and for pieces of words behind them; the
// last byte is what a text without any would weigh.
//
//go:embed reading/alarm.weights
var alarmWeights []byte

const (
	alarmBits = 15   // of the hash of a piece
	alarmStep = 0.05 // log-odds
	alarmFrom = 4    // words: of what is shorter the rules know nearly all that there is
)

// Log-odds from which a text is an alarm: an alarm too many costs a text. Judgement, by what
// sets that were left out of the learning one after the other, and those kept, gave at others.
const (
	alarmBar      = -0.8
	alarmBare     = 1.0 // of a text that is short or names nobody: it may be like others by a word
	alarmSure     = 0.2 // where the rules found signs, all denied
	alarmAllergic = 2.0 // of who answers whether anybody is allergic
)

// piece is one hashed piece of a text and the token that it ends in.
type piece struct{ hash, token int32 }

// pieces returns the words and pairs of words of a text, and the pieces of three to five
// letters of its words with their borders, each once.
func pieces(ts []token) (words, letters []piece) {
	seen := make(map[int32]bool, 8*len(ts))
	add := func(list []piece, kind int32, token int, parts ...string) []piece {
		h := fnv.New32a()
		for _, p := range parts {
			_, _ = h.Write([]byte(p)) // a hash takes everything
			_, _ = h.Write([]byte{0})
		}
		key := int32(h.Sum32()&(1<<alarmBits-1)) + kind<<alarmBits
		if seen[key] {
			return list
		}
		seen[key] = true
		return append(list, piece{key, int32(token)})
	}
	before := ""
	for i, t := range ts {
		if t.kind != aWord && t.kind != aNumber && t.kind != anEmoji {
			continue
		}
		words = add(words, 0, i, t.text)
		if before != "" {
			words = add(words, 0, i, before, t.text)
		}
		before = t.text
		bordered := " " + t.text + " "
		for n := 3; n <= 5; n++ {
			for at := 0; at+n <= len(bordered); at++ {
				letters = add(letters, 1, i, bordered[at:at+n])
			}
		}
	}
	return words, letters
}

// alarming weighs a text. It returns by how much it speaks for an emergency, in log-odds, and
// the token that speaks most.
func alarming(ts []token) (odds float64, most int) {
	words, letters := pieces(ts)
	said := make([]float64, len(ts))
	odds = alarmWeight(len(alarmWeights) - 1)
	for _, list := range [][]piece{words, letters} {
		for _, p := range list {
			w := alarmWeight(int(p.hash)) / math.Sqrt(float64(len(list)))
			odds += w
			said[p.token] += w
		}
	}
	for i := range said {
		if said[i] > said[most] {
			most = i
		}
	}
	return odds, most
}

// bare reports whether a text is short or has no word for somebody, a part of them, a sting or
// what follows one.
func bare(ts []token) bool {
	return wordsIn(ts) < alarmFrom || !slices.ContainsFunc(ts, ofSomebody)
}

func alarmWeight(at int) float64 { return float64(int8(alarmWeights[at])) * alarmStep }

// ofSomebody reports whether a word names somebody, a part of them, a sting or what follows one.
func ofSomebody(t token) bool {
	for _, set := range []string{"human", "patient", "person", "limb", "inner", "stinging", "signs", "allergy"} {
		if t.in(set) {
			return true
		}
	}
	return false
}

func wordsIn(ts []token) (n int) {
	for _, t := range ts {
		if t.kind <= aNumber {
			n++
		}
	}
	return n
}
