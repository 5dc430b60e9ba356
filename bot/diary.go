package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// Reminder is one line of a catcher's diary: what they are told on a later day.
type Reminder struct {
	What string    `json:"what"`           // "veg", "comb", … : the text is care_<what>
	Call string    `json:"call,omitempty"` // whose bees
	Ref  string    `json:"ref,omitempty"`  // "7KQ2", or "BX01" for a bait box
	At   time.Time `json:"at"`
	Sent time.Time `json:"sent,omitzero"` // told, and waits for DONE, LATER or SKIP
}

// care is what the days after hiving need. All of it is common practice without a source,
// save where a row says more; the days are judgement.
var care = []struct {
	what string
	day  int
}{
	{"veg", 1},  // what was clipped with them comes out; stragglers walk in from the box
	{"comb", 4}, // a nuc: comb for a few days, then it moves
	// A swarm brings no brood: mites sit on the bees until the first cells are sealed, eight
	// or nine days after the queen lays (bee biology from memory). The label is the law: no
	// dose here.
	{"mites", 5},
	{"queen", 7}, // eggs after 3-5 days with an old queen, 7-14 and more with a young one (from memory)
	{"still", 14},
	{"quarantine", 24}, // one brood cycle, 21-24 days (from memory)
}

// careHour is when people are home and it is light: reminders never come at night.
const careHour = 18

// answerWithin is how long a reminder waits for its answer before it is forgotten.
const answerWithin = 7 * 24 * time.Hour

// planCare enters the days after hiving into the holder's diary.
func (d *decision) planCare(c *Call, k *Catcher) {
	if k.Address == "" { // off the list meanwhile
		return
	}
	for _, row := range care {
		what := row.what
		switch {
		case what == "comb" && c.OnSite.Frames == withoutFrames:
			continue
		case (what == "comb" || what == "veg") && c.OnSite.Frames == withFrames:
			what += "_nuc"
		}
		d.enter(k, Reminder{What: what, Call: c.ID, Ref: c.Reference, At: d.onDay(row.day, careHour)})
	}
}

// onDay is a clock hour so many local days from now; a day may have 23 or 25 hours.
func (d *decision) onDay(days, hour int) time.Time {
	return time.Date(d.now.Year(), d.now.Month(), d.now.Day()+days, hour, 0, 0, 0, d.now.Location())
}

// enter adds a reminder, in place of one of the same kind about the same thing.
func (d *decision) enter(k *Catcher, r Reminder) {
	const longest = 200
	k.Diary = slices.DeleteFunc(k.Diary, func(x Reminder) bool { return x.What == r.What && x.Ref == r.Ref })
	r.At = r.At.UTC().Truncate(time.Second)
	if len(k.Diary) < longest {
		k.Diary = append(k.Diary, r)
	}
	d.setDiary(k)
}

// setDiary sets the one timer of a diary to its next line.
func (d *decision) setDiary(k *Catcher) {
	var next time.Time
	for _, r := range k.Diary {
		if r.Sent.IsZero() && (next.IsZero() || r.At.Before(next)) {
			next = r.At
		}
	}
	t := k.timer("diary")
	if next.Equal(t.At) {
		return
	}
	if t.At = next; !next.IsZero() {
		t.N++
	}
}

// timer returns the catcher's timer for purpose, adding it when there is none.
func (k *Catcher) timer(purpose string) *CallTimer {
	for i := range k.Timers {
		if k.Timers[i].Purpose == purpose {
			return &k.Timers[i]
		}
	}
	k.Timers = append(k.Timers, CallTimer{Purpose: purpose})
	return &k.Timers[len(k.Timers)-1]
}

// firedFor is a catcher's timer that went off.
func (d *decision) firedFor(id, purpose string, t Timer) {
	k := d.catcher(id)
	current := k.ID != "" && slices.ContainsFunc(k.Timers, func(x CallTimer) bool {
		return x.Purpose == purpose && x.N == t.N && !x.At.IsZero()
	})
	if !current {
		d.change.Outcome = OutcomeStale
		if k.ID == "" || k.timer(purpose).At.IsZero() {
			d.change.Timers = append(d.change.Timers, TimerChange{Timer: t, Clear: true})
		}
		return
	}
	k.timer(purpose).At = time.Time{}
	d.readDiary(k)
}

