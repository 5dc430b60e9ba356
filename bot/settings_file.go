package bot

import (
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"

	"skepline/notify"

	"skepline/triage"
)

// builtIn is the invented hotline that runs when no file is named. It doubles as the
// example that shows every key.
//
//go:embed hotline.toml
var builtIn []byte

// DefaultSettings returns the built-in, invented hotline of Quillbrook County.
func DefaultSettings() *Settings {
	s, err := ReadSettings("the built-in hotline.toml", builtIn)
	if err != nil {
		panic(err) // a test reads it, so this is a broken build
	}
	return s
}

// LoadSettings reads the hotline.toml at path; "" stands for the built-in one.
func LoadSettings(path string) (*Settings, error) {
	if path == "" {
		return DefaultSettings(), nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the settings: %w", err)
	}
	s, err := ReadSettings(path, data)
	if err != nil || s.Learned == "" {
		return s, err
	}
	return s, s.learn(filepath.Join(filepath.Dir(path), s.Learned))
}

// learn reads the counts that the club adopted.
func (s *Settings) learn(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("key learned names a file that cannot be read: %w", err)
	}
	learned, err := triage.ReadLearned(file)
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	s.model = learned.Model()
	return nil
}

// ReadSettings reads a hotline.toml. Its error joins every fault, each one sentence that
// begins with name and the line, and says what is allowed.
func ReadSettings(name string, data []byte) (*Settings, error) {
	table := map[string]any{}
	if err := toml.Unmarshal(data, &table); err != nil {
		return nil, notTOML(name, err)
	}
	f := settingsFile{name: name, lines: linesOfKeys(data)}
	s := &Settings{
		Hours:     Hours{QuietFrom: "21:00", QuietTo: "07:00"},
		Dispatch:  Dispatch{Pace: "normal", First: 4, Next: 4, EveryMinutes: 5},
		Travel:    Travel{Detour: notify.DefaultTravel().Detour, KmH: notify.DefaultTravel().KmH},
		Limits:    Limits{TextsIn10Minutes: 6, TextsADay: 30, SegmentsADay: 1500, SafetyReserve: 150, NewInBlock: 40},
		Retention: Retention{Days: defaultRetention},
	}
	f.readTables(s, table)
	if s.Tag == "" {
		s.Tag = tagOf(s.Name)
	}
	f.checkValues(s)
	if err := f.err(); err != nil {
		return nil, err
	}
	return s, s.Validate()
}

func notTOML(name string, err error) error {
	var at toml.ParseError
	if errors.As(err, &at) {
		return fmt.Errorf("%s:%d: this line is not TOML: %s; write key = value or [table]", name, at.Position.Line, at.Message)
	}
	return fmt.Errorf("%s: %w", name, err)
}

// settingsFile is one file being read: where its keys stand and what is wrong with them.
type settingsFile struct {
	name   string
	lines  map[string]int // "limits.texts_a_day", "referrals[1].phone" -> line, from 1
	faults []settingsFault
}

// settingsFault is one wrong key. Line 0 stands for a key that is not in the file.
type settingsFault struct {
	path string
	line int
	text string
}

func (f *settingsFile) fault(path, format string, a ...any) {
	f.faults = append(f.faults, settingsFault{path, f.lines[path], fmt.Sprintf(format, a...)})
}

// err joins the faults in the order of their lines; what is missing comes last.
func (f *settingsFile) err() error {
	slices.SortStableFunc(f.faults, func(a, b settingsFault) int {
		if (a.line == 0) != (b.line == 0) {
			return b.line - a.line
		}
		return a.line - b.line
	})
	var errs []error
	for _, fault := range f.faults {
		place := f.name
		if fault.line > 0 {
			place += ":" + itoa(fault.line)
		}
		errs = append(errs, fmt.Errorf("%s: %s", place, fault.text))
	}
	return errors.Join(errs...)
}

func (f *settingsFile) readTables(s *Settings, root map[string]any) {
	tables := []string{"referrals", "neighbours", "places", "map", "hours", "dispatch", "travel", "limits", "rates", "retention", "audit"}
	readTable(f, "", root, s, settingsKeys, tables)
	for i, entry := range f.list("referrals", root) {
		s.Referrals = append(s.Referrals, Referral{})
		readTable(f, fmt.Sprintf("referrals[%d].", i), entry, &s.Referrals[i], referralKeys, nil)
	}
	for i, entry := range f.list("neighbours", root) {
		s.Neighbours = append(s.Neighbours, Neighbour{})
		readTable(f, fmt.Sprintf("neighbours[%d].", i), entry, &s.Neighbours[i], neighbourKeys, nil)
	}
	readTable(f, "places.", f.table("places", root), &s.Places, placesKeys, nil)
	readTable(f, "map.", f.table("map", root), &s.Map, mapKeys, nil)
	readTable(f, "hours.", f.table("hours", root), &s.Hours, hoursKeys, nil)
	readTable(f, "dispatch.", f.table("dispatch", root), &s.Dispatch, dispatchKeys, nil)
	readTable(f, "travel.", f.table("travel", root), &s.Travel, travelKeys, nil)
	readTable(f, "limits.", f.table("limits", root), &s.Limits, limitsKeys, nil)
	readTable(f, "rates.", f.table("rates", root), &s.Rates, ratesKeys, nil)
	readTable(f, "retention.", f.table("retention", root), &s.Retention, retentionKeys, nil)
	readTable(f, "audit.", f.table("audit", root), &s.Audit, auditKeys, nil)
}

