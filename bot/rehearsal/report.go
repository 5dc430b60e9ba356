package rehearsal

import (
	"fmt"
	"io"
	"strings"

	"skepline/bot"
	"skepline/notify"
)

// Report is what came of a rehearsal.
type Report struct {
	Failures []Failure
	story    *story
	filled   map[int]string // line -> the "<" line that would have held
}

// Failure is an expectation that did not hold.
type Failure struct {
	Line int    // of the transcript
	Want string // what was expected there
	Got  string // what there was instead
}

// String returns the failure in one line.
func (f Failure) String() string {
	return fmt.Sprintf("line %d: expected %s; there was %s", f.Line, f.Want, f.Got)
}

func (r *Report) fail(line int, want, got string) {
	r.Failures = append(r.Failures, Failure{line, want, got})
}

func (r *Report) heard(line int, who, text string) {
	if r.filled == nil {
		r.filled = map[int]string{}
	}
	r.filled[line] = who + " < " + strings.ReplaceAll(text, "\n", `\n`)
}

// Refilled returns t's text with every "<" line saying what was really sent.
func (r Report) Refilled(t Transcript) string {
	lines := make([]string, len(t.text))
	copy(lines, t.text)
	for line, text := range r.filled {
		lines[line-1] = text
	}
	return strings.Join(lines, "\n")
}

// Print writes the conversation as a story, then what each person's share of it was.
func (r Report) Print(w io.Writer) error {
	_, err := io.WriteString(w, r.story.text.String()+r.story.totals())
	return err
}

// Failed says which expectations did not hold and what there was instead, "" when all did.
func (r Report) Failed(transcript string) string {
	var b strings.Builder
	for _, f := range r.Failures {
		fmt.Fprintf(&b, "%s:%d\n  expected  %s\n  there was %s\n", transcript, f.Line, f.Want, f.Got)
	}
	return b.String()
}

// story is the conversation being written down.
type story struct {
	title string
	clock *clock
	cast  []*handset
	day   string // of the last entry
	time  string
	text  strings.Builder
}

// Lengths of the story's columns.
const (
	timeColumn = 7  // "14:05  "
	nameColumn = 19 // "Gwen (telegram)    "
	textColumn = 90
)

func (s *story) meet(h *handset) { s.cast = append(s.cast, h) }

// entry writes one entry: the time when it moved on, a new day's date, who, and the text
// with every further line indented under the first.
func (s *story) entry(h *handset, mark, text string) {
	now := s.clock.now
	if day := now.Format("Monday 2 January 2006"); day != s.day {
		if s.day == "" {
			fmt.Fprintf(&s.text, "%s, %s\n", s.title, day)
		} else {
			fmt.Fprintf(&s.text, "\n%s\n", day)
		}
		s.day, s.time = day, ""
	}
	clock := now.Format("15:04")
	if clock != s.time || mark == ">" { // an act begins a paragraph, and so does a new time
		s.text.WriteByte('\n')
	}
	if clock == s.time {
		clock = ""
	} else {
		s.time = clock
	}
	who := fmt.Sprintf("%s (%s)", capitalised(h.name), h.channel)
	fmt.Fprintf(&s.text, "%-*s%-*s %s ", timeColumn, clock, nameColumn, who, mark)
	indent := "\n" + strings.Repeat(" ", timeColumn+nameColumn+len(mark)+2)
	s.text.WriteString(strings.ReplaceAll(wrap(text, textColumn), "\n", indent))
	s.text.WriteByte('\n')
}

func (s *story) said(h *handset, e bot.Said) {
	var parts []string
	if e.Text != "" {
		parts = append(parts, e.Text)
	}
	for range e.Photos {
		parts = append(parts, "[a picture]")
	}
	if e.Pin != nil {
		parts = append(parts, fmt.Sprintf("[a location: %.4f, %.4f]", e.Pin.Lat, e.Pin.Lon))
	}
	if e.Card != "" {
		parts = append(parts, "[a contact card]")
	}
	s.acted(h, strings.Join(parts, " "))
}

func (s *story) acted(h *handset, what string) {
	h.screen = append(h.screen, &onScreen{mine: true, text: what, fresh: true})
	s.entry(h, ">", what)
}

// received writes a message as it appears on h's screen.
func (s *story) received(h *handset, m notify.Message, segments int, edit bool) {
	text := m.Text
	if m.Pin != nil {
		text += fmt.Sprintf("\n[a map: %.4f, %.4f %s]", m.Pin.Lat, m.Pin.Lon, m.Pin.Title)
	}
	for _, photo := range m.Photos {
		text += "\n[a picture]"
		if drawn, ours := strings.CutPrefix(photo, bot.PicturePrefix); ours {
			text = strings.TrimSuffix(text, "]") + ": " + drawn + "]"
		}
	}
	for _, row := range m.Buttons {
		text += "\n"
		for i, b := range row {
			if i > 0 {
				text += " "
			}
			text += "[" + b.Label + "]"
		}
	}
	switch {
	case edit:
		text = "(changed in place) " + text
	case segments > 1:
		text += fmt.Sprintf("\n(%d segments)", segments)
	}
	s.entry(h, "<", strings.TrimPrefix(text, "\n"))
}

// totals is a table of what went to each person.
func (s *story) totals() string {
	var b strings.Builder
	b.WriteString("\n")
	sum, segments := 0, 0
	for _, h := range s.cast {
		who := fmt.Sprintf("%s (%s)", capitalised(h.name), h.channel)
		fmt.Fprintf(&b, "%-*s %3d messages", nameColumn, who, h.messages)
		if h.channel == notify.SMS {
			fmt.Fprintf(&b, " in %d SMS segments", h.segments)
		}
		b.WriteString("\n")
		sum, segments = sum+h.messages, segments+h.segments
	}
	fmt.Fprintf(&b, "%-*s %3d messages, %d SMS segments\n", nameColumn, "Together", sum, segments)
	return b.String()
}

// wrap breaks the lines of text at blanks so that they have at most width letters, words
// longer than that aside.
func wrap(text string, width int) string {
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		room := 0
		for i, word := range strings.Split(line, " ") {
			switch n := len([]rune(word)) + 1; {
			case i == 0:
				lines, room = append(lines, word), width-n
			case n > room:
				lines, room = append(lines, word), width-n
			default:
				lines[len(lines)-1] += " " + word
				room -= n
			}
		}
	}
	return strings.Join(lines, "\n")
}
