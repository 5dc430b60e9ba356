package triage

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"

	"skepline/intake"
)

// Lesson is one report of which somebody saw what it was.
type Lesson struct {
	Answers intake.Answers
	Kind    Kind
}

// Learned counts what callers answered about bees that somebody then saw. It is kept apart
// from the judgement of weights.toml: both are mixed when a report is weighed, and without it
// judgement stands alone again. Its JSON form is stable.
//
// Every column of a table is a Dirichlet prior of Weight reports spread as judgement has it,
// and the counts on top; but the counts of a column together never weigh more than Weight, so
// that at least half of every number stays judgement. Not everything may learn: the kind is
// seen only where somebody went, and that is mostly where a swarm was likely. So the season's
// prior does not, nor the shape, on which an offer hangs most: of wasps that somebody drove to
// nearly all had been called a cluster. In the other tables the same bias is weaker, and the
// limit on the counts' weight is there for it.
type Learned struct {
	Schema int                `json:"schema"`
	Weight float64            `json:"weight"` // reports that judgement counts for, in each column
	Seen   map[Kind]int       `json:"seen"`   // reports of each kind
	Counts map[string]columns `json:"counts"` // by table, then by answer: a count for each kind
}

// learning are the tables that learn.
var learning = []string{"body", "surface", "entry", "crowd", "age"}

// columns are one table's counts.
type columns map[string]map[Kind]int

// LearnedWeight is the Weight of new counts: judgement, about a season of a small club.
const LearnedWeight = 50

// NewLearned returns empty counts.
func NewLearned() *Learned {
	return &Learned{Schema: 1, Weight: LearnedWeight, Seen: map[Kind]int{}, Counts: map[string]columns{}}
}

// Add counts one lesson, and Remove takes the same one back. A kind that is none of Kinds
// changes nothing.
func (l *Learned) Add(lesson Lesson) { l.count(lesson, 1) }

// Remove takes back what Add counted.
func (l *Learned) Remove(lesson Lesson) { l.count(lesson, -1) }

func (l *Learned) count(lesson Lesson, by int) {
	if !slices.Contains(Kinds, lesson.Kind) {
		return
	}
	add(l.Seen, lesson.Kind, by)
	for _, f := range tables.facts(lesson.Answers) {
		if !slices.Contains(learning, f.table) {
			continue
		}
		if l.Counts[f.table] == nil {
			l.Counts[f.table] = columns{}
		}
		answers := l.Counts[f.table]
		if answers[f.row.Says] == nil {
			answers[f.row.Says] = map[Kind]int{}
		}
		add(answers[f.row.Says], lesson.Kind, by)
		if len(answers[f.row.Says]) == 0 {
			delete(answers, f.row.Says)
		}
		if len(answers) == 0 {
			delete(l.Counts, f.table)
		}
	}
}

func add(counts map[Kind]int, k Kind, by int) {
	if counts[k] += by; counts[k] == 0 {
		delete(counts, k)
	}
}

// ReadLearned reads counts as Write wrote them.
func ReadLearned(r io.Reader) (*Learned, error) {
	l := NewLearned()
	dec := json.NewDecoder(r)
	dec.DisallowUnknownFields()
	if err := dec.Decode(l); err != nil {
		return nil, fmt.Errorf("learned counts: %w", err)
	}
	return l, l.check()
}

func (l *Learned) check() error {
	if l.Schema != 1 || !(l.Weight >= 1 && l.Weight <= 1e6) {
		return fmt.Errorf("learned counts: schema %d and weight %g; allowed are schema 1 and a weight of 1 to 1000000", l.Schema, l.Weight)
	}
	for name, answers := range l.Counts {
		t := tables.table(name)
		if !slices.Contains(learning, name) {
			return fmt.Errorf("learned counts: there is no table %q that learns; allowed are %v", name, learning)
		}
		for says, counts := range answers {
			if t.row(says) == nil {
				return fmt.Errorf("learned counts: the table %s has no answer %q", name, says)
			}
			for k, n := range counts {
				if !slices.Contains(Kinds, k) || n < 0 {
					return fmt.Errorf("learned counts: %d of kind %q at %s=%s", n, k, name, says)
				}
			}
		}
	}
	return nil
}

// Write writes the counts as JSON for ReadLearned.
func (l *Learned) Write(w io.Writer) error {
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	return out.Encode(l)
}

// Model is the tables that reports are weighed by. The zero Scene uses judgement alone.
type Model struct{ w *weights }

// Model returns judgement with the counts mixed in.
func (l *Learned) Model() *Model {
	mixed := *tables
	for _, name := range learning {
		*mixed.tableAt(name) = l.mix(name, tables.table(name))
		mixed.table(name).temper(mixed.Alpha)
	}
	return &Model{&mixed}
}

// mix returns the posterior means of a table's columns.
func (l *Learned) mix(name string, judged table) table {
	learned := slices.Clone(judged)
	for k, kind := range Kinds {
		var seen, all float64
		for _, r := range judged {
			seen += float64(l.Counts[name][r.Says][kind])
			all += r.P[k]
		}
		if seen == 0 {
			continue
		}
		each := min(1, l.Weight/seen) // what one report counts for
		for i, r := range judged {
			n := float64(l.Counts[name][r.Says][kind])
			// A column that sums to a little over 1, as with a row set beside the table,
			// keeps its sum.
			learned[i].P[k] = all * (l.Weight*r.P[k]/all + each*n) / (l.Weight + each*seen)
		}
	}
	return learned
}

// Moved is one number that the counts changed.
type Moved struct {
	Table, Says string
	Kind        Kind
	Judged, Now float64
	N           int // reports of the kind that answered the table at all
}

// Moves lists the numbers that the counts changed by a factor of at least by, most first.
func (l *Learned) Moves(by float64) []Moved {
	m := l.Model()
	var all []Moved
	for _, name := range learning {
		judged := tables.table(name)
		for k, kind := range Kinds {
			n := 0
			for _, r := range judged {
				n += l.Counts[name][r.Says][kind]
			}
			for i, r := range judged {
				now := m.w.table(name)[i].P[k]
				if ratio := max(now/r.P[k], r.P[k]/now); ratio >= by && n > 0 {
					all = append(all, Moved{name, r.Says, kind, r.P[k], now, n})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Moved) int {
		x, y := max(a.Now/a.Judged, a.Judged/a.Now), max(b.Now/b.Judged, b.Judged/b.Now)
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	return all
}

// Describe prints what was counted and every number that moved by a quarter or more.
func (l *Learned) Describe(w io.Writer) error {
	total := 0
	for _, k := range Kinds {
		total += l.Seen[k]
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	line := func(format string, a ...any) { _, _ = fmt.Fprintf(table, format+"\n", a...) } // Flush tells
	line("%d reports counted; in each column judgement weighs as %g, and never less than half", total, l.Weight)
	for _, k := range Kinds {
		if n := l.Seen[k]; n > 0 {
			line("%s\t%d", k, n)
		}
	}
	line("")
	line("of callers who looked at\tsay\tjudgement\tnow\treports")
	for _, m := range l.Moves(1.25) {
		line("%s\t%s=%s\t%.3f\t%.3f\t%d", m.Kind, m.Table, m.Says, m.Judged, m.Now, m.N)
	}
	return table.Flush()
}
