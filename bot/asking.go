package bot

import (
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// How a question is put, and how what was understood is said back.

// ask puts question q to the caller.
func (d *decision) ask(p *Person, c *Call, q intake.Question, noted string) {
	d.put(p, c, q, "ask_"+string(q), noted)
}

// put sends a question under the words of key and waits for its answer.
func (d *decision) put(p *Person, c *Call, q intake.Question, key, noted string) {
	if !slices.Contains(p.Talk.Asked, q) {
		p.Talk.Asked = append(p.Talk.Asked, q)
	}
	if p.Talk.Waiting != q {
		p.Talk.Misses = 0
	}
	p.Talk.Waiting, p.Talk.Nudged = q, false
	text := d.say(c.Caller, key, d.asking(p, c, q))
	if noted != "" {
		text = noted + " " + text
	} else if p.Talk.Unsaid && q != intake.AskStung {
		if said, ok := d.noted(c, p.Talk.Noted, text); ok {
			text = said
			p.Talk.Unsaid, p.Talk.Noted = false, c.Answers
		}
	}
	m := d.send(c.Caller, notify.Question, text)
	if q == intake.AskPlace {
		d.addLink(m, c, "tap_to_share", 2)
	}
	m.Buttons = d.optionButtons(c.Caller, q)
	if q == askWhich {
		m.Buttons = d.spotButtons(c.Caller, p.Talk.Spots)
	}
	m.Still = notify.Still{Call: c.ID, Asked: string(q)}
	if c.Stage == Asking && c.Held == "" {
		d.set(c, "silence", d.Now.Add(nudgeAfter))
	}
}

// asking is what the words of a question may name.
func (d *decision) asking(p *Person, c *Call, q intake.Question) values {
	v := d.about(c, c.Caller)
	if q == askWhich {
		v["List"] = d.spotList(c.Caller, p.Talk.Spots)
	}
	return v
}

// optionButtons returns q's options as buttons, two a row where they are short.
func (d *decision) optionButtons(p Party, q intake.Question) [][]notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	const short = 18
	var rows [][]notify.Button
	for _, o := range intake.Options(q) {
		b := notify.Button{Label: d.say(p, "opt_"+string(q)+"_"+o.Key, nil), Says: "=" + string(q) + ":" + o.Key}
		if last := len(rows) - 1; last >= 0 && len(rows[last]) == 1 && len(rows[last][0].Label) <= short && len(b.Label) <= short {
			rows[last] = append(rows[last], b)
			continue
		}
		rows = append(rows, []notify.Button{b})
	}
	return rows
}

// noted puts before a question what was read from free words, so that it can be corrected
// before it is relied on: as much of it as leaves the whole one SMS, the weightiest first.
// What was said back before is not said again. False means that there was nothing to say, or
// no room: it goes before the next question.
func (d *decision) noted(c *Call, before intake.Answers, question string) (string, bool) {
	a, p := c.Answers, c.Caller
	var parts []string
	add := func(key, value, old string) {
		if value != old && value != "" && value != "unsure" && value != "other" && value != "unknown" {
			parts = append(parts, d.say(p, "word_"+key+"_"+value, nil))
		}
	}
	add("shape", a.Shape, before.Shape)
	add("surface", a.Surface, before.Surface)
	if a.HeightM != nil && (before.HeightM == nil || *a.HeightM != *before.HeightM) {
		parts = append(parts, notify.HeightWords(words(p), *a.HeightM, d.Settings.Metric()))
	}
	add("body", a.Body, before.Body)
	add("crowd", a.Crowd, before.Crowd)
	if a.Stung == "none" || a.Stung == "someone" {
		add("stung", a.Stung, before.Stung)
	}
	for n := len(parts); n > 0; n-- {
		text := d.say(p, "noted", values{"What": strings.Join(parts[:n], ", ")}) + " " + question
		if words(p).Chat || notify.Segments(intake.GSM(text)) == 1 {
			return text, true
		}
	}
	return question, false
}
