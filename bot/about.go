package bot

import (
	"math"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// about is what texts to p may name of a call. Who may read what is decided by the key of
// the text: only texts to the holder name the address.
func (d *decision) about(c *Call, p Party) values {
	// What takes work is worked out only for texts that name it, from c as it is now.
	lat, lon := d.point(c)
	clock := func(t time.Time) intake.Later { return func() string { return d.clock(p, t) } }
	v := values{
		"Ref":        c.Reference,
		"Caller":     intake.Later(func() string { return d.callerName(c, p) }),
		"Area":       area(c),
		"Reason":     intake.Later(func() string { return d.reasonWords(p, c.Held) }),
		"Likelihood": triage.Shown(c.Assessment.Likelihood),
		"By":         clock(c.Promised),
		"Sunset":     intake.Later(func() string { return d.clock(p, d.sunsetAt(lat, lon)) }),
		"Back":       intake.Later(func() string { return d.clock(p, d.eveningAt(lat, lon, d.now).To) }),
		"From":       intake.Later(func() string { return d.clock(p, d.eveningAt(lat, lon, d.now).From) }),
		"Opens":      intake.Later(func() string { return d.clock(p, d.Settings.dispatch().QuietTo.Next(d.now)) }),
		"Kind":       intake.Later(func() string { return d.kindName(p, c) }),
		"Standoff":   intake.Later(func() string { return d.standoff(p) }),
	}
	if c.Answers.Place != nil {
		v["Place"] = d.exact(p, c)
	}
	if o := c.kept(); o != nil {
		v["Fallback"], v["Until"] = o.Name, d.clock(p, o.Until)
		v["Starts"], v["Arrives"] = d.clock(p, o.Starts), d.clock(p, d.comes(c, o, o.Starts))
	}
	if h := c.Holder; h != nil {
		v["Holder"], v["Word"] = h.Name, h.Word
		v["Since"] = clock(h.Taken)
		if !h.ETA.IsZero() {
			v["ETA"] = clock(h.ETA)
		}
	}
	return v
}

// standoff is how far people are kept back, in the hotline's units. Judgement: no body
// agrees on one distance.
func (d *decision) standoff(p Party) string {
	const away = 9.14 // metres: 30 ft
	if d.Settings.Metric() {
		return notify.HeightWords(words(p), 10, true)
	}
	return notify.HeightWords(words(p), away, false)
}

// callerName is the caller's first name, or the word for a caller.
func (d *decision) callerName(c *Call, p Party) string {
	if c.Answers.Name != "" {
		return c.Answers.Name
	}
	return d.say(p, "word_caller", nil)
}

// kindName is the most likely kind in words.
func (d *decision) kindName(p Party, c *Call) string {
	if len(c.Assessment.Kinds) == 0 {
		return ""
	}
	return d.say(p, "kind_"+string(c.Assessment.Kinds[0].Kind), nil)
}

// job is the call as its brief and its offers need it.
func (d *decision) job(c *Call, p Party) notify.Job {
	lat, lon := d.point(c)
	sunset := d.sunset(c)
	j := notify.Job{
		Reference: c.Reference, Answers: c.Answers, Shown: triage.Shown(c.Assessment.Likelihood), Sunset: sunset,
		StillThere: triage.Stays(d.now, d.now.Add(notifyTravel), lat, lon), CallerName: c.Answers.Name, MapLink: d.mapLink(c.Answers.Place),
	}
	if s := triage.SunOn(d.now, lat, lon); !s.CivilDusk.IsZero() {
		j.Dusk = s.CivilDusk
	}
	j.InBox = c.InBox
	j.Late = d.now.After(sunset.Add(-time.Hour))
	if h := c.Holder; h != nil {
		if far := d.far(d.catcher(h.Catcher), c); far.Km >= 0 {
			j.StillThere = triage.Stays(d.now, d.now.Add(d.drive(c, h.Catcher, far)), lat, lon)
		}
	}
	if c.Holder != nil {
		j.CheckWord, j.Expected = c.Holder.Word, !c.Holder.ETA.IsZero()
	}
	if a := d.against(c); a != "" {
		j.Against = d.say(p, a, nil)
	}
	return j
}

// notifyTravel is the drive that an offer's "still there" allows for.
const notifyTravel = 45 * 60 * 1e9

// against names the kind that speaks most against a swarm, when it is worth a word.
func (d *decision) against(c *Call) string {
	const worthAWord = 0.05
	for _, k := range c.Assessment.Kinds {
		if k.Kind != triage.HoneyBeeSwarm && k.P >= worthAWord && !math.IsNaN(k.P) {
			return "kind_" + string(k.Kind)
		}
	}
	return ""
}

// StillTrue says whether a message is still worth sending: "" = yes, else why not.
func StillTrue(f Facts, m notify.Message) string {
	if !m.NotAfter.IsZero() && !f.Now.Before(m.NotAfter) {
		return "too_late"
	}
	d := &decision{Facts: f}
	s := m.Still
	if s.Call != "" {
		c := d.glance(s.Call)
		switch {
		case c.ID == "":
			return "stale"
		case len(s.Stages) > 0 && !contains(s.Stages, string(c.Stage)):
			return "stale"
		case s.Holder != "" && !c.heldBy(s.Holder):
			return "superseded"
		case s.Offer != "" && !openTo(c, s.Offer):
			return "superseded"
		case s.Asked != "" && !c.Ended.IsZero():
			return "stale"
		}
	}
	if s.Asked != "" && string(look(d, d.people, Key{KindPerson, m.Recipient}).Talk.Waiting) != s.Asked {
		return "superseded"
	}
	return ""
}

func openTo(c *Call, catcher string) bool {
	o := c.offer(catcher)
	return o != nil && o.State == notify.AskOpen
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
