package bot

import (
	"cmp"
	"slices"
	"strings"

	"skepline/notify"
)

// viewCall is one call as its page at the desk shows it.
func (d *decision) viewCall(id string) *CallView {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	c := d.call(id)
	if c.ID == "" {
		return nil
	}
	p := d.deskParty()
	v := &CallView{CallRow: d.callRow(c), Place: d.exact(p, c), Facts: d.facts(c, p), Hazards: d.hazards(c, p), Photos: len(c.Photos)}
	v.Caller = channelNames[c.Caller.Address.Channel()]
	if c.Answers.Name != "" {
		v.Caller = c.Answers.Name + ", " + v.Caller
	}
	if c.Answers.Place != nil {
		v.MapLink = d.mapLink(c.Answers.Place)
	}
	if !c.Ended.IsZero() {
		v.Ended = d.clock(p, c.Ended)
	}
	if c.Holder != nil && !c.Holder.ETA.IsZero() {
		v.ETA = d.clock(p, c.Holder.ETA)
	}
	for _, k := range c.Assessment.Kinds[:min(4, len(c.Assessment.Kinds))] {
		v.Weighed = append(v.Weighed, Weighed{d.say(p, "kind_"+string(k.Kind), nil), k.P})
	}
	const most = 8
	for _, w := range c.Assessment.Why {
		if !strings.Contains(w.Because, "=") || len(v.Evidence) == most { // the rest is about urgency and route
			continue
		}
		v.Evidence = append(v.Evidence, Weighed{d.evidenceWords(p, w.Because), w.Weight})
	}
	v.Lines = d.storyLines(c, p)
	d.viewTies(v, c)
	v.Rule = d.viewWhy(c, p)
	if c.Ended.IsZero() {
		d.viewActions(v, c)
	}
	return v
}

var channelNames = map[notify.Channel]string{notify.SMS: "SMS", notify.WhatsApp: "WhatsApp", notify.Telegram: "Telegram"}

func (d *decision) storyLines(c *Call, p Party) []StoryLine {
	var lines []StoryLine
	said := c.Words
	for i := 0; i <= len(c.Story); i++ {
		for len(said) > 0 && (said[0].After <= i || i == len(c.Story)) {
			lines = append(lines, StoryLine{Who: said[0].Who, Text: said[0].Text, when: said[0].At})
			said = said[1:]
		}
		if i < len(c.Story) {
			lines = append(lines, StoryLine{Text: d.storyWords(p, c.Story[i].What), when: c.Story[i].At})
		}
	}
	lines = withSeen(lines, c.Seen, func(who string) string { return d.storyWords(p, "seen "+who) })
	for i := range lines {
		lines[i].At = d.clock(p, lines[i].when)
		if days := dayNumber(d.now) - dayNumber(lines[i].when.In(d.now.Location())); days > 0 {
			lines[i].At = lines[i].when.In(d.now.Location()).Format("1/2 ") + lines[i].At
		}
	}
	return lines
}

// viewTies shows which other calls are the same swarm, and which could be.
func (d *decision) viewTies(v *CallView, c *Call) {
	if c.Joined != "" {
		if m := d.call(c.Joined); m.ID != "" {
			r := d.callRow(m)
			v.Joined = &r
		}
	}
	d.wantCalls(c.Also)
	for _, id := range c.Also {
		if m := d.call(id); m.Joined == c.ID {
			v.Also = append(v.Also, d.callRow(m))
		}
	}
	const most = 40
	ids := d.openIDs()
	ids = ids[:min(len(ids), most)]
	d.wantCalls(ids)
	for _, id := range ids {
		if m := d.call(id); c.Ended.IsZero() && mayJoin(c, m) {
			v.CanJoin = append(v.CanJoin, d.callRow(m))
		}
	}
	slices.SortStableFunc(v.CanJoin, func(a, b CallRow) int {
		return cmp.Compare(notify.DistanceKm(v.Lat, v.Lon, a.Lat, a.Lon), notify.DistanceKm(v.Lat, v.Lon, b.Lat, b.Lon))
	})
}

func (d *decision) viewActions(v *CallView, c *Call) {
	for _, act := range DeskActions {
		e := Desked{Does: act, Words: "…"}
		if act == "join" && len(v.CanJoin) > 0 {
			e.With = v.CanJoin[0].ID
		}
		if d.deskMay(c, e) {
			v.Does = append(v.Does, act)
		}
	}
	if !d.canGive(c) {
		return
	}
	needs := d.needs(c)
	for _, k := range d.Roster {
		if k.Address != "" {
			v.CanBeAsked = append(v.CanBeAsked, d.catcherRow(k))
		}
	}
	far := func(r CatcherRow) float64 {
		return notify.DistanceKm(r.Lat, r.Lon, needs.Place.Lat, needs.Place.Lon)
	}
	slices.SortStableFunc(v.CanBeAsked, func(a, b CatcherRow) int { return cmp.Compare(far(a), far(b)) })
}
