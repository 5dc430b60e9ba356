package bot

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"time"

	"skepline/intake"
)

// Errand is a look-up outside: where is what a caller put in words, what place is in the
// contact card they sent, how long do catchers drive there? It is leased like a timer and
// answered by an event. Nothing waits for it.
type Errand struct {
	ID       string    `json:"id"`
	Call     string    `json:"call"`
	Words    string    `json:"words"`          // the place as the caller said it
	Card     string    `json:"card,omitempty"` // instead of words: a card to fetch, as the provider names it
	Language string    `json:"language"`       // of the caller
	Until    time.Time `json:"until"`          // after this nobody looks any more

	Roads *RoadsAsked `json:"roads,omitempty"` // set: how long are the drives, and not: where is it
}

// Event returns the id under which e's answer is an event.
func (e Errand) Event() EventID { return EventID("er:" + e.ID) }

// Returned is an errand's answer.
type Returned struct {
	Errand Errand
	Spots  []intake.Spot // what was found; none when nothing was, or when time ran out

	Minutes []float64 // of each drive that was asked for, below 0 = no way; none when nobody knew
}

// Outside answers errands. Either may be nil.
type Outside struct {
	Maps  Maps
	Roads Roads
}

// ID returns the event's id.
func (e Returned) ID() EventID { return e.Errand.Event() }
func (Returned) isEvent()      {}

// Maps looks up places by name. bot/maps fills it.
type Maps interface {
	// Search returns what words can mean near s.Center, the likeliest first.
	Search(ctx context.Context, words string, s intake.Setting) ([]intake.Spot, error)
}

// Errands are slow and few.
const (
	errandHold   = 15 * time.Second // the lease: longer than any look-up may take
	errandGap    = time.Second      // what public map services ask for: one request a second
	errandWithin = 2 * time.Minute  // after that the answer helps nobody
	errandWaited = 6 * time.Second  // how long a first round waits for it
)

// RunErrand makes one errand whose turn it is and hears its answer. It returns whether
// there was one, and how long until the next otherwise. An errand that fails comes back
// when its lease is over, until its time is.
func (h *Hotline) RunErrand(ctx context.Context, out Outside) (made bool, wait time.Duration, err error) {
	e, wait, err := h.Store.LeaseErrand(ctx, errandHold, errandGap)
	if e == nil || err != nil {
		return false, wait, err
	}
	answer := Returned{Errand: *e}
	if h.Clock.Now().Before(e.Until) {
		if err := h.answer(ctx, out, &answer); err != nil {
			return true, 0, err
		}
	}
	_, err = h.Hear(ctx, answer)
	return true, 0, err
}

// answer asks outside what an errand wants to know.
func (h *Hotline) answer(ctx context.Context, out Outside, a *Returned) (err error) {
	e, setting := a.Errand, h.Settings.reading()
	setting.Language = e.Language
	switch {
	case e.Roads != nil && out.Roads != nil:
		from := make([]Point, len(e.Roads.From))
		for i, f := range e.Roads.From {
			from[i] = f.Point
		}
		if a.Minutes, err = out.Roads.Drives(ctx, from, e.Roads.To); err != nil {
			return fmt.Errorf("look up drives: %w", err)
		}
	case e.Card != "":
		a.Spots, err = h.readCard(ctx, e, setting)
		return err
	case e.Roads == nil && out.Maps != nil:
		if a.Spots, err = out.Maps.Search(ctx, e.Words, setting); err != nil {
			return fmt.Errorf("look up a place: %w", err)
		}
	}
	return nil
}

// quillbrookPlaces are some invented streets and spots around the invented hotline.
//
//go:embed quillbrook_places.tsv
var quillbrookPlaces []byte

// places returns the imported gazetteer, or else what of the built-in one lies near: for a
// real club nothing.
func (h *Hotline) places(ctx context.Context) (*intake.Gazetteer, error) {
	imported, err := h.Store.Gazetteer(ctx)
	if err != nil || imported != nil {
		return imported, err
	}
	return BuiltInPlaces(h.Settings), nil
}

// BuiltInPlaces returns the invented places of Quillbrook County for the invented hotline,
// an empty gazetteer for any other.
func BuiltInPlaces(s *Settings) *intake.Gazetteer {
	rows := quillbrookPlaces
	if d := DefaultSettings(); s.Tag != d.Tag || s.Latitude != d.Latitude || s.Longitude != d.Longitude {
		rows = nil
	}
	g, err := intake.ReadGazetteer(bytes.NewReader(rows), intake.Place{}, 0)
	if err != nil {
		panic(err) // a test reads it, so this is a broken build
	}
	return g
}

// KeepWithin is how far around the area served places are kept: those beyond it are known,
// too, so that a caller out there can be told.
func (s *Settings) KeepWithin() float64 { return max(3*s.RadiusKm, 100) }
