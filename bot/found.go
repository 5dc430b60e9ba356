package bot

import (
	"slices"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// askFound is the question to a catcher who found no swarm: what was it? Its answer goes into
// the ledger, where triage learns from it.
const askFound intake.Question = "found"

// findings are its answers in the order of their numbers.
var findings = []triage.Kind{
	triage.Yellowjacket, triage.PaperWasp, triage.AerialHornet, triage.BumbleBee, triage.GroundBee, triage.HoneyBeeColony, NotHoneyBees,
}

// asksFound thanks the holder for looking and asks what it was.
func (d *decision) asksFound(c *Call) {
	to := c.Holder.Party
	m := d.tell(to, notify.News, "not_bees_noted", d.about(c, to))
	d.personByID(to.Person).Talk.Found = c.ID
	if to.Address.Channel() != notify.Telegram {
		return
	}
	for _, k := range findings {
		label := d.say(to, "found_something_else", nil)
		if k != NotHoneyBees {
			label = d.say(to, "kind_"+string(k), nil)
		}
		b := notify.Button{Label: label, Says: "=" + string(askFound) + ":" + string(k)}
		if last := len(m.Buttons) - 1; last >= 0 && len(m.Buttons[last]) == 1 {
			m.Buttons[last] = append(m.Buttons[last], b)
			continue
		}
		m.Buttons = append(m.Buttons, []notify.Button{b})
	}
}

// tellsFound reads the answer to what it was. Anything but one of its numbers is read on, and
// the question is dropped.
func (d *decision) tellsFound(p *Person, e Said) bool {
	if p.Talk.Found == "" {
		return false
	}
	n, ok := number(e.Text)
	if !ok || n < 1 || n > len(findings) {
		p.Talk.Found = ""
		return false
	}
	d.turnsOut(p, findings[n-1])
	return true
}

// turnsOut notes what a call turned out to be.
func (d *decision) turnsOut(p *Person, k triage.Kind) {
	c := (*Call)(nil)
	if p.Talk.Found != "" {
		c = d.call(p.Talk.Found)
	}
	p.Talk.Found = ""
	if c == nil || c.Holder == nil || c.Holder.Catcher != p.Catcher || !slices.Contains(findings, k) {
		d.change.Outcome = OutcomeStale
		return
	}
	c.Found = k
	d.note(c, "found "+string(k))
	d.tell(p.party(), notify.News, "found_noted", d.about(c, p.party()))
}
