package bot

import (
	"fmt"
	"slices"
	"strings"

	"skepline/notify"
)

// WhyView is why a call's catchers were asked, and others not, in the numbers that the rule
// went by when it looked last. Gain and cost are in thousandths of a swarm.
type WhyView struct {
	At, Again string // clocks
	What      string // what came of the look, in words
	Lost      string // percent in an hour
	Hope      string // percent, from the asks that were out before
	Price     string // of an ask to a rested catcher
	Able      int    // on the roster who could ever do it
	Roster    int
	Asked     []WhyRow // with what the rule thought of each when they were asked
	Next      []WhyRow // could be asked now, and are not yet
	Not       []WhyRow // cannot be asked now
	More      int      // of these, so many are not listed
}

// WhyRow is one catcher in it.
type WhyRow struct {
	Catcher, Name string
	Words         string // why not, or what came of the ask
	Percent       string // chance of a yes; "" where nobody weighed it
	Gain, Cost    string // "" where it did not come to be weighed
}

// weighed keeps what a look at c went by.
func (d *decision) weighed(c *Call, plan notify.Plan, asked []notify.Ask, near *Surroundings) {
	c.Weighed = notify.Explain(plan, d.needs(c), near.Roster, near.Board, asked, d.now, d.Settings.dispatch())
	c.Weighed.Roster = near.Members
}

// viewWhy puts what was kept into words for p, nil when nobody has looked yet.
func (d *decision) viewWhy(c *Call, p Party) *WhyView {
	w := c.Weighed
	if w == nil {
		return nil
	}
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	v := &WhyView{
		At: d.clock(p, w.At), What: d.say(p, "why_"+string(w.Reason), nil), Able: w.Able, Roster: w.Roster, More: w.More,
		Lost: percent(hourly(w.Lost)), Hope: percent(w.Hope), Price: thousandths(w.Price),
	}
	if next := c.timer("round").At; !next.IsZero() {
		v.Again = d.clock(p, next)
	}
	for _, o := range c.Offers {
		row := WhyRow{Catcher: o.Catcher, Name: o.Name, Words: d.say(p, "why_state_"+string(o.State), nil)}
		if o.P > 0 {
			row.Percent = percent(o.P)
		}
		if o.Gain > 0 {
			row.Gain, row.Cost = thousandths(o.Gain), thousandths(o.Cost)
		}
		v.Asked = append(v.Asked, row)
	}
	for _, k := range w.Next {
		row := WhyRow{Catcher: k.Catcher, Name: d.rosterName(k.Catcher), Percent: percent(k.P), Gain: thousandths(k.Gain), Cost: thousandths(k.Cost)}
		row.Words = d.say(p, "why_not_worth", nil)
		if k.Gain >= k.Cost {
			row.Words = d.say(p, "why_not_turn", nil)
		}
		v.Next = append(v.Next, row)
	}
	for _, k := range w.Not {
		if k.Reason != notify.ReasonAskedBefore { // they are among those asked
			v.Not = append(v.Not, WhyRow{Catcher: k.Catcher, Name: d.rosterName(k.Catcher), Words: d.whyNot(k, p)})
		}
	}
	return v
}

// whyNot says why somebody is not asked. Who opted out of all texts looks like somebody away
// to the rule.
func (d *decision) whyNot(k notify.LeftOut, p Party) string {
	if k.Reason == notify.ReasonAway {
		if person := d.catcher(k.Catcher).Person; person != "" && d.personByID(person).Stopped {
			return d.say(p, "why_not_opted_out", nil)
		}
	}
	return d.say(p, "why_not_"+string(k.Reason), nil)
}

func (d *decision) rosterName(id string) string {
	i := slices.IndexFunc(d.Roster, func(k notify.Catcher) bool { return k.ID == id })
	if i < 0 {
		return id
	}
	return d.Roster[i].Name
}

// hourly is the chance of an hour that has the chance of a minute sixty times.
func hourly(minute float64) float64 {
	stays := 1.0
	for range 60 {
		stays *= 1 - minute
	}
	return 1 - stays
}

func percent(x float64) string     { return fmt.Sprintf("%.0f%%", 100*x) }
func thousandths(x float64) string { return fmt.Sprintf("%.1f", 1000*x) }

// stewardWhy answers WHY: in one text why these people, why now, why not the others, or why
// somebody who is named.
func (d *decision) stewardWhy(p *Person, c *Call, name string) {
	to := p.party()
	v := d.viewWhy(c, to)
	if v == nil {
		d.tell(to, notify.News, "why_nobody", values{"Ref": c.Reference})
		return
	}
	if name = strings.TrimSpace(name); name != "" {
		d.tell(to, notify.News, "why_one", values{"Ref": c.Reference, "What": d.whyOne(v, to, name)})
		return
	}
	const longest = 3 // SMS
	between := " "
	if words(to).Chat {
		between = "\n"
	}
	text := ""
	for names := 12; names > 0; names-- {
		text = strings.Join(d.whyLines(c, v, to, names), between)
		if to.Address.Channel() == notify.Telegram && len(text) < 2000 || notify.Segments(text) <= longest {
			break
		}
	}
	d.send(to, notify.News, text)
}

// onlyOpen returns the one call that is open, nil when there are none or several.
func (d *decision) onlyOpen() *Call {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	if ids := d.openIDs(); len(ids) == 1 {
		return d.call(ids[0])
	}
	return nil
}

// whyLines are the lines of the answer with so many names in each list.
func (d *decision) whyLines(c *Call, v *WhyView, p Party, names int) []string {
	lines := []string{
		d.say(p, "why_head", values{"Ref": c.Reference, "Clock": v.At, "What": v.What}),
		d.say(p, "why_rule", values{"Lost": v.Lost, "Hope": v.Hope, "Price": v.Price}),
	}
	list := func(key string, rows []WhyRow, more int) {
		if len(rows) == 0 {
			return
		}
		var parts []string
		for i, r := range rows {
			if i == names {
				more += len(rows) - i
				break
			}
			parts = append(parts, d.whyRow(r, p))
		}
		if more > 0 {
			parts = append(parts, "+"+itoa(more))
		}
		lines = append(lines, d.say(p, key, values{"List": strings.Join(parts, "; ")}))
	}
	list("why_asked", v.Asked, 0)
	list("why_next", v.Next, 0)
	list("why_not", v.Not, v.More)
	if v.Again != "" {
		lines = append(lines, d.say(p, "why_again", values{"Clock": v.Again}))
	}
	return lines
}

// whyRow is "Ada 35%, worth 5.1 for 0.9: no answer".
func (d *decision) whyRow(r WhyRow, p Party) string {
	text := r.Name
	if r.Percent == "" {
		return text + ": " + r.Words
	}
	text += " " + r.Percent
	if r.Cost != "" {
		text += " " + d.say(p, "why_worth", values{"Gain": r.Gain, "Cost": r.Cost})
	}
	return text + " " + r.Words
}

// whyOne is the row of somebody named.
func (d *decision) whyOne(v *WhyView, p Party, name string) string {
	for _, rows := range [][]WhyRow{v.Asked, v.Next, v.Not} {
		for _, r := range rows {
			if lower(r.Name) == lower(name) || r.Catcher == lower(name) {
				return d.whyRow(r, p)
			}
		}
	}
	if v.More > 0 {
		return d.say(p, "why_not_listed", values{"Name": name})
	}
	return d.say(p, "why_not_known", values{"Name": name})
}