// readDiary tells a catcher what is due. Nothing is told at night.
func (d *decision) readDiary(k *Catcher) {
	if k.Address == "" {
		k.Diary = nil // not on the roster any more
		return
	}
	k.Diary = slices.DeleteFunc(k.Diary, func(r Reminder) bool { return !r.Sent.IsZero() && d.Now.Sub(r.Sent) > answerWithin })
	quiet := d.Settings.dispatch()
	for i := range k.Diary {
		r := &k.Diary[i]
		switch {
		case !r.Sent.IsZero() || r.At.After(d.Now):
		case notify.Quiet(d.now, quiet.QuietFrom, quiet.QuietTo):
			r.At = quiet.QuietTo.Next(d.now).UTC()
		default:
			r.Sent = d.Now.UTC().Truncate(time.Second)
			d.remind(k, *r)
		}
	}
	d.nextSeason(k)
	d.setDiary(k)
}

// nextSeason enters the roll call of the year after; the one that was called waits for its
// IN or OUT as "roll".
func (d *decision) nextSeason(k *Catcher) {
	called := false
	for i := range k.Diary {
		if r := &k.Diary[i]; r.What == "season" && !r.Sent.IsZero() {
			r.What, called = "roll", true
		}
	}
	if called {
		d.enter(k, Reminder{What: "season", At: d.nextRollCall(k)})
	}
}

// rollCallBefore is how long before the season the roll is called: time to mend the kit.
const rollCallBefore = 14 * 24 * time.Hour

// nextRollCall is two weeks before the next season at the catcher's home.
func (d *decision) nextRollCall(k *Catcher) time.Time {
	for year := d.now.Year() - 1; ; year++ {
		opens, _ := triage.Season(year, k.Lat, d.now.Location())
		day := opens.Add(-rollCallBefore)
		at := time.Date(day.Year(), day.Month(), day.Day(), careHour, 0, 0, 0, day.Location())
		if at.After(d.now.Add(24 * time.Hour)) {
			return at
		}
	}
}

// remind sends one reminder with its answers.
func (d *decision) remind(k *Catcher, r Reminder) {
	p := d.catcherParty(k)
	v := values{"Ref": r.Ref, "Holder": k.Name}
	if r.What == "trap" {
		v["What"] = d.boxPlace(k, r.Ref)
	}
	m := d.tell(p, notify.Reminder, "care_"+r.What, v)
	m.NotAfter = d.Now.Add(12 * time.Hour)
	if p.Address.Channel() != notify.Telegram {
		return
	}
	button := func(key, says string) notify.Button {
		return notify.Button{Label: d.say(p, "button_"+key, nil), Says: says}
	}
	switch r.What {
	case "season":
		m.Buttons = [][]notify.Button{{{Label: "IN", Says: "IN"}, {Label: "OUT", Says: "OUT"}}}
	case "still":
		m.Buttons = [][]notify.Button{{button("still", "DONE "+r.Ref), button("left", "LEFT "+r.Ref)}, {button("later", "LATER "+r.Ref+" tomorrow 18:00")}}
	default:
		m.Buttons = [][]notify.Button{
			{button("done", "DONE "+r.Ref), button("later", "LATER "+r.Ref+" tomorrow 18:00")},
			{button("skip", "SKIP "+r.Ref), button("skip_all", "SKIP ALL "+r.Ref)},
		}
	}
}

// openReminder returns the reminder that an answer is about: the latest one told, about ref if that
// is named. nil when none waits.
func (k *Catcher) openReminder(ref string) *Reminder {
	var latest *Reminder
	for i := range k.Diary {
		r := &k.Diary[i]
		if r.Sent.IsZero() || r.What == "roll" || ref != "" && r.Ref != ref {
			continue
		}
		if latest == nil || !r.Sent.Before(latest.Sent) {
			latest = r
		}
	}
	return latest
}

