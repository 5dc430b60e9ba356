package bot

import (
	"encoding/json"
	"time"
)

// overdue is how late a timer may be before the auditor steps in.
const overdue = 10 * time.Minute

// Kicked is the auditor's finding: an open call whose next step is missing or long overdue.
type Kicked struct {
	Event EventID
	Call  string
}

// ID returns the event's id.
func (e Kicked) ID() EventID { return e.Event }
func (Kicked) isEvent()      {}

// kickFor returns the event that gives a call's document its next step, and whether it
// needs one.
func kickFor(doc Document, now time.Time) (Kicked, bool) {
	var c Call
	if doc.Version == 0 || json.Unmarshal(doc.Body, &c) != nil || !c.Ended.IsZero() {
		return Kicked{}, false
	}
	if next := c.next(); !next.IsZero() && now.Sub(next) < overdue {
		return Kicked{}, false
	}
	// The version names the finding, so that two replicas kick once.
	return Kicked{Event: EventID("au:" + c.ID + ":" + itoa(int(doc.Version))), Call: c.ID}, true
}

func (d *decision) kick(e Kicked) {
	c := d.call(e.Call)
	if c.ID == "" || !c.Ended.IsZero() {
		d.change.Outcome = OutcomeStale
		return
	}
	d.kicked(c)
}
