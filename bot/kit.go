package bot

import (
	"slices"
	"strings"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// kit notes what a catcher owns, so that a brief can say what to bring and what to borrow.
// Without a list it shows what is known.
func (d *decision) kit(p *Person, text string) {
	k := d.catcher(p.Catcher)
	if strings.TrimSpace(text) == "" {
		key := "kit_now"
		if len(k.Kit) == 0 {
			key = "kit_none"
		}
		d.idle(p, key, values{"List": d.kitList(p.party(), k)})
		return
	}
	told, _ := intake.ReadKit(text, d.setting(p)) // the command was read by it
	k.Kit, k.LadderM = told.Items, told.LadderM
	d.onRoster(k)
	d.tell(p.party(), notify.News, "kit_noted", values{"List": d.kitList(p.party(), k)})
}

// kitList names a catcher's things in a few words.
func (d *decision) kitList(p Party, k *Catcher) string {
	var words []string
	for _, item := range k.Kit {
		word := d.say(p, "word_kit_"+item, nil)
		if item == "ladder" && k.LadderM > 0 {
			word += " " + d.height(p, k.LadderM)
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}

// height is so many metres in words.
func (d *decision) height(p Party, metres float64) string {
	return notify.HeightWords(words(p), metres, d.Settings.Metric())
}

// Whether the box that is taken home has frames: the next morning goes another way then.
const (
	withFrames    = "yes"
	withoutFrames = "no"
)

// framesByKit is what the catcher's kit tells of their boxes, "" when it leaves both open.
func framesByKit(k *Catcher) string {
	switch nuc, box := slices.Contains(k.Kit, "nuc"), slices.Contains(k.Kit, "box"); {
	case nuc && !box:
		return withFrames
	case box && !nuc:
		return withoutFrames
	}
	return ""
}

// frames is the holder's word on the box.
func (d *decision) frames(c *Call, frames string) {
	c.OnSite.Frames = frames
	d.tell(c.Holder.Party, notify.News, "frames_"+frames+"_noted", d.about(c, c.Holder.Party))
}

// size is how big the swarm was, as the one says who saw it.
func (d *decision) size(p *Person, c *Call, text string) {
	size, kg, ok := intake.ReadSize(text, d.setting(p))
	if !ok {
		d.tell(p.party(), notify.Question, "size_how", d.about(c, p.party())).Buttons = rows(d.sizeButtons(p.party(), c))
		return
	}
	c.OnSite.Size, c.OnSite.SizeKg = size, roundedTo(kg, 2)
	v := d.about(c, p.party())
	v["What"] = d.say(p.party(), "word_size_"+size, nil)
	d.tell(p.party(), notify.News, "size_noted", v)
}

// sizeButtons ask how big it was, until that is told.
func (d *decision) sizeButtons(p Party, c *Call) []notify.Button {
	if c.OnSite.Size != "" {
		return nil
	}
	return d.row(p, c, "size_small", "size_medium", "size_large")
}

// sunUp is the height of the sun, in degrees, from which a closed box in a car or in the open
// overheats. Weakly sourced (apiary pages and a vendor's); the number is judgement.
const sunUp = 15

// hotByDay reports whether bees that are closed in now are closed in by day.
func (d *decision) hotByDay(c *Call) bool {
	lat, lon := d.point(c)
	return triage.SunHeight(d.Now, lat, lon) > sunUp
}

// warmFrom is the height of the sun at noon, in degrees, from which evenings are taken for
// warm: mid-May to the end of July at 42 degrees, all year near the equator, never in Tromso.
// Judgement.
const warmFrom = 66

// warmEvening reports whether the evening of today may be a warm one.
func (d *decision) warmEvening(c *Call) bool {
	lat, lon := d.point(c)
	return triage.NoonHeight(d.now, lat, lon) > warmFrom
}
