package bot

import (
	"net/url"
	"regexp"
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
)

// What the two sides of a swarm write to each other goes through the hotline's own number, so
// it is read with the hotline's good name. Links are left out of it, save those to a map, and
// either side can stop it with one word.

// aLink finds what phones make a link of: an address with its scheme, "www.", a host with a
// path, a host under one of the usual endings.
var aLink = regexp.MustCompile(`(?i)\b(?:[a-z][a-z0-9+.-]*://|www\.)\S+|\b(?:[a-z0-9-]+\.)+[a-z]{2,}/\S*|\b(?:[a-z0-9-]+\.)+(?:com|net|org|info|biz|xyz|top|link|click|shop|site|online|app|ru|cn)\b`)

// linkOut stands where a link was.
const linkOut = "[…]"

// withoutLinks returns text without links, save those to a map.
func withoutLinks(text string) string {
	return aLink.ReplaceAllStringFunc(text, func(link string) string {
		if toMap(link) {
			return link
		}
		return linkOut
	})
}

// toMap reports whether a link leads to a map that people share places with. Other pages of
// these hosts may send a browser on to anywhere.
func toMap(link string) bool {
	u, err := url.Parse(link)
	if err != nil || u.Scheme != "https" {
		return false
	}
	switch host := strings.ToLower(u.Hostname()); host {
	case "maps.app.goo.gl", "maps.apple.com", "maps.google.com":
		return true
	case "goo.gl", "www.google.com", "google.com":
		return strings.HasPrefix(u.Path, "/maps/")
	case "www.openstreetmap.org", "openstreetmap.org", "osm.org":
		return !strings.Contains(u.Path, "redirect")
	}
	return false
}

// reportWords stop what is passed on, standing alone.
var reportWords = []string{"report", "denunciar", "denuncio"}

func reports(text string) bool { return slices.Contains(reportWords, intake.PlainPlace(text)) }

// freeze ends the passing on of words between the sides of c: one of them reported the other.
// The stewards look; they can talk to both.
func (d *decision) freeze(c *Call, from Party) {
	who := "caller"
	if c.Holder != nil && from.Person == c.Holder.Party.Person {
		who = "holder"
	}
	d.tell(from, notify.News, "relay_reported", d.about(c, from))
	if c.Frozen != "" {
		return
	}
	c.Frozen = who
	d.note(c, "reported_by "+who)
	d.tellStewards("steward_reported", d.about(c, Party{}), "")
}

// frozen answers words that are not passed on any more, once for each side.
func (d *decision) frozen(c *Call, from Party) {
	mark := "relayed nothing of " + from.Person
	if slices.ContainsFunc(c.Story, func(l Line) bool { return l.What == mark }) {
		d.change.Outcome = OutcomeQuiet
		return
	}
	d.note(c, mark)
	d.tell(from, notify.News, "relay_frozen", d.about(c, from))
}
