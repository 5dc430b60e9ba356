package triage

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"skepline/intake"
)

//go:embed weights.toml
var weightsFile string

// tables is weights.toml, read once. A fault in it is ours, and stops the program.
var tables = mustReadWeights(weightsFile)

// weights is everything in weights.toml; what each number means stands there.
type weights struct {
	Alpha   float64
	Body    table
	Shape   table
	Surface table
	Entry   table
	Crowd   table
	Age     table
	Prior   []monthRow
	Season  struct {
		DaysPerDegree     float64 `toml:"days_per_degree"`
		TableLatitude     float64 `toml:"table_latitude"`
		From, To          float64
		WinterMonths      []int   `toml:"winter_months"`
		WinterLatitude    float64 `toml:"winter_latitude"`
		AfricanizedSwarms float64 `toml:"africanized_swarms"`
	}
	Route  routeWeights
	Height struct {
		Ladder     float64
		TooHigh    float64 `toml:"too_high"`
		LeaveAlone float64 `toml:"leave_alone"`
	}
	Urgency struct {
		Now, Today  float64
		ManyStings  int     `toml:"many_stings"`
		GoneWithinH float64 `toml:"gone_within_h"`
		Points      []pointRow
	}
	Stay struct {
		MeanHours  float64 `toml:"mean_hours"`
		ScoutsFrom float64 `toml:"scouts_from"`
		ScoutsTo   float64 `toml:"scouts_to"`
	}
	Sources map[string]string
}

// table is how often each answer to one question is given for each kind.
type table []row

type row struct {
	Says      string
	P         chances
	Source    string
	StandsFor []string `toml:"stands_for"` // surface: the answers that the row covers
	WithGap   []string `toml:"with_gap"`   // surface: covered too, when the shape is gap_traffic
	BelowH    float64  `toml:"below_h"`    // age: the row holds below so many hours

	tempered chances // P to the power alpha
}

type monthRow struct {
	Months  []int
	P       chances
	Reports float64 // of a year's hundred reports, in each of the months
	Source  string
}

type routeWeights struct {
	Ours             float64 `toml:"sum_of_ours_worth_a_question"`
	WorthAsking      float64 `toml:"worth_asking"`
	PhotoFrom        float64 `toml:"photo_from"`
	PhotoBelow       float64 `toml:"photo_below"`
	WaspsWorthLook   float64 `toml:"wasps_worth_a_look"`
	Wasps            float64 `toml:"wasps_worth_advice"`
	StingsEmergency  int     `toml:"stings_emergency"`
	PowerLineSteward bool    `toml:"power_line_needs_steward"`
	Costs            []costRow
	Sights           []sight
	Contradictions   []contradiction
}

// costRow is what one course of action costs when it turns out to be each kind.
type costRow struct {
	Route  Route
	To     group // redirect: whose words the caller gets
	P      chances
	Source string
}

// pattern is a set of answers: each field that lists any must hold one of them.
type pattern struct {
	Shape, Body, Entry, Surface, Crowd []string
	Winter                             bool // and it is winter there
}

func (p pattern) fits(a intake.Answers, winter bool) bool {
	in := func(allowed []string, v string) bool { return len(allowed) == 0 || slices.Contains(allowed, v) }
	return in(p.Shape, a.Shape) && in(p.Body, a.Body) && in(p.Entry, a.Entry) &&
		in(p.Surface, a.Surface) && in(p.Crowd, a.Crowd) && (!p.Winter || winter)
}

// sight is what a thing seen adds to the cost of each route.
type sight struct {
	pattern
	Offer, Specialist, Redirect float64
	Because, Source             string
}

func (s sight) adds(r Route) float64 {
	switch r {
	case RouteOffer:
		return s.Offer
	case RouteSpecialist:
		return s.Specialist
	case RouteRedirect:
		return s.Redirect
	}
	return 0
}

// contradiction is a set of answers that cannot be true together.
type contradiction struct {
	pattern
	Because, Source string
}

type pointRow struct {
	Fact   string
	Points float64
	Source string
}

func mustReadWeights(file string) *weights {
	w, err := readWeights(file)
	if err != nil {
		panic(err)
	}
	return w
}

func readWeights(file string) (*weights, error) {
	var w weights
	meta, err := toml.Decode(file, &w)
	if err != nil {
		return nil, fmt.Errorf("weights.toml: %w", err)
	}
	if extra := meta.Undecoded(); len(extra) > 0 {
		return nil, fmt.Errorf("weights.toml: nobody reads %v", extra)
	}
	for _, t := range w.questions() {
		t.temper(w.Alpha)
	}
	return &w, w.checkSources()
}

// tableNames are the questions' tables, in the order of the file.
var tableNames = []string{"body", "shape", "surface", "entry", "crowd", "age"}

// tableAt returns where the table of a name is kept, nil when there is none.
func (w *weights) tableAt(name string) *table {
	switch name {
	case "body":
		return &w.Body
	case "shape":
		return &w.Shape
	case "surface":
		return &w.Surface
	case "entry":
		return &w.Entry
	case "crowd":
		return &w.Crowd
	case "age":
		return &w.Age
	}
	return nil
}

func (w *weights) table(name string) table {
	if t := w.tableAt(name); t != nil {
		return *t
	}
	return nil
}

// questions lists the tables, for what is done to all of them.
func (w *weights) questions() []table {
	all := make([]table, len(tableNames))
	for i, name := range tableNames {
		all[i] = w.table(name)
	}
	return all
}

func (t table) temper(alpha float64) {
	for i := range t {
		for k, p := range t[i].P {
			t[i].tempered[k] = math.Pow(p, alpha)
		}
	}
}

// row returns the row for an answer, nil when the table has none: it then changes nothing.
func (t table) row(says string) *row {
	i := slices.IndexFunc(t, func(r row) bool { return r.Says == says })
	if i < 0 {
		return nil
	}
	return &t[i]
}

// checkSources reports the first row without a source that [sources] explains. What
// follows a semicolon is a remark.
func (w *weights) checkSources() error {
	for _, sources := range w.rowSources() {
		names, _, _ := strings.Cut(sources, ";")
		for _, name := range strings.Split(names, ",") {
			if w.Sources[strings.TrimSpace(name)] == "" {
				return fmt.Errorf("weights.toml: a row's source is %q; name one of [sources]", sources)
			}
		}
	}
	return nil
}

func (w *weights) rowSources() []string {
	var all []string
	for _, t := range w.questions() {
		for _, r := range t {
			all = append(all, r.Source)
		}
	}
	for _, r := range w.Prior {
		all = append(all, r.Source)
	}
	for _, r := range w.Route.Costs {
		all = append(all, r.Source)
	}
	for _, r := range w.Route.Sights {
		all = append(all, r.Source)
	}
	for _, r := range w.Route.Contradictions {
		all = append(all, r.Source)
	}
	for _, r := range w.Urgency.Points {
		all = append(all, r.Source)
	}
	return all
}
