package intake

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Answers is what a caller has told us about the bees. Its JSON form is stable:
// other programs may keep it. An empty string, a nil pointer or a nil slice means
// "not asked or not understood"; "unsure" and "unknown" are real answers.
type Answers struct {
	Body     string   `json:"body,omitempty"`     // one of BodyValues
	Shape    string   `json:"shape,omitempty"`    // one of ShapeValues
	Surface  string   `json:"surface,omitempty"`  // one of SurfaceValues
	Crowd    string   `json:"crowd,omitempty"`    // one of CrowdValues
	HeightM  *float64 `json:"height_m,omitempty"` // metres above the ground, 0 to 100
	AgeH     *float64 `json:"age_h,omitempty"`    // hours since the bees were first seen there
	Stings   *int     `json:"stings,omitempty"`   // how many stings, all people together
	Stung    string   `json:"stung,omitempty"`    // one of StungValues
	Allergic string   `json:"allergic,omitempty"` // one of YesNoValues
	Hazards  []string `json:"hazards,omitempty"`  // each one of HazardValues
	Place    *Place   `json:"place,omitempty"`    // where the bees are
	Owner    string   `json:"owner,omitempty"`    // one of YesNoValues: is it the caller's own property?
	Name     string   `json:"name,omitempty"`     // the caller's first name
	Access   string   `json:"access,omitempty"`   // gates, dogs, in the caller's words
	Entry    string   `json:"entry,omitempty"`    // one of EntryValues
	Month    int      `json:"month,omitempty"`    // 1 to 12, the local month of the report
	Latitude *float64 `json:"latitude,omitempty"` // degrees north, for the season
}

// Place is where the bees are: always a point, with an honest precision, and the
// caller's own words where there were any.
type Place struct {
	Lat        float64 `json:"lat"`            // degrees north
	Lon        float64 `json:"lon"`            // degrees east
	Text       string  `json:"text,omitempty"` // as the caller said it
	PrecisionM float64 `json:"precision_m"`    // radius in metres within which the bees are
}

// InWordsOnly is the precision, in metres, from which on a place is no better than its
// words: its point is then the hotline's centre and its distance is not to be shown.
const InWordsOnly = 3000

// The values that each closed field of Answers may take, in the order of the design.
var (
	BodyValues    = []string{"fuzzy_brown", "big_furry", "shiny_yellow", "black_white", "slender", "unsure"}
	ShapeValues   = []string{"hanging_cluster", "wax_comb", "paper_ball", "open_umbrella", "wood_holes", "soil_holes", "gap_traffic", "flying_cloud", "no_nest", "unsure"}
	SurfaceValues = []string{"branch", "shrub", "fence", "wall", "post", "vehicle", "ground", "eave", "cavity", "bare_wood", "flowers", "other", "unsure"}
	CrowdValues   = []string{"under_10", "tens", "hundreds", "thousands", "unsure"}
	StungValues   = []string{"none", "someone", "trouble_breathing"}
	YesNoValues   = []string{"yes", "no", "unknown"}
	HazardValues  = []string{"power_line", "road", "roof", "water", "indoors", "blocked_door", "children", "crowd"}
	EntryValues   = []string{"one_hole", "many_holes", "no_hole", "unsure"}
)

// ReadAnswers reads one JSON object of Answers and refuses unknown fields and values
// with a sentence that says what is allowed.
func ReadAnswers(r io.Reader) (Answers, error) {
	var a Answers
	dec := json.NewDecoder(r)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&a); err != nil {
		return Answers{}, fmt.Errorf("read answers: %w", err)
	}
	if err := a.Validate(); err != nil {
		return Answers{}, err
	}
	return a, nil
}