// diaryWord is an answer to a reminder: done, later, not at all.
func (d *decision) diaryWord(p *Person, cmd intake.Command) bool {
	k := d.catcher(p.Catcher)
	if cmd.Word == intake.WordSkipAll {
		return d.skipAll(p, k, cmd.Reference)
	}
	r := k.openReminder(cmd.Reference)
	if cmd.Word == intake.WordLater || cmd.Word == intake.WordTomorrow {
		return d.putOff(p, k, r, cmd)
	}
	if r == nil {
		if d.openCall(p) != nil {
			return false
		}
		d.idle(p, "nothing_due", nil)
		return true
	}
	what, ref, call := r.What, r.Ref, r.Call
	k.Diary = slices.DeleteFunc(k.Diary, func(x Reminder) bool { return x.What == what && x.Ref == ref })
	v := values{"Ref": ref}
	switch {
	case what == "still" && cmd.Word != intake.WordSkip:
		stayed, key := "yes", "stayed_noted"
		if cmd.Word == intake.WordLeft {
			stayed, key = "no", "left_noted"
			k.Diary = slices.DeleteFunc(k.Diary, func(x Reminder) bool { return x.Ref == ref })
		}
		if c := d.call(call); c.ID != "" {
			c.OnSite.Stayed = stayed
			d.note(c, "stayed "+stayed)
		}
		d.tell(p.party(), notify.News, key, v)
	case cmd.Word == intake.WordLeft:
		k.Diary = slices.DeleteFunc(k.Diary, func(x Reminder) bool { return x.Ref == ref })
		if c := d.call(call); call != "" && c.ID != "" {
			c.OnSite.Stayed = "no"
		}
		d.tell(p.party(), notify.News, "left_noted", v)
	case what == "trap":
		d.boxChecked(k, ref)
		d.tell(p.party(), notify.News, "care_noted", v)
	default:
		d.tell(p.party(), notify.News, "care_noted", v)
	}
	if what == "trap" && cmd.Word == intake.WordSkip {
		k.Diary = slices.DeleteFunc(k.Diary, func(x Reminder) bool { return x.Ref == ref })
	}
	d.setDiary(k)
	return true
}

// skipAll ends every reminder about one thing, or about the one told last.
func (d *decision) skipAll(p *Person, k *Catcher, ref string) bool {
	if r := k.openReminder(ref); ref == "" && r != nil {
		ref = r.Ref
	}
	if ref == "" || !slices.ContainsFunc(k.Diary, func(r Reminder) bool { return r.Ref == ref }) {
		d.idle(p, "nothing_due", nil)
		return true
	}
	k.Diary = slices.DeleteFunc(k.Diary, func(r Reminder) bool { return r.Ref == ref })
	d.setDiary(k)
	d.tell(p.party(), notify.News, "skip_noted", values{"Ref": ref})
	return true
}

// putOff moves a reminder, or the hiving of a box that is home.
func (d *decision) putOff(p *Person, k *Catcher, r *Reminder, cmd intake.Command) bool {
	text := cmd.Rest
	if cmd.Word == intake.WordTomorrow || strings.TrimSpace(text) == "" {
		text = "tomorrow " + text
	}
	at, ok := intake.ReadWhen(text, d.setting(p))
	if !ok {
		return false
	}
	quiet := d.Settings.dispatch()
	if notify.Quiet(at, quiet.QuietFrom, quiet.QuietTo) {
		at = quiet.QuietTo.Next(at)
	}
	v := values{"Until": d.clock(p.party(), at)}
	if r != nil {
		r.Sent, r.At = time.Time{}, at.UTC()
		v["Ref"] = r.Ref
		d.setDiary(k)
		d.tell(p.party(), notify.News, "later_noted", v)
		return true
	}
	d.wantCalls(k.Holds)
	for _, id := range k.Holds {
		c := d.call(id)
		if c.heldBy(k.ID) && c.Stage == Lifted && (cmd.Reference == "" || cmd.Reference == c.Reference) {
			v["Ref"] = c.Reference
			d.set(c, "hive", at)
			d.tell(p.party(), notify.News, "later_noted", v)
			return true
		}
	}
	if d.openCall(p) != nil {
		return false
	}
	d.idle(p, "nothing_due", nil)
	return true
}
