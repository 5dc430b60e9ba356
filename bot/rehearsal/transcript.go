package rehearsal

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// Transcript is a rehearsal on paper: one act a line.
type Transcript struct {
	Name  string    // where it came from, for messages
	start time.Time // wall clock at the hotline, written as if in UTC
	acts  []act
	text  []string // its lines as they were
}

// someTuesday is when a transcript without a clock line begins: in the middle of the season.
var someTuesday = time.Date(2026, time.May, 12, 14, 5, 0, 0, time.UTC)

// act is one line that does or expects something. The set is closed: perform has one case
// for each.
type act interface{ lineNo() int }

type (
	at int // the number of the line, from 1

	meetPhone struct {
		at
		owner person
	}
	meetCatcher struct {
		at
		owner   person
		catcher notify.Catcher
	}
	meetSteward struct {
		at
		owner person
	}
	says struct {
		at
		who, text string
	}
	taps struct {
		at
		who, label string
	}
	pins struct {
		at
		who   string
		point bot.Point
	}
	sendsPhoto struct {
		at
		who, caption string
	}
	// sendsCard is a contact card with one line of content: "GEO:42.446;-76.490".
	sendsCard struct {
		at
		who, line string
	}
	rings struct {
		at
		who string
	}
	// charts is a place that the rehearsal's map server knows.
	charts struct {
		at
		point bot.Point
		words string
	}
	later struct {
		at
		by time.Duration
	}
	// expects is a line that begins with <, or "edited <~".
	expects struct {
		at
		who  string
		kind expectation
		text string
	}
)

// expectation says how a text is looked for.
type expectation string

const (
	next   expectation = "<"         // the next waiting message, whole
	some   expectation = "<~"        // the first waiting message that contains it
	none   expectation = "<!"        // no waiting message contains it
	edited expectation = "edited <~" // the first edit not yet looked at that contains it
)

func (a at) lineNo() int { return int(a) }

// usage is the answer to a line nobody understands.
const usage = `allowed are: "clock 2026-05-12 14:05", "phone NAME CHANNEL [NUMBER]", ` +
	`"catcher NAME CHANNEL [NUMBER] LAT,LON [reach KM] [height M] [skills a;b] [jobs N] [lang es] [hours …]", "steward NAME CHANNEL [NUMBER]", ` +
	`"later 25m", "map LAT,LON words", "NAME > text", "NAME < text", "NAME <~ text", "NAME <! text", "NAME edited <~ text", "NAME taps LABEL", ` +
	`"NAME pins LAT,LON", "NAME photo [text]", "NAME card GEO:LAT;LON", "NAME rings" and "# comment"`

// Parse reads a transcript. Its error joins one sentence for each wrong line: its number,
// what is wrong and what is allowed.
func Parse(name, text string) (Transcript, error) {
	t := Transcript{Name: name, start: someTuesday, text: strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")}
	known := map[string]person{}
	var wrong []error
	for i, line := range t.text {
		words := strings.Fields(line)
		if len(words) == 0 || strings.HasPrefix(words[0], "#") {
			continue
		}
		if err := t.add(reader{line: at(i + 1), words: words, raw: strings.TrimSpace(line), known: known}); err != nil {
			wrong = append(wrong, fmt.Errorf("%s:%d: %w", name, i+1, err))
		}
	}
	if len(t.acts) == 0 && len(wrong) == 0 {
		wrong = append(wrong, fmt.Errorf("%s: nothing happens in it; %s", name, usage))
	}
	return t, errors.Join(wrong...)
}

// add reads one line into t.
func (t *Transcript) add(r reader) error {
	if r.words[0] == "clock" {
		if len(t.acts) > 0 {
			return errors.New("the clock is set once and before everything else; after that only \"later\" moves it")
		}
		return t.setClock(strings.Join(r.words[1:], " "))
	}
	a, err := r.read()
	if err == nil {
		t.acts = append(t.acts, a)
	}
	return err
}

func (t *Transcript) setClock(text string) error {
	local, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		return fmt.Errorf("%q is not a time; write one such as \"clock 2026-05-12 14:05\"", text)
	}
	t.start = local
	return nil
}

// reader reads one line.
type reader struct {
	line  at
	words []string
	raw   string
	known map[string]person // everybody introduced so far
}