// Validate reports the first field whose value is not allowed, and what is.
func (a Answers) Validate() error {
	for _, f := range []struct {
		name, value string
		allowed     []string
	}{
		{"body", a.Body, BodyValues}, {"shape", a.Shape, ShapeValues}, {"surface", a.Surface, SurfaceValues},
		{"crowd", a.Crowd, CrowdValues}, {"stung", a.Stung, StungValues}, {"allergic", a.Allergic, YesNoValues},
		{"owner", a.Owner, YesNoValues}, {"entry", a.Entry, EntryValues},
	} {
		if f.value != "" && !slices.Contains(f.allowed, f.value) {
			return fmt.Errorf("answers: %s cannot be %q; allowed are %s", f.name, f.value, strings.Join(f.allowed, ", "))
		}
	}
	for _, h := range a.Hazards {
		if !slices.Contains(HazardValues, h) {
			return fmt.Errorf("answers: hazards cannot hold %q; allowed are %s", h, strings.Join(HazardValues, ", "))
		}
	}
	return a.validateNumbers()
}

func (a Answers) validateNumbers() error {
	between := func(name string, v *float64, low, high float64) error {
		if v != nil && (math.IsNaN(*v) || *v < low || *v > high) {
			return fmt.Errorf("answers: %s is %g; allowed are %g to %g", name, *v, low, high)
		}
		return nil
	}
	for _, err := range []error{
		between("height_m", a.HeightM, 0, 100),
		between("age_h", a.AgeH, 0, 24*366),
		between("latitude", a.Latitude, -90, 90),
	} {
		if err != nil {
			return err
		}
	}
	if a.Stings != nil && (*a.Stings < 0 || *a.Stings > 100000) {
		return fmt.Errorf("answers: stings is %d; allowed are 0 to 100000", *a.Stings)
	}
	if a.Month < 0 || a.Month > 12 {
		return fmt.Errorf("answers: month is %d; allowed are 1 to 12", a.Month)
	}
	if p := a.Place; p != nil {
		if math.Abs(p.Lat) > 90 || math.Abs(p.Lon) > 180 || p.PrecisionM < 0 {
			return fmt.Errorf("answers: place is not on earth: lat %g, lon %g, precision_m %g", p.Lat, p.Lon, p.PrecisionM)
		}
	}
	return nil
}

// Has reports whether hazard h was named.
func (a Answers) Has(h string) bool { return slices.Contains(a.Hazards, h) }

// WithHazards returns a with the named hazards added, each once, in the design's order.
func (a Answers) WithHazards(more ...string) Answers {
	var all []string
	for _, h := range HazardValues {
		if slices.Contains(a.Hazards, h) || slices.Contains(more, h) {
			all = append(all, h)
		}
	}
	a.Hazards = all
	return a
}

// clone returns a with nothing in common that could be changed.
func (a Answers) clone() Answers {
	a.HeightM, a.AgeH, a.Latitude, a.Stings, a.Place = copied(a.HeightM), copied(a.AgeH), copied(a.Latitude), copied(a.Stings), copied(a.Place)
	a.Hazards = slices.Clone(a.Hazards)
	return a
}

func copied[T any](p *T) *T {
	if p == nil {
		return nil
	}
	v := *p
	return &v
}

// Merge returns a with every field that newer tells laid over it. Hazards add up.
func (a Answers) Merge(newer Answers) Answers {
	lay := func(old *string, v string) {
		if v != "" {
			*old = v
		}
	}
	lay(&a.Body, newer.Body)
	lay(&a.Shape, newer.Shape)
	lay(&a.Surface, newer.Surface)
	lay(&a.Crowd, newer.Crowd)
	lay(&a.Stung, newer.Stung)
	lay(&a.Allergic, newer.Allergic)
	lay(&a.Owner, newer.Owner)
	lay(&a.Name, newer.Name)
	lay(&a.Access, newer.Access)
	lay(&a.Entry, newer.Entry)
	if newer.HeightM != nil {
		a.HeightM = newer.HeightM
	}
	if newer.AgeH != nil {
		a.AgeH = newer.AgeH
	}
	if newer.Stings != nil {
		a.Stings = newer.Stings
	}
	if newer.Place != nil {
		a.Place = newer.Place
	}
	if newer.Month != 0 {
		a.Month = newer.Month
	}
	if newer.Latitude != nil {
		a.Latitude = newer.Latitude
	}
	return a.WithHazards(newer.Hazards...)
}
