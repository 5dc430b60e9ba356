package bot

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// morningOf tells the stewards of the day before in one line, and a few days after the roll
// call who has not answered. A day on which nothing was is not worth a ring.
func (d *decision) morningOf(e Morning) {
	if len(d.Settings.Stewards) == 0 {
		d.change.Outcome = OutcomeQuiet
		return
	}
	today, err := time.ParseInLocation(time.DateOnly, e.Day, d.now.Location())
	if err != nil || dayNumber(today) != dayNumber(d.now) {
		d.change.Outcome = OutcomeStale
		return
	}
	yesterday := today.AddDate(0, 0, -1)
	if d.Board == nil || d.Day == nil || !d.Day.Day.Equal(yesterday) {
		panic(Need{Roster: true, Day: yesterday})
	}
	if d.rollCalled(today) {
		d.rollCallAnswers()
	}
	if !d.Day.Quiet() {
		v := values{
			"Swarms": d.say(Party{Language: d.Settings.DefaultLanguage()}, "swarms", values{"Count": d.Day.Reported}),
			"Caught": d.Day.Caught, "Open": d.Day.Open, "Held": d.Day.Held, "Segments": d.Day.Segments, "Cost": d.cost(d.Day.Segments),
		}
		d.tellStewards("steward_day", v, "")
	}
	if len(d.change.Messages) == 0 {
		d.change.Outcome = OutcomeQuiet
	}
}

// cost is what SMS segments cost in the club's currency, "" where nobody told the price.
func (d *decision) cost(segments int) string {
	l := d.Settings.Limits
	if l.SegmentPrice == 0 || segments == 0 {
		return ""
	}
	return strings.TrimSpace(decimal(float64(segments)*l.SegmentPrice, 2) + " " + l.Currency)
}

// rollAnswerDays is how many days after the roll call the stewards hear who has not answered.
const rollAnswerDays = 3

// rollCalled reports whether the roll of a season was called that many days before today.
func (d *decision) rollCalled(today time.Time) bool {
	for _, year := range []int{today.Year(), today.Year() + 1} { // a southern season opens late in the year
		opens, _ := triage.Season(year, d.Settings.Latitude, d.now.Location())
		if dayNumber(today)-dayNumber(opens.Add(-rollCallBefore)) == rollAnswerDays {
			return true
		}
	}
	return false
}

// rollCallAnswers tells the stewards who is in, who is out, and who has said nothing.
func (d *decision) rollCallAnswers() {
	keys := make([]Key, len(d.Roster))
	for i, k := range d.Roster {
		keys[i] = Key{KindCatcher, k.ID}
	}
	d.want(keys...)
	in, out := 0, 0
	var silent []string
	for _, k := range d.Roster {
		c := d.catcher(k.ID)
		switch {
		case c.Address == "":
		case slices.ContainsFunc(c.Diary, func(r Reminder) bool { return r.What == "roll" }):
			silent = append(silent, k.Name)
		case c.AwayUntil.After(d.Now):
			out++
		default:
			in++
		}
	}
	if in+out+len(silent) == 0 {
		return
	}
	key := "steward_roll"
	if len(silent) == 0 {
		key = "steward_roll_all"
	}
	d.tellStewards(key, values{"In": in, "Out": out, "Count": len(silent), "List": clip(strings.Join(silent, ", "))}, "")
}

// season tells a steward the club's year in numbers, with pictures in chat, and a catcher
// their own. From anybody else it is no command.
func (d *decision) season(p *Person) bool {
	steward := d.Settings.IsSteward(p.Address)
	if p.Catcher == "" && !steward {
		return false
	}
	if !p.Idle.allow(d.Now, d.Settings.Limits) {
		d.change.Outcome = OutcomeQuiet
		return true
	}
	if d.Season == nil || d.Board == nil {
		panic(Need{Roster: true, Season: true})
	}
	switch s := d.Season; {
	case steward && s.Calls == 0:
		d.tell(p.party(), notify.News, "season_none", nil)
	case steward:
		d.tell(p.party(), notify.News, "season_club", d.seasonWords(p.party(), s))
		if words(p.party()).Chat {
			for _, name := range s.Pictures() {
				d.tell(p.party(), notify.News, "picture_"+name, nil).Photos = []string{PicturePrefix + name}
			}
		}
	default:
		own := CatcherSummary{}
		if i := slices.IndexFunc(s.Catchers, func(k CatcherSummary) bool { return k.ID == p.Catcher }); i >= 0 {
			own = s.Catchers[i]
		}
		d.tell(p.party(), notify.News, "season_own", values{
			"Took": own.Took, "Caught": own.Caught, "Trapped": own.Trapped, "Flown": own.Flown, "NotASwarm": own.NotASwarm, "Holder": d.catcher(p.Catcher).Name,
		})
	}
	return true
}

// PicturePrefix marks a picture that the hotline draws itself when it goes out.
const PicturePrefix = "plot:"

// Pictures names the pictures of a season that have something to show.
func (s Summary) Pictures() []string {
	var names []string
	for _, picture := range []struct {
		name  string
		shows bool
	}{
		{"weeks", len(s.Weeks) > 0}, {"time_to_take", len(s.ToTake) > 0}, {"outcomes", s.Calls > 0}, {"map", len(s.Places) > 0},
		{"reliability", s.Reliability.N > 0},
	} {
		if picture.shows {
			names = append(names, picture.name)
		}
	}
	return names
}

// seasonWords are the numbers of a season as its text names them.
func (d *decision) seasonWords(p Party, s *Summary) values {
	v := values{
		"Swarms": d.say(p, "swarms", values{"Count": s.Calls}), "Caught": s.Outcomes[Hived] + s.Outcomes[Lifted],
		"Flown": s.Outcomes[Flown], "Passed": s.Outcomes[PassedOn], "Left": s.Outcomes[LeftAlone] + s.Outcomes[Withdrawn] + s.Outcomes[Unfinished],
		"Half": "", "List": "",
	}
	if len(s.ToTake) > 0 {
		v["Half"] = minutes(Quantile(s.ToTake, .5))
	}
	const most = 5
	var names []string
	for _, k := range s.Catchers {
		if k.Caught > 0 && len(names) < most {
			names = append(names, cmp.Or(d.nameOf(k.ID), k.ID)+" "+itoa(k.Caught))
		}
	}
	v["List"] = strings.Join(names, ", ")
	return v
}

// nameOf is a catcher's first name, "" when they are on the roster no more.
func (d *decision) nameOf(id string) string {
	for _, k := range d.Roster {
		if k.ID == id {
			return k.Name
		}
	}
	return ""
}

// sharesNumber is a caller's SHARE: the holder may see their number.
func (d *decision) sharesNumber(p *Person, cmd intake.Command) bool {
	c := d.openCall(p)
	if cmd.Word != intake.WordShare || c == nil || c.Holder == nil || c.heldBy(p.Catcher) {
		return false
	}
	if c.Caller.Address.Number() == "" || words(c.Caller).Chat {
		d.tell(p.party(), notify.News, "share_none_caller", d.about(c, p.party()))
		return true
	}
	d.phone(c, true)
	return true
}
