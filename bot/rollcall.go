package bot

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"skepline/notify"
)

// hours changes when a catcher wants to be asked.
func (d *decision) hours(p *Person, text string) {
	k := d.catcher(p.Catcher)
	text = strings.TrimSpace(text)
	if text == "" {
		shown := k.Hours
		if shown == "" {
			shown = d.say(p.party(), "hours_always", nil)
		}
		d.idle(p, "hours_now", values{"What": shown})
		return
	}
	if low := lower(text); low == "always" || low == "siempre" {
		text = ""
	}
	if _, err := notify.ParseHours(text); err != nil {
		d.idle(p, "hours_how", nil)
		return
	}
	k.Hours = text
	d.onRoster(k)
	if text == "" {
		text = d.say(p.party(), "hours_always", nil)
	}
	d.tell(p.party(), notify.News, "hours_noted", values{"What": text})
}

var reachText = regexp.MustCompile(`^(\d+(?:[.,]\d+)?)\s*([a-z]*)`)

// reach changes how far a catcher goes, in the hotline's units unless the text names one.
func (d *decision) reach(p *Person, text string) {
	k := d.catcher(p.Catcher)
	m := reachText.FindStringSubmatch(lower(strings.TrimSpace(text)))
	const kmPerMile, farthest = 1.609344, 300.0
	km := math.NaN()
	if m != nil {
		n, _ := strconv.ParseFloat(strings.ReplaceAll(m[1], ",", "."), 64)
		miles := strings.HasPrefix(m[2], "mi") || m[2] == "" && !d.Settings.Metric()
		if km = n; miles {
			km = n * kmPerMile
		}
	}
	if math.IsNaN(km) || km < 1 || km > farthest {
		d.idle(p, "reach_how", nil)
		return
	}
	k.ReachKm = math.Round(km*10) / 10
	d.onRoster(k)
	d.tell(p.party(), notify.News, "reach_noted", values{"What": strings.TrimSpace(text) + d.unitFor(m[2])})
}

// unitFor is the unit that a bare number was read in.
func (d *decision) unitFor(said string) string {
	switch {
	case said != "":
		return ""
	case d.Settings.Metric():
		return " km"
	}
	return " mi"
}

// onRoster takes a changed catcher to the roster.
func (d *decision) onRoster(k *Catcher) {
	roster := k.Catcher
	d.change.Roster = append(d.change.Roster, RosterCard{k.ID, &roster})
}

// answersRoll is IN or OUT as the answer to the roll call of a season.
func (d *decision) answersRoll(k *Catcher) bool {
	before := len(k.Diary)
	k.Diary = slices.DeleteFunc(k.Diary, func(r Reminder) bool { return r.What == "roll" })
	return len(k.Diary) < before
}
