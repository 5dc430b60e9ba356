package bot

import (
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// Questions about a place that was read.
const (
	askWhich intake.Question = "which" // which of these places?
)

// reading is what a reader of texts must know of the hotline.
func (s *Settings) reading() intake.Setting {
	return intake.Setting{
		RadiusKm: s.RadiusKm, Metric: s.Metric(),
		Center: intake.Place{Lat: s.Latitude, Lon: s.Longitude, PrecisionM: s.RadiusKm * 1000},
	}
}

// gazetteer returns the places known by name.
func (d *decision) gazetteer() *intake.Gazetteer {
	if d.Places == nil {
		panic(Need{Places: true})
	}
	return d.Places
}

// lookUp finds the point of a place that was told in words, once for the same words: in the
// gazetteer at once, or else by an errand that nothing waits for. text is all that the
// caller wrote with it, which may name the town.
func (d *decision) lookUp(p *Person, c *Call, text string) {
	place, s := c.Answers.Place, d.setting(p)
	if !s.Unlocated(place) || c.LookedUp == place.Text {
		return
	}
	c.LookedUp = place.Text
	spots := d.gazetteer().Find(place.Text, s)
	if text != "" && text != place.Text {
		if more := d.gazetteer().Find(place.Text+", "+text, s); len(more) == 1 && (len(spots) != 1 || more[0].Place.PrecisionM < spots[0].Place.PrecisionM) {
			spots = more
		}
	}
	if len(spots) > 0 {
		d.spotted(p, c, spots)
		return
	}
	if d.Settings.Places.Nominatim == "" {
		return
	}
	e := Errand{
		ID: derive(d.Secret, "errand "+place.Text, string(d.Event.ID()), 16), Call: c.ID, Words: place.Text,
		Language: c.Caller.Language, Until: d.Now.Add(errandWithin),
	}
	c.Errand, c.ErrandSince = e.ID, d.Now
	d.change.Errands = append(d.change.Errands, e)
}

// spotted lays what was found under the caller's words: one place, or several to choose from.
func (d *decision) spotted(p *Person, c *Call, spots []intake.Spot) {
	p.Talk.Spots = nil
	if len(spots) > 1 && !d.setting(p).Outside(spots[0].Place) {
		p.Talk.Spots = spots
		p.Talk.Asked = without(p.Talk.Asked, askWhich)
		return
	}
	found := spots[0].Place
	found.Text = c.Answers.Place.Text
	c.Answers.Place, c.Area = &found, spots[0].Area
	d.note(c, "located")
}

// inTown keeps the town that was told before for words that no map knows.
func (d *decision) inTown(p *Person, c *Call, town intake.Place) {
	place := c.Answers.Place
	known := !d.setting(p).Unlocated(place) && (place.Lat != town.Lat || place.Lon != town.Lon)
	if town.Text == "" || len(p.Talk.Spots) > 0 || known {
		return
	}
	town.Text = place.Text + ", " + town.Text
	c.Answers.Place, c.LookedUp, c.Area = &town, town.Text, false
}

// beyond reports whether the place that the caller gave lies outside the area served, and
// says so. The place before it, if there was one, stands again.
func (d *decision) beyond(p *Person, c *Call) bool {
	place := c.Answers.Place
	if place == nil || !d.setting(p).Outside(*place) {
		return false
	}
	c.Answers.Place, p.Talk.Spots = d.placeBefore, nil
	c.LookedUp = ""
	d.outside(p, c, *place)
	return true
}

// outside tells the caller that we do not go there, and who does. The second time a person
// from the club looks: they may know better than a map.
func (d *decision) outside(p *Person, c *Call, place intake.Place) {
	p.Talk.Outside++
	d.note(c, "outside_area")
	if p.Talk.Outside > 1 && c.Stage == Asking {
		d.hold(c, "outside_area")
		return
	}
	v := values{"Help": d.Settings.Refer("bees")}
	key := "outside"
	if n := d.Settings.Neighbour(place); n != nil {
		key, v["Name"], v["Help"] = "outside_neighbour", n.Name, n.reach()
	}
	m := d.tell(c.Caller, notify.Question, key, v)
	if c.Stage != Asking || c.Held != "" {
		return
	}
	m.Still = notify.Still{Call: c.ID}
	if !slices.Contains(p.Talk.Asked, intake.AskPlace) {
		p.Talk.Asked = append(p.Talk.Asked, intake.AskPlace)
	}
	p.Talk.Waiting, p.Talk.Misses, p.Talk.Nudged = intake.AskPlace, 0, false
	d.set(c, "silence", d.Now.Add(nudgeAfter))
}

// needsNearer reports whether a town was all that the caller said: they are asked once for
// a street, a shop or a crossing, and then it is good enough.
func (d *decision) needsNearer(p *Person, c *Call) bool {
	if !c.Area || p.Talk.Nearer || c.Stage != Asking || d.placeBefore != nil {
		return false
	}
	p.Talk.Nearer = true
	return true
}

// chosenSpot reads the answer to "which of these?": its number, or words that tell them
// apart. Words that do not are kept with the place; a person can read them.
func (d *decision) chosenSpot(p *Person, c *Call, text string) {
	spots := p.Talk.Spots
	p.Talk.Spots, p.Talk.Waiting = nil, ""
	n, ok := number(text)
	switch {
	case ok && n >= 1 && n <= len(spots):
		d.spotted(p, c, spots[n-1:n])
		c.withTown(spots[n-1].Name)
	case ok && n == len(spots)+1:
		c.Answers.Place, c.LookedUp = nil, ""
		p.Talk.Asked = without(p.Talk.Asked, intake.AskPlace)
	case c.Answers.Place != nil:
		place := *c.Answers.Place
		if found := d.gazetteer().Find(place.Text+", "+text, d.setting(p)); len(found) == 1 {
			d.spotted(p, c, found)
			c.withTown(found[0].Name)
			break
		}
		if !intake.Courtesy(text) && strings.TrimSpace(text) != "" {
			place.Text += " (" + clip(text) + ")"
			c.Answers.Place, c.LookedUp = &place, place.Text
		}
	}
	d.proceed(p, c, "")
}

// withTown adds to the words of a place the town by which it was chosen: a driver must know.
func (c *Call) withTown(name string) {
	_, town, there := strings.Cut(name, ", ")
	if !there || strings.Contains(lower(c.Answers.Place.Text), lower(town)) {
		return
	}
	place := *c.Answers.Place
	place.Text += ", " + town
	c.Answers.Place, c.LookedUp = &place, place.Text
}

// spotList numbers the places to choose from, and the way out.
func (d *decision) spotList(p Party, spots []intake.Spot) string {
	var lines []string
	for i, s := range spots {
		lines = append(lines, itoa(i+1)+" "+s.Name)
	}
	lines = append(lines, itoa(len(spots)+1)+" "+d.say(p, "opt_which_other", nil))
	return strings.Join(lines, " ")
}

// spotButtons are the same as buttons.
func (d *decision) spotButtons(p Party, spots []intake.Spot) [][]notify.Button {
	if p.Address.Channel() != notify.Telegram {
		return nil
	}
	var rows [][]notify.Button
	for i, s := range spots {
		rows = append(rows, []notify.Button{{Label: s.Name, Says: "=" + string(askWhich) + ":" + itoa(i+1)}})
	}
	other := notify.Button{Label: d.say(p, "opt_which_other", nil), Says: "=" + string(askWhich) + ":" + itoa(len(spots)+1)}
	return append(rows, []notify.Button{other})
}

// returned is the answer to an errand. The talk went on meanwhile: offers that are out are
// made better in place, a first round that waited begins.
func (d *decision) returned(e Returned) {
	switch {
	case e.Errand.Roads != nil:
		d.drivesCame(e)
		return
	case e.Errand.Card != "":
		d.cardRead(e)
		return
	}
	c := d.call(e.Errand.Call)
	if c.ID == "" || !c.Ended.IsZero() || c.Errand != e.Errand.ID {
		d.change.Outcome = OutcomeStale
		return
	}
	c.Errand = ""
	p := d.personByID(c.Caller.Person)
	s := d.setting(p)
	if place := c.Answers.Place; s.Unlocated(place) && place.Text == e.Errand.Words {
		d.placeBefore = place
		if spots := intake.Clear(e.Spots, s); len(spots) > 0 {
			d.spotted(p, c, spots)
		}
		if p.Call == c.ID && c.Stage == Looking && d.beyond(p, c) {
			d.note(c, "found_outside")
		}
	}
	if c.Waits {
		d.clear(c, "round")
		d.firstRound(p, c)
		return
	}
	d.refreshOffers(c)
	d.tellHolder(c)
	if len(p.Talk.Spots) > 1 && p.Talk.Waiting == "" && c.Stage == Looking {
		d.ask(p, c, askWhich, "")
	}
}

// awaitsPlace reports whether the first round may wait a moment for an errand.
func (d *decision) awaitsPlace(c *Call) bool {
	return c.Errand != "" && d.Now.Sub(c.ErrandSince) < errandWaited
}
