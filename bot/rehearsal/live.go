package rehearsal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// Live is a rehearsal that is played a step at a time, by its transcript or by hand. It is
// not safe for concurrent use.
type Live struct {
	stage      *stage
	transcript Transcript
	next       int // of the transcript's acts
	said       string
	frames     int
}

// Frame is how everything stands after a step.
type Frame struct {
	N       int
	Clock   time.Time
	Comment string // what the transcript says about this part
	Act     string // what was done: "gwen > …"
	Phones  []Phone
	Desk    *bot.DeskView
}

// Phone is one person's screen.
type Phone struct {
	Name, Key, Channel, Role string // Key is how a line names them
	Bubbles                  []Bubble
}

// Bubble is one message on a screen.
type Bubble struct {
	Mine    bool
	Text    string
	Buttons [][]string
	Fresh   bool // came with this step
	Photo   bool
	Map     string
}

// Open sets the stage for t and lets everybody come on. Nothing is said yet.
func (p Player) Open(ctx context.Context, t Transcript) (*Live, error) {
	s, err := p.stage(t)
	if err != nil {
		return nil, fmt.Errorf("%s: set the stage: %w", t.Name, err)
	}
	l := &Live{stage: s, transcript: t}
	for l.next < len(t.acts) {
		switch t.acts[l.next].(type) {
		case meetPhone, meetCatcher, meetSteward:
		default:
			return l, nil
		}
		if err := s.perform(ctx, t.acts[l.next]); err != nil {
			return nil, fmt.Errorf("%s: %w", t.Name, err)
		}
		l.next++
	}
	return l, nil
}

// Hotline is the real thing behind the phones.
func (l *Live) Hotline() *bot.Hotline { return l.stage.hotline }

// Close ends the rehearsal.
func (l *Live) Close() error { return l.stage.store.Close() }

// Failures returns the expectations that did not hold so far.
func (l *Live) Failures() []Failure { return l.stage.report.Failures }

// Step plays the transcript to its next act and reports whether there was one.
func (l *Live) Step(ctx context.Context) (bool, error) {
	for l.next < len(l.transcript.acts) {
		a := l.transcript.acts[l.next]
		l.next++
		_, looks := a.(expects)
		if !looks {
			l.begin()
			l.said = strings.TrimSpace(l.transcript.text[a.lineNo()-1])
		}
		if err := l.stage.perform(ctx, a); err != nil {
			return false, fmt.Errorf("%s:%d: %w", l.transcript.Name, a.lineNo(), err)
		}
		if !looks {
			return true, nil
		}
	}
	return false, nil
}

// Do performs a line in the words of a transcript: "gwen > hello", "later 25m".
func (l *Live) Do(ctx context.Context, line string) error {
	words := strings.Fields(line)
	if len(words) == 0 || words[0] == "clock" {
		return fmt.Errorf("nothing to do; %s", usage)
	}
	known := map[string]person{}
	for name, h := range l.stage.phones.byName { // order does not matter: a map is filled from a map
		known[name] = h.person
	}
	a, err := reader{line: 1, words: words, raw: strings.TrimSpace(line), known: known}.read()
	if err != nil {
		return err
	}
	l.begin()
	l.said = line
	return l.stage.perform(ctx, a)
}

// Hear hears an event from outside, such as a press on a page, and lets follow what follows.
func (l *Live) Hear(ctx context.Context, e bot.Event) (bot.Outcome, error) {
	l.begin()
	l.said = ""
	outcome, err := l.stage.hotline.Hear(ctx, e)
	if err != nil {
		return "", err
	}
	return outcome, l.stage.settle(ctx)
}

// begin makes everything on the screens old.
func (l *Live) begin() {
	l.frames++
	for _, h := range l.stage.phones.byName { // order does not matter: each is its own
		for _, m := range h.screen {
			m.fresh = false
		}
	}
}

// Frame returns how everything stands now.
func (l *Live) Frame(ctx context.Context) (Frame, error) {
	desk, err := l.stage.hotline.ViewDesk(ctx)
	if err != nil {
		return Frame{}, err
	}
	f := Frame{N: l.frames, Clock: l.stage.clock.now, Act: l.said, Comment: l.comment(), Desk: desk}
	for _, h := range l.stage.report.story.cast {
		f.Phones = append(f.Phones, l.phone(h))
	}
	return f, nil
}

func (l *Live) phone(h *handset) Phone {
	p := Phone{Name: capitalised(h.name), Key: h.name, Channel: string(h.channel), Role: "caller"}
	switch {
	case l.stage.hotline.Settings.IsSteward(h.address):
		p.Role = "steward"
	case h.catcher:
		p.Role = "catcher"
	}
	for _, m := range h.screen {
		b := Bubble{Mine: m.mine, Text: m.text, Fresh: m.fresh}
		if m.bubble != nil {
			b.Text, b.Photo, b.Map = m.bubble.text, m.photo, m.place
			b.Buttons = labelsOf(m.bubble.buttons)
		}
		p.Bubbles = append(p.Bubbles, b)
	}
	return p
}

func labelsOf(rows [][]notify.Button) [][]string {
	var labels [][]string
	for _, row := range rows {
		var r []string
		for _, b := range row {
			r = append(r, b.Label)
		}
		labels = append(labels, r)
	}
	return labels
}

// comment is the transcript's latest comment before what was played last.
func (l *Live) comment() string {
	line := 0
	if l.next > 0 && l.next <= len(l.transcript.acts) {
		line = l.transcript.acts[l.next-1].lineNo() - 1
	}
	for ; line >= 0; line-- {
		if text, ok := strings.CutPrefix(strings.TrimSpace(l.transcript.text[line]), "#"); ok {
			if line > 0 {
				if before, more := strings.CutPrefix(strings.TrimSpace(l.transcript.text[line-1]), "#"); more {
					text = before + text
				}
			}
			return strings.TrimSpace(text)
		}
	}
	return ""
}

// onScreen is one thing on a handset's screen, in the order in which it came.
type onScreen struct {
	mine   bool
	text   string
	bubble *bubble // a message from the hotline; it may change in place
	fresh  bool
	photo  bool
	place  string
}
