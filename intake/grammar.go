package intake

import (
	"cmp"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// What callers say, in files named after their language; en.toml explains the format. All languages are
// compiled into one grammar, because people mix them.
//
//go:embed reading/*.toml
var readingFiles embed.FS

var grammar = mustLoadGrammar(readingFiles)

// A class is a set of words that may stand at one spot of a phrase: "ball|clump|lump".
type class int32

// rule says what a phrase means: values of fields, or a word for one of the readers.
type rule struct {
	topic  string // field, "emergency", "command", …
	value  string
	weight int      // of two different values for a field the heavier wins
	asked  Question // counts only when we wait on this question
	shadow bool     // says nothing itself, and hides what it covers
	lang   string
}

// phrases is the compiled grammar: a tree whose edges are classes.
type phrases struct {
	words                                map[string][]class
	classes                              map[string]class             // the text of a set of words -> its class
	edges                                map[edge]int32               // tree of phrases, while it is built
	steps                                [][]step                     // the same by node, by class
	first                                map[int32]map[string][]int32 // by root and word: the nodes behind it
	any, gap                             []int32                      // by node: the node behind one word, or behind up to three; 0 = none
	rules                                [][]int32                    // by node: the rules that end there
	rule                                 []rule
	roots                                map[string]int32 // topic group -> its tree
	sets                                 map[string]map[string]bool
	setIDs                               map[string]int                // a set's name -> its bit
	wordSets                             map[string]*setBits           // a word -> the sets it is in
	attached, nearby, articles, negators int                           // of setIDs
	numbers                              map[string]map[string]float64 // by language
	fixes                                map[string]string             // a misspelling's key -> the word meant
	correct                              map[string]bool               // every word of a set or a number word: nothing to mend
	aliases                              map[string]string             // how thumbs write it -> the word: "q" is "que"
	langs                                []string
}

type edge struct {
	node int32
	by   class
}

// step leads to a node by a class of words.
type step struct {
	by class
	to int32
}

type readingFile struct {
	Sets    map[string]string
	Aliases map[string]string
	Numbers map[string]float64
	Says    []saying
}

type saying struct {
	Means   string
	Weight  *int
	Asked   string
	Tree    string
	Phrases string
}

func mustLoadGrammar(files fs.FS) *phrases {
	g, err := loadGrammar(files)
	if err != nil {
		panic(err)
	}
	return g
}

func loadGrammar(files fs.FS) (*phrases, error) {
	g := &phrases{
		words: map[string][]class{}, classes: map[string]class{}, edges: map[edge]int32{},
		any: []int32{0}, gap: []int32{0}, rules: [][]int32{nil}, roots: map[string]int32{},
		sets: map[string]map[string]bool{}, numbers: map[string]map[string]float64{}, fixes: map[string]string{}, aliases: map[string]string{}, correct: map[string]bool{},
	}
	names, err := fs.Glob(files, "reading/*.toml")
	if err != nil {
		return nil, err
	}
	parsed, langs := make([]readingFile, len(names)), make([]string, len(names))
	for i, name := range names {
		meta, err := toml.DecodeFS(files, name, &parsed[i])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if extra := meta.Undecoded(); len(extra) > 0 {
			return nil, fmt.Errorf("%s: unknown key %s", name, extra[0])
		}
		langs[i], _, _ = strings.Cut(path.Base(name), ".")
		if !slices.Contains(g.langs, langs[i]) {
			g.langs = append(g.langs, langs[i])
		}
		g.addSets(langs[i], parsed[i])
	}
	for i, name := range names {
		for _, s := range parsed[i].Says {
			if err := g.addSaying(langs[i], s); err != nil {
				return nil, fmt.Errorf("%s: %q: %w", name, s.Means, err)
			}
		}
	}
	if most := 64*len(setBits{}) - 1; len(g.sets) > most {
		return nil, fmt.Errorf("%d sets are more than %d: make setBits larger", len(g.sets), most)
	}
	g.addFixes()
	g.pack()
	return g, nil
}

// pack lays the tree out for walking: the few steps of a node in the order of their classes,
// as a word has its own; the many of a root by word.
func (g *phrases) pack() {
	g.steps = make([][]step, len(g.rules))
	for e, to := range g.edges {
		g.steps[e.node] = append(g.steps[e.node], step{e.by, to})
	}
	for _, steps := range g.steps {
		slices.SortFunc(steps, func(a, b step) int { return cmp.Compare(a.by, b.by) })
	}
	g.first = map[int32]map[string][]int32{}
	for _, root := range g.roots {
		g.first[root] = map[string][]int32{}
		for w, classes := range g.words {
			slices.Sort(classes)
			for _, c := range classes {
				if to := g.edges[edge{root, c}]; to != 0 {
					g.first[root][w] = append(g.first[root][w], to)
				}
			}
		}
		g.steps[root] = nil
	}
	g.edges = nil
	g.numberSets()
	g.attached, g.nearby, g.articles, g.negators = g.setIDs["attached"], g.setIDs["nearby"], g.setIDs["articles"], g.setIDs["negators"]
}

func (g *phrases) numberSets() {
	g.setIDs, g.wordSets = map[string]int{}, map[string]*setBits{}
	for name, words := range g.sets {
		id := len(g.setIDs) + 1
		g.setIDs[name] = id
		for w := range words {
			if g.wordSets[w] == nil {
				g.wordSets[w] = &setBits{}
			}
			g.wordSets[w][id/64] |= 1 << (id % 64)
		}
	}
}

// addSets joins a language's sets to those of the same name in the others. The set also
// exists for the language alone, as <name>.<language>.
func (g *phrases) addSets(lang string, f readingFile) {
	for name, list := range f.Sets {
		for _, key := range []string{name, name + "." + lang} {
			if g.sets[key] == nil {
				g.sets[key] = map[string]bool{}
			}
			for _, w := range strings.Fields(list) {
				g.sets[key][foldWord(w)] = true
				g.correct[foldWord(w)] = true
			}
		}
	}
	for short, word := range f.Aliases {
		g.aliases[short] = foldWord(word)
		g.correct[short] = true
	}
	if g.numbers[lang] == nil {
		g.numbers[lang] = map[string]float64{}
	}
	for w, v := range f.Numbers {
		g.numbers[lang][foldWord(w)] = v
		g.correct[foldWord(w)] = true
	}
}

// foldWord folds one word of the grammar as a caller's word is folded.
func foldWord(w string) string {
	if ts := cutTokens(w); len(ts) == 1 {
		return ts[0].text
	}
	return strings.ToLower(w)
}

func (g *phrases) addSaying(lang string, s saying) error {
	var rules []int32
	for _, m := range strings.Fields(s.Means) {
		topic, value, _ := strings.Cut(m, "=")
		r := rule{topic: topic, value: value, weight: 2, asked: Question(s.Asked), shadow: topic == "nothing", lang: lang}
		if s.Weight != nil {
			r.weight = *s.Weight
		}
		g.rule = append(g.rule, r)
		rules = append(rules, int32(len(g.rule)-1))
	}
	if len(rules) == 0 {
		return fmt.Errorf("means nothing")
	}
	root := g.root(s.Tree)
	for line := range strings.Lines(s.Phrases) {
		line, _, _ = strings.Cut(line, "#")
		if strings.TrimSpace(line) == "" {
			continue
		}
		if err := g.addPhrase(root, strings.Fields(line), rules); err != nil {
			return fmt.Errorf("%s: %w", strings.TrimSpace(line), err)
		}
	}
	return nil
}

// root is the first node of a tree; the emergency has its own, so that looking for it
// alone is quick.
func (g *phrases) root(tree string) int32 {
	if _, ok := g.roots[tree]; !ok {
		g.roots[tree] = g.newNode()
	}
	return g.roots[tree]
}

func (g *phrases) newNode() int32 {
	g.any, g.gap, g.rules = append(g.any, 0), append(g.gap, 0), append(g.rules, nil)
	return int32(len(g.rules) - 1)
}

// addPhrase adds a phrase from a node on; a part with "?" is tried with and without.
func (g *phrases) addPhrase(node int32, parts []string, rules []int32) error {
	if len(parts) == 0 {
		g.rules[node] = append(g.rules[node], rules...)
		return nil
	}
	part := parts[0]
	if strings.HasSuffix(part, "?") {
		if err := g.addPhrase(node, parts[1:], rules); err != nil {
			return err
		}
		part = strings.TrimSuffix(part, "?")
	}
	var next int32
	switch part {
	case "_":
		next = g.follow(&g.any, node)
	case "...":
		next = g.follow(&g.gap, node)
	default:
		c, err := g.classOf(part)
		if err != nil {
			return err
		}
		key := edge{node, c}
		if g.edges[key] == 0 {
			n := g.newNode()
			g.edges[key] = n
		}
		next = g.edges[key]
	}
	return g.addPhrase(next, parts[1:], rules)
}

func (g *phrases) follow(list *[]int32, node int32) int32 {
	if (*list)[node] == 0 {
		n := g.newNode()
		(*list)[node] = n
	}
	return (*list)[node]
}

// classOf is the class of "word", "one|other" or "<set>|word".
func (g *phrases) classOf(part string) (class, error) {
	if c, ok := g.classes[part]; ok {
		return c, nil
	}
	var words []string
	for _, w := range strings.Split(part, "|") {
		if !strings.HasPrefix(w, "<") {
			words = append(words, foldWord(w))
			continue
		}
		set := g.sets[strings.Trim(w, "<>")]
		if set == nil {
			return 0, fmt.Errorf("no set %s", w)
		}
		for w := range set {
			words = append(words, w)
		}
	}
	c := class(len(g.classes) + 1)
	g.classes[part] = c
	for _, w := range words {
		if !slices.Contains(g.words[w], c) {
			g.words[w] = append(g.words[w], c)
		}
	}
	return c, nil
}