func (f *settingsFile) table(name string, root map[string]any) map[string]any {
	value, there := root[name]
	table, ok := value.(map[string]any)
	if there && !ok {
		f.fault(name, "key %s is not a table; allowed is [%s] on a line of its own, its keys below", name, name)
	}
	return table
}

func (f *settingsFile) list(name string, root map[string]any) []map[string]any {
	value, there := root[name]
	list, ok := value.([]map[string]any)
	if there && !ok {
		f.fault(name, "key %s is not a list of tables; allowed is [[%s]] on a line of its own, once an entry", name, name)
	}
	return list
}

// readTable fills into from table by keys; tables are further names that may stand in it.
// Reported here are unknown keys, missing ones and values of another type.
func readTable[T any](f *settingsFile, path string, table map[string]any, into *T, keys []settingsKey[T], tables []string) {
	known := slices.Clone(tables)
	for _, k := range keys {
		known = append(known, k.name)
		value, there := table[k.name]
		switch {
		case !there && k.must:
			f.fault(path+k.name, "key %s is missing; allowed is %s", path+k.name, k.allowed)
		case there && !assign(k.field(into), value):
			f.fault(path+k.name, "key %s is %s; allowed is %s", path+k.name, typeOf(value), k.allowed)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(table)) {
		if !slices.Contains(known, name) {
			f.fault(path+name, "key %s is unknown; allowed here are %s", path+name, strings.Join(known, ", "))
		}
	}
}

// checkValues reports values of the right type that are not allowed, unless their key has
// been reported already.
func (f *settingsFile) checkValues(s *Settings) {
	told := map[string]bool{}
	for _, fault := range f.faults {
		told[fault.path] = true
	}
	for _, w := range s.wrong() {
		if !told[w.path] {
			f.fault(w.path, "%s", w.text)
		}
	}
}

// assign puts a TOML value where into points and reports whether its type fits. A whole
// number may stand where a fraction may.
func assign(into, value any) bool {
	switch into := into.(type) {
	case *string:
		v, ok := value.(string)
		*into = v
		return ok
	case *float64:
		if v, ok := value.(int64); ok {
			*into = float64(v)
			return true
		}
		v, ok := value.(float64)
		*into = v
		return ok
	case *int:
		v, ok := value.(int64)
		*into = int(v)
		return ok
	case *bool:
		v, ok := value.(bool)
		*into = v
		return ok
	case *[]string:
		return assignList(into, value)
	}
	return false
}

func assignList(into *[]string, value any) bool {
	list, ok := value.([]any)
	if !ok {
		return false
	}
	*into = make([]string, 0, len(list))
	for _, v := range list {
		s, ok := v.(string)
		if !ok {
			return false
		}
		*into = append(*into, s)
	}
	return true
}

// typeOf says what a value is. It never repeats it: a steward's number may stand there.
func typeOf(value any) string {
	switch value.(type) {
	case string:
		return "a text"
	case int64:
		return "a whole number"
	case float64:
		return "a number with a fraction"
	case bool:
		return "true or false"
	case []any, []map[string]any:
		return "a list of other things"
	case map[string]any:
		return "a table"
	}
	return "a time"
}

// linesOfKeys finds the line on which each key of a TOML file stands, by its first
// appearance. It reads headers and the beginnings of lines only, which is how people write
// these files; a key it does not find is reported without a line.
func linesOfKeys(data []byte) map[string]int {
	lines, entries, path := map[string]int{}, map[string]int{}, ""
	note := func(key string, line int) {
		if _, known := lines[key]; !known {
			lines[key] = line
		}
	}
	for i, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "[["):
			name := headerName(line)
			note(name, i+1)
			entry := fmt.Sprintf("%s[%d]", name, entries[name])
			note(entry, i+1)
			path = entry + "."
			entries[name]++
		case strings.HasPrefix(line, "["):
			name := headerName(line)
			note(name, i+1)
			path = name + "."
		default:
			if key, _, found := strings.Cut(line, "="); found {
				note(path+strings.Trim(strings.TrimSpace(key), `"'`), i+1)
			}
		}
	}
	return lines
}

func headerName(line string) string {
	name, _, _ := strings.Cut(strings.TrimLeft(line, "["), "]")
	return strings.TrimSpace(name)
}
