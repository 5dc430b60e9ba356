package bot

import (
	"slices"
	"time"
)

// saw notes that who was shown the exact address of c, once a day. The list is not part of the
// story, which is cut when it grows long, and goes with the address.
func (d *decision) saw(c *Call, who string) {
	today := dayNumber(d.now)
	if slices.ContainsFunc(c.Seen, func(l Line) bool { return l.What == who && dayNumber(l.At.In(d.now.Location())) == today }) {
		return
	}
	c.Seen = append(c.Seen, Line{At: d.now.UTC().Truncate(time.Second), What: who})
}

// DeskSaw is the event of a steward who opens a call's story, which shows the address. One
// look a day by one session counts.
func DeskSaw(call, session string, at time.Time) Desked {
	return Desked{Event: EventID("sw:saw:" + call + ":" + session + ":" + at.UTC().Format("060102")), Call: call, Does: deskSees, By: session}
}

const deskSees = "see"

// deskSees notes a look at the desk, as long as there is something to be seen.
func (d *decision) deskSees(c *Call, e Desked) {
	if c.ID == "" || c.Caller.Person == "" {
		d.change.Outcome = OutcomeStale
		return
	}
	d.saw(c, "desk "+e.By)
}

// dropsTold is how many calls somebody may give back in fourteen days, each after they were
// shown an address, before the stewards hear of it. How many a day they can take is limited
// by the roster. Judgement.
const dropsTold = 4

// gaveBack counts a call that a catcher gives back without having been there.
func (d *decision) gaveBack(c *Call, k *Catcher) {
	if c.Stage != Taken {
		return
	}
	k.Drops = append(since(k.Drops, d.Now.Add(-14*24*time.Hour)), d.Now)
	if len(k.Drops) == dropsTold {
		d.tellStewards("steward_drops", values{"Holder": k.Name, "Count": dropsTold}, k.Person)
	}
}

// withSeen puts the looks at the address in their places among what happened.
func withSeen(lines []StoryLine, seen []Line, words func(who string) string) []StoryLine {
	for _, l := range seen {
		at := slices.IndexFunc(lines, func(s StoryLine) bool { return s.when.After(l.At) })
		if at < 0 {
			at = len(lines)
		}
		lines = slices.Insert(lines, at, StoryLine{Text: words(l.What), when: l.At})
	}
	return lines
}
