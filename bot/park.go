package bot

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// A decision can break: by a fault of ours, or over a stored document that nobody can read. Its
// event would break again each time that a provider, the sweep or a timer brings it. So it is
// parked: committed with nothing but what can be said without knowing anything. Its sender
// reads the emergency number and that a person has their words, and the stewards get the words.

// ErrBroken marks an error that the same event meets each time it comes.
var ErrBroken = errors.New("this event cannot be handled")

// OutcomeParked is an event that could not be handled and was passed to the stewards.
const OutcomeParked Outcome = "parked"

// parkedAtMost bounds what a program parks. When more than that breaks, every event may, and
// then it is better that the providers keep them until the program is mended. Judgement.
var parkedAtMost = Limits{TextsIn10Minutes: 20, TextsADay: 100}

// parking counts what was parked.
type parking struct {
	mu    sync.Mutex
	tally Tally
	logs  Seldom // one text can break as often as somebody sends it
}

func (p *parking) may(now time.Time) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.tally.allow(now, parkedAtMost)
}

// broke makes an error of what a decision threw, and logs it. What it threw may quote somebody,
// so only what cannot is repeated.
func (h *Hotline) broke(e Event, thrown any) error {
	fault := fmt.Sprintf("%T", thrown)
	switch t := thrown.(type) {
	case runtime.Error:
		fault = t.Error()
	case badDocument:
		if errors.Is(t, errNewer) {
			return fmt.Errorf("decide %s: %w", kindOf(e), t) // a newer program can
		}
		fault = t.Error()
	}
	if untold, tell := h.parking.logs.Tell(h.Clock.Now()); tell {
		h.Log.Error("decide broke", "kind", kindOf(e), "event", string(e.ID()), "fault", fault, "stack", string(debug.Stack()), "more_untold", untold)
	}
	return fmt.Errorf("decide %s: %w: %s", kindOf(e), ErrBroken, fault)
}

// park settles an event that broke. Somebody stands in front of a page, the desk or a command
// and sees that it failed, so that nothing of that is parked. A timer stays as well, since it
// loses nobody's words by coming again; only the stewards hear, once.
func (h *Hotline) park(ctx context.Context, e Event, payload string, cause error) (outcome Outcome, err error) {
	defer func() {
		if recover() != nil { // it lies deeper than that
			outcome, err = "", cause
		}
	}()
	facts := Facts{Settings: h.Settings, Secret: h.Secrets[len(h.Secrets)-1], Event: e, Now: h.Clock.Now()}
	id, again := e.ID(), false
	switch e.(type) {
	case Paged, Desked, Enrolled, Dismissed:
		return "", cause
	case Fired:
		id, again = "pk:"+id, true
		if told, err := h.Store.Load(ctx, id, "", ""); err != nil || told.Seen {
			return "", cause
		}
	}
	if !h.parking.may(facts.Now) {
		return "", cause
	}
	change := parked(facts, h.referenceOf(ctx, facts))
	change.Event, change.Payload = id, payload
	done, err := h.Store.Commit(ctx, change)
	if err != nil {
		return "", errors.Join(cause, fmt.Errorf("park: %w", err))
	}
	if !done.Repeated { // another program was faster
		h.Log.Error("event parked", "kind", kindOf(e), "event", string(e.ID()), "cause", cause)
		if h.Parked != nil {
			h.Parked(e)
		}
	}
	if again {
		return "", cause
	}
	return done.Outcome, nil
}

// referenceOf finds the reference of the call that an event is about, "" when it cannot be
// found. It reads no document: the one to be read may be what broke.
func (h *Hotline) referenceOf(ctx context.Context, f Facts) string {
	call := ""
	switch e := f.Event.(type) {
	case Fired:
		call, _, _ = strings.Cut(e.Timer.ID, "/")
	case Kicked:
		call = e.Call
	case Undelivered:
		call = e.Message.Still.Call
	case Returned:
		call = e.Errand.Call
	case Told:
		return e.Reference
	default:
		if from := sender(e); from != "" {
			loaded, err := h.Store.Load(ctx, "pk:look", PersonID(f.Secret, from), "")
			if err == nil && len(loaded.Documents) > 0 && loaded.Documents[0].Pointer != nil {
				call = loaded.Documents[0].Pointer.ID
			}
		}
	}
	if call == "" {
		return ""
	}
	board, err := h.Store.Board(ctx)
	if err != nil {
		return ""
	}
	return board.Calls[call].Reference
}

// parked is what follows from an event that cannot be decided. It opens no document.
func parked(f Facts, reference string) Change {
	d := newDecision(f)
	d.serial = 1000 // a timer is decided after all, and its messages have the first numbers
	d.change.Outcome = OutcomeParked
	from, said, v := sender(f.Event), "", values{"Ref": reference, "Alarm": false}
	p := Party{Person: PersonID(f.Secret, from), Address: from, Language: f.Settings.DefaultLanguage()}
	name, stop := "", false
	switch e := f.Event.(type) {
	case Said:
		said, name = e.Text, e.Profile
		v["Words"] = clip(strings.TrimSpace(e.Text + " " + d.cameAlong(p, e)))
		stop = e.OptOut == "STOP" || calmly(func() bool { s, _ := intake.OptOut(said); return s })
	case Tapped:
		said, name, v["Words"] = e.Says, e.Profile, clip(e.Says)
	case Rang:
		v["Words"] = d.say(p, "parked_rang", nil)
	default:
		d.tellStewards("steward_parked_step", v, "")
		return d.change
	}
	v["Number"] = from.Number()
	if from.Channel() == notify.Telegram {
		v["Number"] = strings.TrimSpace(name + " (Telegram)") // a chat's number tells nobody anything
	}
	alarm := calmly(func() bool { return intake.Emergency(said) })
	switch {
	case stop:
		// It counts, whatever else is broken, and nothing more is said to them.
		d.change.Stops = append(d.change.Stops, Stop{Person: p.Person})
	case alarm:
		v["Alarm"] = true
		d.tell(p, notify.Safety, "emergency", nil)
	case from.Channel() == notify.SMS && !calmly(func() bool { return f.Settings.texts(from) }):
		// A country that is not answered.
	default:
		d.tell(p, notify.News, "parked", values{"Stewards": len(f.Settings.Stewards)})
	}
	d.tellStewards("steward_parked", v, p.Person)
	return d.change
}

// cameAlong names what came along with a text.
func (d *decision) cameAlong(p Party, e Said) string {
	switch {
	case e.Pin != nil:
		return coordinates(&intake.Place{Lat: e.Pin.Lat, Lon: e.Pin.Lon})
	case len(e.Photos) > 0 || e.Card != "" || e.Other != "":
		return d.say(p, "parked_more", nil)
	}
	return ""
}

// calmly asks a reader of texts that may be what broke; then the answer is no.
func calmly(ask func() bool) (yes bool) {
	defer func() {
		if recover() != nil {
			yes = false
		}
	}()
	return ask()
}