func (r reader) read() (act, error) {
	switch r.words[0] {
	case "later":
		by, err := parseLater(r.words[1:])
		return later{r.line, by}, err
	case "map":
		if len(r.words) < 3 {
			return nil, errors.New("write a place that the map server knows as \"map 42.45,-76.52 the words\"")
		}
		point, err := parsePoint(r.words[1])
		return charts{r.line, point, r.after(2)}, err
	case "phone", "steward", "catcher":
		return r.introduces()
	}
	if len(r.words) < 2 {
		return nil, fmt.Errorf("%q is not an act; %s", r.words[0], usage)
	}
	return r.acts()
}

// parseLater reads "25m", "2h", "1d" and "1h30m".
func parseLater(words []string) (time.Duration, error) {
	text := strings.Join(words, "")
	var sum time.Duration
	rest := text
	for _, part := range laterPart.FindAllStringSubmatch(text, -1) {
		n, err := strconv.Atoi(part[1])
		if err != nil || n > 10000 {
			break
		}
		sum += time.Duration(n) * laterUnits[part[2]]
		rest = strings.TrimPrefix(rest, part[0])
	}
	if rest != "" || sum <= 0 || sum > 2*366*24*time.Hour {
		return 0, fmt.Errorf("%q is not a time to wait; write one such as 30s, 25m, 2h, 1d or 1h30m", text)
	}
	return sum, nil
}

var (
	laterPart  = regexp.MustCompile(`(\d+)([smhd])`)
	laterUnits = map[string]time.Duration{"s": time.Second, "m": time.Minute, "h": time.Hour, "d": 24 * time.Hour}
)

// acts reads "NAME does something".
func (r reader) acts() (act, error) {
	who, verb := r.words[0], r.words[1]
	if _, ok := r.known[who]; !ok {
		return nil, fmt.Errorf("nobody is called %q yet; introduce them first with \"phone %s sms\", \"catcher …\" or \"steward …\"", who, who)
	}
	rest := r.after(2)
	switch verb {
	case ">":
		return says{r.line, who, rest}, nil
	case string(next), string(some), string(none):
		return r.expects(who, expectation(verb), rest)
	case "edited":
		if len(r.words) < 3 || r.words[2] != "<~" {
			return nil, fmt.Errorf(`after "edited" comes "<~" and words; write one such as "%s edited <~ words"`, who)
		}
		return r.expects(who, edited, r.after(3))
	case "taps":
		if rest == "" {
			return nil, errors.New(`"taps" needs the button's label; write one such as "taps Take it"`)
		}
		return taps{r.line, who, rest}, nil
	case "pins":
		point, err := parsePoint(rest)
		return pins{r.line, who, point}, err
	case "photo":
		return sendsPhoto{r.line, who, rest}, nil
	case "card":
		return sendsCard{r.line, who, rest}, nil
	case "rings":
		return rings{r.line, who}, nil
	}
	return nil, fmt.Errorf("%q is nothing that %s can do; %s", verb, who, usage)
}

func (r reader) expects(who string, kind expectation, text string) (act, error) {
	if text == "" {
		return nil, fmt.Errorf("%q needs the words to look for", kind)
	}
	return expects{r.line, who, kind, text}, nil
}

// after returns what stands behind the first n words, "\n" turned into line breaks.
func (r reader) after(n int) string {
	rest := r.raw
	for range n {
		rest = strings.TrimSpace(rest)
		if cut := strings.IndexAny(rest, " \t"); cut >= 0 {
			rest = rest[cut:]
		} else {
			rest = ""
		}
	}
	return strings.ReplaceAll(strings.TrimSpace(rest), `\n`, "\n")
}

func parsePoint(s string) (bot.Point, error) {
	lat, lon, found := strings.Cut(s, ",")
	p := bot.Point{}
	var err1, err2 error
	p.Lat, err1 = strconv.ParseFloat(strings.TrimSpace(lat), 64)
	p.Lon, err2 = strconv.ParseFloat(strings.TrimSpace(lon), 64)
	onEarth := p.Lat >= -90 && p.Lat <= 90 && p.Lon >= -180 && p.Lon <= 180
	if !found || err1 != nil || err2 != nil || !onEarth {
		return bot.Point{}, fmt.Errorf("%q is not a place; write degrees north and east, such as 42.446,-76.490", s)
	}
	return p, nil
}
