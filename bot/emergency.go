package bot

import (
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// emergency answers words of a severe reaction: the emergency message first, alone, at any
// stage and on every channel. Everything else about the call waits for their next text.
func (d *decision) emergency(p *Person, e Said) {
	if !p.Abuse.Alarms.allow(d.Now, alarms) {
		d.change.Outcome = OutcomeQuiet // they have just read it ten times
		return
	}
	d.tell(p.party(), notify.Safety, "emergency", nil)
	if d.say(p.party(), "emergency_more", nil) != "[emergency_more]" && !words(p.party()).Chat {
		d.tell(p.party(), notify.Safety, "emergency_more", nil)
	}
	if p.Stopped {
		return
	}
	c := d.openCall(p)
	if c == nil && len(d.holds(p)) > 0 {
		d.catcherHurt(p)
		return
	}
	if c == nil {
		c = d.newCall(p)
		d.takeIn(c, e)
		c.Answers = intake.Understand(e.Text, d.setting(p)).Over(c.Answers)
	}
	d.note(c, "emergency")
	c.Emergency = true
	// For the weighing it is a sting from here on: the emergency has been answered, and the
	// bees are still there.
	c.Answers.Stung = "someone"
	c.Told = append(c.Told, triage.StingFirstAid, triage.EmergencyNumber)
	if c.Stage == Asking && c.Held == "" {
		d.set(c, "silence", d.Now.Add(nudgeAfter))
	}
	if p.Talk.Waiting == intake.AskStung {
		p.Talk.Waiting = ""
	}
	if c.Joined != "" {
		if m := d.call(c.Joined); m.Holder != nil {
			d.tell(m.Holder.Party, notify.Claim, "caller_emergency", d.about(m, m.Holder.Party))
		}
	}
	if c.Holder != nil {
		d.tell(c.Holder.Party, notify.Claim, "caller_emergency", d.about(c, c.Holder.Party))
	}
	d.tellStewards("steward_emergency", d.about(c, Party{}), c.Caller.Person)
}

// catcherHurt is an emergency text from a catcher at work: the stewards hear of it.
func (d *decision) catcherHurt(p *Person) {
	for _, id := range d.holds(p) {
		c := d.call(id)
		if !c.heldBy(p.Catcher) {
			continue
		}
		d.note(c, "catcher_emergency")
		d.tellStewards("steward_catcher_hurt", d.about(c, Party{}), p.ID)
		return
	}
}

// holds returns the calls that p holds as a catcher.
func (d *decision) holds(p *Person) []string {
	if p.Catcher == "" {
		return nil
	}
	holds := d.catcher(p.Catcher).Holds
	d.wantCalls(holds)
	return holds
}

func (d *decision) wantCalls(ids []string) {
	keys := make([]Key, len(ids))
	for i, id := range ids {
		keys[i] = Key{KindCall, id}
	}
	d.want(keys...)
}

// firstAid says at once what a new answer makes pressing; each advice goes out once.
func (d *decision) firstAid(c *Call, before intake.Answers) {
	a := c.Answers
	if a.Stung == "someone" && before.Stung != "someone" {
		d.advise(c, notify.Safety, triage.StingFirstAid)
	}
	if a.Allergic == "yes" && before.Allergic != "yes" {
		d.advise(c, notify.News, triage.Allergy)
	}
	for _, hazard := range []struct {
		name   string
		advice triage.Advice
	}{
		{"power_line", triage.PowerLine}, {"children", triage.ChildrenPets}, {"indoors", triage.Indoors}, {"blocked_door", triage.BlockedDoor},
	} {
		if a.Has(hazard.name) && !before.Has(hazard.name) {
			d.advise(c, notify.News, hazard.advice)
		}
	}
}

// advise sends one piece of advice to the caller, unless they have had it.
func (d *decision) advise(c *Call, class notify.Class, advice triage.Advice) {
	if slices.Contains(c.Told, advice) {
		return
	}
	c.Told = append(c.Told, advice)
	d.tell(c.Caller, class, "advice_"+string(advice), nil)
}

// rang is a phone call to a number that only reads: the first question goes out by text.
func (d *decision) rang(e Rang) {
	p := d.person(e.From)
	if p.Stopped {
		d.change.Outcome = OutcomeStopped
		return
	}
	if d.unpaid(p) {
		return
	}
	if d.openCall(p) != nil {
		d.again(p)
		return
	}
	if !p.Idle.allow(d.Now, d.Settings.Limits) {
		d.change.Outcome = OutcomeQuiet
		return
	}
	d.begin(p, Said{})
}

// area returns the words for where a call is that anybody asked may read: no house number.
func area(c *Call) string {
	if c.Answers.Place == nil {
		return ""
	}
	return notify.AreaWords(c.Answers.Place.Text)
}

// exact returns where a call is as its holder reads it.
func (d *decision) exact(p Party, c *Call) string { return d.exactly(p, c.Answers.Place) }

func (d *decision) exactly(p Party, place *intake.Place) string {
	if place == nil {
		return d.say(p, "place_unknown", nil)
	}
	if text := strings.TrimSpace(place.Text); text != "" {
		return text
	}
	return coordinates(place)
}
