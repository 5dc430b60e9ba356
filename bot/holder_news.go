package bot

import (
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// What a catcher on the way is told when the caller says more.

// tellHolder gives the holder what the caller added since the brief, in one text.
func (d *decision) tellHolder(c *Call) {
	h := c.Holder
	if h == nil || c.Stage != Taken {
		return
	}
	more := withoutLinks(d.whatIsNew(c))
	if more == "" {
		return
	}
	d.clear(c, "tell")
	v := d.about(c, h.Party)
	v["What"] = more
	key := "update_holder"
	if anotherThing(c) {
		key, v["Kind"] = "update_other", d.say(h.Party, "kind_"+string(c.Assessment.Subject()), nil)
	}
	c.Briefed = c.Answers
	d.tell(h.Party, notify.Claim, key, v).Still = notify.Still{Call: c.ID, Holder: h.Catcher}
}

// tellHolderSoon gathers a caller's answers for the holder: at once when somebody was hurt or
// could be, else when the last question is answered or the caller pauses.
func (d *decision) tellHolderSoon(c *Call) {
	if c.Holder == nil || c.Stage != Taken {
		return
	}
	if pressing(c) {
		d.tellHolder(c)
		return
	}
	d.set(c, "tell", d.Now.Add(pauses))
}

// pauses is how long a caller is waited for before what they told goes to the holder.
const pauses = 3 * time.Minute

// moved reports whether the holder would drive to the wrong place.
func moved(c *Call) bool {
	a, b := c.Answers.Place, c.Briefed.Place
	return a != nil && (b == nil || a.Text != b.Text || a.Text == "" && *a != *b)
}

// pressing reports whether the holder must hear at once: somebody was hurt or could be, or it
// is no swarm by what the caller tells now.
func pressing(c *Call) bool {
	a, b := c.Answers, c.Briefed
	return moved(c) || anotherThing(c) || a.Stung != b.Stung || a.Allergic != b.Allergic || len(a.Hazards) != len(b.Hazards)
}

// anotherThing reports whether what the caller sees now is no swarm, unlike what the holder was
// told.
func anotherThing(c *Call) bool {
	a, b, route := c.Answers, c.Briefed, c.Assessment.Route
	return (route == triage.RouteRedirect || route == triage.RouteSpecialist) && (a.Shape != b.Shape || a.Body != b.Body)
}

// whatIsNew says in a few words what the answers tell beyond what the holder was told.
func (d *decision) whatIsNew(c *Call) string {
	a, b, p := c.Answers, c.Briefed, c.Holder.Party
	var parts []string
	word := func(key, value, old string) {
		if value != old && value != "" && value != "unsure" && value != "unknown" && value != "other" {
			parts = append(parts, d.say(p, "word_"+key+"_"+value, nil))
		}
	}
	word("stung", a.Stung, b.Stung)
	word("allergic", a.Allergic, b.Allergic)
	if moved(c) {
		parts = append(parts, d.exact(p, c))
	}
	for _, h := range a.Hazards {
		if !b.Has(h) {
			parts = append(parts, d.say(p, "word_hazard_"+h, nil))
		}
	}
	word("shape", a.Shape, b.Shape)
	word("body", a.Body, b.Body)
	word("surface", a.Surface, b.Surface)
	if a.HeightM != nil && (b.HeightM == nil || *a.HeightM != *b.HeightM) {
		parts = append(parts, notify.HeightWords(words(p), *a.HeightM, d.Settings.Metric()))
	}
	word("crowd", a.Crowd, b.Crowd)
	word("owner", a.Owner, b.Owner)
	for _, free := range [][2]string{{a.Name, b.Name}, {a.Access, b.Access}} {
		if free[0] != free[1] && free[0] != "" && free[0] != intake.NothingSpecial {
			parts = append(parts, free[0])
		}
	}
	return strings.Join(parts, "; ")
}
