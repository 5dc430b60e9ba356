package notify

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"skepline/intake"
)

// The columns of a roster file: the first nine must be there, in any order.
var (
	rosterColumns   = []string{"name", "address", "lat", "lon", "reach_km", "max_height_m", "skills", "hours", "language"}
	optionalColumns = []string{"jobs_a_day", "also"}
	allSkills       = []Skill{Ladder, Cutout, Suit}
)

// ReadRoster reads a roster file: CSV with a header line,
//
//	name,address,lat,lon,reach_km,max_height_m,skills,hours,language,jobs_a_day,also
//	Ada,telegram:5550101,42.451,-76.482,15,4,ladder;suit,Mo-Fr 17:00-21:00,en,2,sms:+16075550101
//	Bram,,42.44,-76.5,25,2.5,,,,,
//
// An empty address is somebody to be invited; empty hours are always; an empty jobs_a_day
// is DefaultJobsADay; also is a second address, used when the first does not work. Each catcher gets an id made from the name. The error names every
// fault with its line, all at once; it never holds an address in full.
func ReadRoster(r io.Reader) ([]Catcher, error) {
	file := csv.NewReader(skipBOM(r))
	file.FieldsPerRecord = -1
	file.TrimLeadingSpace = true
	header, err := file.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("the roster is empty; its first line must be %s", strings.Join(rosterColumns, ","))
	}
	if err != nil {
		return nil, fmt.Errorf("read roster: %w", err)
	}
	column, err := readHeader(header)
	if err != nil {
		return nil, err
	}
	return readRows(file, column, len(header))
}

func skipBOM(r io.Reader) io.Reader {
	mark := make([]byte, 3)
	n, _ := io.ReadFull(r, mark)
	if string(mark[:n]) == "\ufeff" {
		return r
	}
	return io.MultiReader(strings.NewReader(string(mark[:n])), r)
}

// readHeader returns where each column stands.
func readHeader(header []string) (column map[string]int, err error) {
	if len(header) == 1 && strings.Contains(header[0], ";") {
		return nil, errors.New("line 1: the columns must be separated by commas, not semicolons")
	}
	var faults []error
	column = map[string]int{}
	for i, name := range header {
		name = strings.ToLower(strings.TrimSpace(name))
		switch _, twice := column[name]; {
		case twice:
			faults = append(faults, fmt.Errorf("line 1: the column %q is there twice", name))
		case !slices.Contains(rosterColumns, name) && !slices.Contains(optionalColumns, name):
			faults = append(faults, fmt.Errorf("line 1: there is no column %q; the columns are %s and, if you like, %s",
				name, strings.Join(rosterColumns, ","), strings.Join(optionalColumns, ",")))
		}
		column[name] = i
	}
	for _, name := range rosterColumns {
		if _, ok := column[name]; !ok {
			faults = append(faults, fmt.Errorf("line 1: the column %q is missing", name))
		}
	}
	return column, errors.Join(faults...)
}

