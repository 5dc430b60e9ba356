package intake

import (
	"fmt"
	"strings"
	"text/template"
	"text/template/parse"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/feature/plural"
)

// Later is a value that is worked out only when a text names it.
type Later func() string

// wordingText is one text of one language, read once. The library would look for the language
// and run its template for every text that goes out; most texts are words with names between.
type wordingText struct {
	parts []part             // words and names in turn; nil when there is more to it
	form  *template.Template // when there are conditions
	names []string           // the values that it names
	// forms are its other forms by count ("one"), as the language has them.
	forms map[plural.Form]*wordingText
}

// part is some words or the name of a value.
type part struct{ words, name string }

// readText reads one text. Its templates were read by the library before, so they are right.
func readText(m *i18n.Message) (*wordingText, error) {
	t, err := readForm(m.ID, m.Other)
	if err != nil {
		return nil, err
	}
	for form, words := range map[plural.Form]string{plural.Zero: m.Zero, plural.One: m.One, plural.Two: m.Two, plural.Few: m.Few, plural.Many: m.Many} {
		if words == "" {
			continue
		}
		if t.forms == nil {
			t.forms = map[plural.Form]*wordingText{}
		}
		if t.forms[form], err = readForm(m.ID, words); err != nil {
			return nil, err
		}
	}
	return t, nil
}

func readForm(id, words string) (*wordingText, error) {
	form, err := template.New(id).Parse(words)
	if err != nil {
		return nil, err
	}
	t := &wordingText{form: form, parts: partsOf(form)}
	if form.Tree != nil {
		t.name(form.Tree.Root)
	}
	return t, nil
}

// byCount returns the form of t that goes with data's Count.
func (t *wordingText) byCount(language string, data map[string]any) *wordingText {
	n, ok := data["Count"].(int)
	if !ok || t.forms == nil {
		return t
	}
	if form := t.forms[plural.Cardinal.MatchPlural(tags[language], n, 0, 0, 0, 0)]; form != nil {
		return form
	}
	return t
}

// name notes the values that a node names.
func (t *wordingText) name(n parse.Node) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			for _, inner := range n.Nodes {
				t.name(inner)
			}
		}
	case *parse.ActionNode:
		t.name(n.Pipe)
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			for _, arg := range c.Args {
				t.name(arg)
			}
		}
	case *parse.IfNode:
		t.nameBranch(&n.BranchNode)
	case *parse.WithNode:
		t.nameBranch(&n.BranchNode)
	case *parse.FieldNode:
		t.names = append(t.names, n.Ident[0])
	}
}

func (t *wordingText) nameBranch(n *parse.BranchNode) {
	t.name(n.Pipe)
	t.name(n.List)
	t.name(n.ElseList)
}

// partsOf returns a template that is words and names only as such, else nil.
func partsOf(form *template.Template) []part {
	if form.Tree == nil {
		return nil
	}
	var parts []part
	for _, n := range form.Tree.Root.Nodes {
		switch n := n.(type) {
		case *parse.TextNode:
			parts = append(parts, part{words: string(n.Text)})
		case *parse.ActionNode:
			name := plainName(n)
			if name == "" {
				return nil
			}
			parts = append(parts, part{name: name})
		default:
			return nil
		}
	}
	return parts
}

// plainName returns the name in {{.Name}}, "" for anything else between braces.
func plainName(n *parse.ActionNode) string {
	if len(n.Pipe.Decl) == 0 && len(n.Pipe.Cmds) == 1 && len(n.Pipe.Cmds[0].Args) == 1 {
		if f, ok := n.Pipe.Cmds[0].Args[0].(*parse.FieldNode); ok && len(f.Ident) == 1 {
			return f.Ident[0]
		}
	}
	return ""
}

// given are the values for a text: its own, and those that every text may name.
type given [2]map[string]any

func (g given) of(name string) any {
	if v, ok := g[0][name]; ok {
		return v
	}
	return g[1][name]
}

// fill returns the text with data in it.
func (t *wordingText) fill(data given) string {
	if len(t.parts) == 1 && t.parts[0].name == "" {
		return t.parts[0].words
	}
	var b strings.Builder
	if t.parts == nil {
		if err := t.form.Execute(&b, t.settled(data)); err != nil {
			return "" // a condition that compares what cannot be compared: a mistake of ours
		}
		return b.String()
	}
	for _, p := range t.parts {
		if p.name == "" {
			b.WriteString(p.words)
			continue
		}
		switch v := data.of(p.name).(type) {
		case nil:
			b.WriteString("<no value>") // as text/template has it; a test looks for it
		case string:
			b.WriteString(v)
		case Later:
			b.WriteString(v())
		default:
			fmt.Fprint(&b, v)
		}
	}
	return b.String()
}

// settled works the values out that the text names.
func (t *wordingText) settled(data given) map[string]any {
	settled := make(map[string]any, len(t.names))
	for _, name := range t.names {
		switch v := data.of(name).(type) {
		case nil:
		case Later:
			settled[name] = v()
		default:
			settled[name] = v
		}
	}
	return settled
}
