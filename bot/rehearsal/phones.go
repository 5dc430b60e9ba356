package rehearsal

import (
	"context"
	"fmt"
	"strings"

	"skepline/notify"
)

// phones are everybody's phones and the network between them and the hotline. They fill
// notify.Sender for every channel and accept everything at once.
type phones struct {
	byName    map[string]*handset
	byAddress map[notify.Address]*handset
	story     *story
	sent      int // for the provider's ids
}

// handset is one person's phone.
type handset struct {
	person
	address  notify.Address
	shown    []*bubble // every message, as it stands on the screen now
	waiting  []string  // texts that no expectation has consumed yet, as they arrived
	edits    []string  // texts of edits that no expectation has consumed yet
	messages int
	segments int // SMS segments
	screen   []*onScreen
	catcher  bool
}

// bubble is one message on a screen.
type bubble struct {
	id      string // the provider's
	text    string
	buttons [][]notify.Button
}

func newPhones(s *story) *phones {
	return &phones{byName: map[string]*handset{}, byAddress: map[notify.Address]*handset{}, story: s}
}

// hand gives p a phone, the one they have already if they have one. Who came without a
// number gets one that belongs to nobody: 555-0100 to 555-0199 are kept for fiction.
func (ps *phones) hand(p person) (*handset, error) {
	if h := ps.byName[p.name]; h != nil {
		return h, nil
	}
	h := &handset{person: p}
	switch n := len(ps.byName); {
	case p.channel == notify.Telegram:
		h.address = notify.Address(fmt.Sprintf("telegram:%d", 5550101+n))
	case p.number != "":
		h.address = notify.Address(string(p.channel) + ":" + p.number)
	default:
		h.address = notify.Address(fmt.Sprintf("%s:+1607555%04d", p.channel, 199-n))
	}
	if other := ps.byAddress[h.address]; other != nil {
		return nil, fmt.Errorf("%s and %s have the same number", other.name, p.name)
	}
	ps.byName[p.name], ps.byAddress[h.address] = h, h
	ps.story.meet(h)
	return h, nil
}

// Send puts a message on its recipient's screen.
func (ps *phones) Send(_ context.Context, out notify.Outgoing) notify.Result {
	h := ps.byAddress[out.To]
	if h == nil {
		return notify.Result{End: notify.Refused, Reason: "bad_number"}
	}
	chat := h.channel == notify.Telegram
	switch b := h.bubble(out.EditsProvider); {
	case out.Edits != "" && !chat:
		return notify.Result{End: notify.Refused, Reason: "cannot_edit"}
	case out.Edits != "" && b == nil:
		return notify.Result{End: notify.Refused, Reason: "nothing_to_edit"}
	case out.Edits != "":
		ps.edit(h, b, out)
		return notify.Result{End: notify.Accepted, ProviderID: b.id}
	case !chat:
		out.Buttons = nil
	}
	ps.sent++
	b := &bubble{id: fmt.Sprintf("p%d", ps.sent), text: out.Text, buttons: out.Buttons}
	h.shown = append(h.shown, b)
	h.screen = append(h.screen, &onScreen{bubble: b, fresh: true, photo: len(out.Photos) > 0, place: placeOn(out.Pin)})
	h.waiting = append(h.waiting, out.Text)
	h.messages++
	segments := 0
	if h.channel == notify.SMS {
		segments = notify.Segments(out.Text)
		h.segments += segments
	}
	ps.story.received(h, out.Message, segments, false)
	return notify.Result{End: notify.Accepted, ProviderID: b.id}
}

// edit changes a message in place. One that changes nothing is not seen by anybody.
func (ps *phones) edit(h *handset, b *bubble, out notify.Outgoing) {
	if b.text == out.Text && fmt.Sprint(b.buttons) == fmt.Sprint(out.Buttons) {
		return
	}
	b.text, b.buttons = out.Text, out.Buttons
	for _, m := range h.screen {
		if m.bubble == b {
			m.fresh = true
		}
	}
	h.edits = append(h.edits, out.Text)
	ps.story.received(h, out.Message, 0, true)
}

func placeOn(p *notify.Pin) string {
	if p == nil {
		return ""
	}
	return fmt.Sprintf("%.4f, %.4f", p.Lat, p.Lon)
}

func (h *handset) bubble(id string) *bubble {
	for _, b := range h.shown {
		if b.id == id {
			return b
		}
	}
	return nil
}

// button returns the button with label on the latest message that carries it, case aside;
// when none is labelled just so, one that begins with it: "30" presses "30 min".
func (h *handset) button(label string) (notify.Button, bool) {
	same := func(b notify.Button) bool { return strings.EqualFold(b.Label, label) }
	begins := func(b notify.Button) bool { return strings.HasPrefix(strings.ToLower(b.Label), strings.ToLower(label)) }
	if b, ok := h.latest(same); ok {
		return b, true
	}
	return h.latest(begins)
}

func (h *handset) latest(fits func(notify.Button) bool) (notify.Button, bool) {
	for i := len(h.shown) - 1; i >= 0; i-- {
		for _, row := range h.shown[i].buttons {
			for _, b := range row {
				if fits(b) {
					return b, true
				}
			}
		}
	}
	return notify.Button{}, false
}

// labels returns the labels of every button on h's screen, latest message first.
func (h *handset) labels() []string {
	var all []string
	for i := len(h.shown) - 1; i >= 0; i-- {
		for _, row := range h.shown[i].buttons {
			for _, b := range row {
				all = append(all, b.Label)
			}
		}
	}
	return all
}

// look carries out one expectation. It returns what was wanted and what is there instead,
// and "" twice when it held.
func (h *handset) look(e expects) (want, got string) {
	switch e.kind {
	case next:
		if len(h.waiting) > 0 && h.waiting[0] == e.text {
			h.waiting = h.waiting[1:]
			return "", ""
		}
		want, got = "the next message to "+h.name+" to be "+quote(e.text), listed(h.waiting)
		if len(h.waiting) > 0 { // so that one wrong text does not spoil the lines below it
			h.waiting = h.waiting[1:]
		}
		return want, got
	case some:
		if i := firstWith(h.waiting, e.text); i >= 0 {
			h.waiting = h.waiting[i+1:]
			return "", ""
		}
		return "a message to " + h.name + " with " + quote(e.text) + " in it", listed(h.waiting)
	case edited:
		if i := firstWith(h.edits, e.text); i >= 0 {
			h.edits = h.edits[i+1:]
			return "", ""
		}
		return "an edit on " + h.name + "'s screen with " + quote(e.text) + " in it", listed(h.edits)
	}
	if firstWith(h.waiting, e.text) >= 0 {
		return "no message to " + h.name + " with " + quote(e.text) + " in it", listed(h.waiting)
	}
	return "", ""
}

// firstWith returns the index of the first text that contains words, case aside; -1 when
// none does.
func firstWith(texts []string, words string) int {
	for i, text := range texts {
		if strings.Contains(strings.ToLower(text), strings.ToLower(words)) {
			return i
		}
	}
	return -1
}

func quote(s string) string { return `"` + strings.ReplaceAll(s, "\n", `\n`) + `"` }

func listed(texts []string) string {
	if len(texts) == 0 {
		return "nothing"
	}
	var all []string
	for _, t := range texts {
		all = append(all, quote(t))
	}
	return strings.Join(all, ", then ")
}