func readRows(file *csv.Reader, column map[string]int, width int) ([]Catcher, error) {
	var (
		roster []Catcher
		faults []error
		seen   = map[string]int{} // a name or address to its line
	)
	for {
		fields, err := file.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil { // a quote out of place: what follows cannot be told apart
			faults = append(faults, fmt.Errorf("read roster: %w", err))
			break
		}
		row := rosterRow{fields: fields, column: column}
		row.line, _ = file.FieldPos(0)
		if row.empty() {
			continue
		}
		if len(fields) != width {
			row.fault("has %d fields where the header has %d; is a text with a comma missing its quotes?", len(fields), width)
		} else {
			roster = append(roster, row.catcher(seen))
		}
		faults = append(faults, row.faults...)
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	withIDs(roster)
	return roster, nil
}

func withIDs(roster []Catcher) {
	taken := map[string]bool{}
	for i := range roster {
		roster[i].ID = CatcherID(roster[i].Name, func(id string) bool { return taken[id] })
		taken[roster[i].ID] = true
	}
}

// maxName is the longest first name, in letters: it stands in texts of one SMS.
const maxName = 30

// rosterRow is one line being read; what is wrong with it gathers in faults.
type rosterRow struct {
	line   int
	fields []string
	column map[string]int
	faults []error
}

func (r *rosterRow) fault(format string, args ...any) {
	r.faults = append(r.faults, fmt.Errorf("line %d: %s", r.line, fmt.Sprintf(format, args...)))
}

func (r *rosterRow) empty() bool {
	return !slices.ContainsFunc(r.fields, func(f string) bool { return strings.TrimSpace(f) != "" })
}

func (r *rosterRow) text(name string) string {
	i, ok := r.column[name]
	if !ok {
		return ""
	}
	return strings.TrimSpace(r.fields[i])
}

func (r *rosterRow) number(name string, low, high float64) float64 {
	v, err := strconv.ParseFloat(r.text(name), 64)
	if err != nil || !(low <= v && v <= high) {
		r.fault("%s is %q; write a number from %g to %g", name, r.text(name), low, high)
		return 0
	}
	return v
}

func (r *rosterRow) catcher(seen map[string]int) Catcher {
	c := Catcher{
		Name:       r.text("name"),
		Address:    r.address("address"),
		Also:       r.address("also"),
		Lat:        r.number("lat", -90, 90),
		Lon:        r.number("lon", -180, 180),
		ReachKm:    r.number("reach_km", 0.1, 500),
		MaxHeightM: r.number("max_height_m", 0, 30),
		Skills:     r.skills(),
		Hours:      r.text("hours"),
		Language:   r.text("language"),
		JobsADay:   DefaultJobsADay,
	}
	switch {
	case c.Name == "":
		r.fault("name is empty; write the first name that others may read")
	case utf8.RuneCountInString(c.Name) > maxName || strings.ContainsFunc(c.Name, unicode.IsControl):
		r.fault("name must be one line of at most %d letters", maxName)
	}
	if r.text("jobs_a_day") != "" {
		c.JobsADay = int(r.number("jobs_a_day", 1, 20))
	}
	if _, err := ParseHours(c.Hours); err != nil {
		r.fault("hours: %v", err)
	}
	if c.Language != "" && !slices.Contains(intake.Languages(), c.Language) {
		r.fault("language is %q; the languages are %s", c.Language, strings.Join(intake.Languages(), ", "))
	}
	r.notTwice(seen, "name", strings.ToLower(c.Name), c.Name+"; add a letter to tell them apart")
	r.notTwice(seen, "address", string(c.Address), c.Address.Hint())
	r.notTwice(seen, "address", string(c.Also), c.Also.Hint())
	return c
}

// address reads the address without ParseAddress's error, which holds what was written:
// that may be somebody's number.
func (r *rosterRow) address(column string) Address {
	text := r.text(column)
	if text == "" {
		return ""
	}
	a, err := ParseAddress(text)
	if err != nil {
		r.fault("%s: write sms:+16075550142, whatsapp:+16075550142, telegram:12345678, or nothing to invite them", column)
	}
	return a
}

func (r *rosterRow) skills() []Skill {
	var skills []Skill
	for word := range strings.SplitSeq(r.text("skills"), ";") {
		skill := Skill(strings.ToLower(strings.TrimSpace(word)))
		switch {
		case skill == "":
		case !slices.Contains(allSkills, skill):
			r.fault("skills cannot hold %q; write %s, with semicolons between", skill, joinSkills(allSkills))
		case !slices.Contains(skills, skill):
			skills = append(skills, skill)
		}
	}
	return skills
}

func (r *rosterRow) notTwice(seen map[string]int, what, key, shown string) {
	if key == "" {
		return
	}
	if before, ok := seen[what+" "+key]; ok {
		r.fault("the %s is on line %d already: %s", what, before, shown)
		return
	}
	seen[what+" "+key] = r.line
}

// WriteRoster writes a roster file that ReadRoster reads back. Ids are left out: they follow
// from the names.
func WriteRoster(w io.Writer, roster []Catcher) error {
	file := csv.NewWriter(w)
	rows := [][]string{slices.Concat(rosterColumns, optionalColumns)}
	for _, c := range roster {
		number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
		rows = append(rows, []string{
			c.Name, string(c.Address), number(c.Lat), number(c.Lon), number(c.ReachKm), number(c.MaxHeightM),
			joinSkills(c.Skills), c.Hours, c.Language, strconv.Itoa(c.JobsADay), string(c.Also),
		})
	}
	if err := file.WriteAll(rows); err != nil {
		return fmt.Errorf("write roster: %w", err)
	}
	return nil
}

func joinSkills(skills []Skill) string {
	words := make([]string, len(skills))
	for i, s := range skills {
		words[i] = string(s)
	}
	return strings.Join(words, ";")
}

// CatcherID makes an id from a name: "Ada" is "ada", "José Luis" is "jose-luis", and when
// that is taken "ada-2", "ada-3". Ids are typed by stewards, so they are short and plain:
// letters a to z, digits and dashes, at most 24.
func CatcherID(name string, taken func(id string) bool) string {
	var b strings.Builder
	for _, r := range strings.ToLower(norm.NFD.String(name)) {
		switch {
		case r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)):
			b.WriteRune(r)
		case !unicode.Is(unicode.Mn, r) && b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 20 {
			break
		}
	}
	stem := strings.Trim(b.String(), "-")
	if stem == "" {
		stem = "catcher"
	}
	id := stem
	for n := 2; taken(id); n++ {
		id = stem + "-" + strconv.Itoa(n)
	}
	return id
}
