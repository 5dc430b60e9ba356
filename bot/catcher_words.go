package bot

import (
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// catcherWord carries out one of a catcher's words. False means that it is not for this
// person, so that the text is read on.
func (d *decision) catcherWord(p *Person, cmd intake.Command, text string) bool {
	if p.Catcher == "" {
		return d.strangerTakes(p, cmd)
	}
	switch cmd.Word {
	case intake.WordOut:
		d.out(p, cmd.Until)
		return true
	case intake.WordIn:
		d.in(p)
		return true
	case intake.WordMine:
		d.mine(p)
		return true
	case intake.WordLiftedAll:
		return d.liftedAll(p)
	case intake.WordDone, intake.WordLater, intake.WordSkip, intake.WordSkipAll, intake.WordLeft:
		return d.diaryWord(p, cmd)
	case intake.WordHours:
		d.hours(p, cmd.Rest)
		return true
	case intake.WordReach:
		d.reach(p, cmd.Rest)
		return true
	case intake.WordBox:
		d.box(p, cmd.Rest)
		return true
	case intake.WordKit:
		d.kit(p, cmd.Rest)
		return true
	}
	calls := d.candidates(p, cmd)
	if len(calls) == 0 && cmd.Word == intake.WordTomorrow {
		return d.diaryWord(p, cmd)
	}
	switch len(calls) {
	case 0:
		return d.backAfterAll(p, cmd) || d.nothingFor(p, cmd)
	case 1:
		d.onCall(p, calls[0], cmd)
	default:
		d.choose(p, text, calls)
	}
	return true
}

// strangerTakes is a take from an address that nothing was ever offered to. It does
// nothing, and says so; any other word from a stranger may be part of a report.
func (d *decision) strangerTakes(p *Person, cmd intake.Command) bool {
	if cmd.Word != intake.WordTake && cmd.Word != intake.WordPass || d.openCall(p) != nil {
		return false
	}
	d.noOffer(p)
	return true
}

// candidates returns the calls that a word could mean: the one its reference names, or all
// that it fits.
func (d *decision) candidates(p *Person, cmd intake.Command) []*Call {
	k := d.catcher(p.Catcher)
	if cmd.Reference != "" {
		c := d.byReference(cmd.Reference)
		if c == nil || c.offer(k.ID) == nil {
			return nil
		}
		return []*Call{c}
	}
	d.wantCalls(append(slices.Clone(k.Asks), k.Holds...))
	var fits, late []*Call
	for _, id := range append(slices.Clone(k.Asks), k.Holds...) {
		c := d.call(id)
		switch {
		case d.fits(c, k, cmd.Word):
			fits = append(fits, c)
		case cmd.Word == intake.WordTake && c.ID != "" && c.offer(k.ID) != nil && c.Holder != nil && !c.heldBy(k.ID):
			late = append(late, c)
		}
	}
	if now := slices.DeleteFunc(slices.Clone(fits), func(c *Call) bool { return c.heldBy(k.ID) && c.Stage == Taken && c.offer(k.ID).Next }); len(now) > 0 {
		fits = now // not the one for after it
	}
	if len(fits) == 0 && len(late) > 0 {
		// Too late for all of them: answer for the latest.
		return late[len(late)-1:]
	}
	return likeliest(fits, cmd.Word)
}

// fits reports whether word can be about c, coming from k.
func (d *decision) fits(c *Call, k *Catcher, word intake.Word) bool {
	if c.ID == "" || !c.Ended.IsZero() {
		return false
	}
	switch word {
	case intake.WordTake, intake.WordPass, intake.WordNext:
		o := c.offer(k.ID)
		return o != nil && c.Stage == Looking && (o.State == notify.AskOpen || o.State == notify.AskFallback)
	case intake.WordDrop:
		if o := c.offer(k.ID); o != nil && o.State == notify.AskFallback && c.Stage == Looking {
			return true
		}
	case intake.WordETA:
		return c.heldBy(k.ID) && c.Stage == Taken
	}
	return c.heldBy(k.ID) && slices.Contains(wordStages[word], c.Stage)
}

// wordStages says in which stages a holder's word makes sense.
var wordStages = map[intake.Word][]Stage{
	intake.WordETA:     {Taken},
	intake.WordThere:   {Taken},
	intake.WordBoxed:   {Taken, There, Boxed},
	intake.WordTooHigh: {Taken, There},
	intake.WordUnsafe:  {Taken, There},
	intake.WordColony:  {Taken, There},
	intake.WordRetry:   {There, Boxed},
	intake.WordShare:   {Taken, There, Boxed, Lifted},
	intake.WordSize:    {There, Boxed, Lifted},

	intake.WordFrames:   {Boxed, Lifted},
	intake.WordNoFrames: {Boxed, Lifted},

	intake.WordSomeoneElse: {Boxed},
	intake.WordTomorrow:    {Boxed},
	intake.WordLifted:      {Boxed, There, Taken},
	intake.WordHived:       {Lifted, Boxed, There, Taken},
	intake.WordFlown:       {Taken, There, Boxed},
	intake.WordNotBees:     {Taken, There},
	intake.WordDrop:        {Taken, There, Boxed},
}

// byReference returns the call with that reference, nil when there is none.
func (d *decision) byReference(ref string) *Call {
	id := d.find("ref:" + ref)
	if id == "" {
		return nil
	}
	if c := d.call(id); c.ID != "" {
		return c
	}
	return nil
}

// nothingFor answers a word that fits no call of this catcher.
func (d *decision) nothingFor(p *Person, cmd intake.Command) bool {
	if d.openCall(p) != nil && cmd.Reference == "" && cmd.Word != intake.WordTake {
		return false // they are a caller, too: it may be an answer
	}
	if cmd.Word == intake.WordTake || cmd.Word == intake.WordPass || cmd.Word == intake.WordNext {
		d.noOffer(p)
		return true
	}
	d.change.Outcome = OutcomeNoOffer
	d.idle(p, "nothing_held", nil)
	return true
}

// choose sends a numbered list of the calls that a text could mean.
func (d *decision) choose(p *Person, text string, calls []*Call) {
	choice := &Choice{Text: text}
	lines := make([]string, len(calls))
	var buttons [][]notify.Button
	for i, c := range calls {
		choice.Calls = append(choice.Calls, c.ID)
		where := area(c)
		if where == "" {
			where = d.say(p.party(), "place_unknown", nil)
		}
		lines[i] = itoa(i+1) + " " + c.Reference + " " + where
		buttons = append(buttons, []notify.Button{{Label: lines[i], Says: itoa(i + 1)}})
	}
	p.Talk.Choice = choice
	m := d.tell(p.party(), notify.Question, "which_call", values{"List": strings.Join(lines, "; ")})
	if p.Address.Channel() == notify.Telegram {
		m.Buttons = buttons
	}
}

// onCall carries out a word about one call.
func (d *decision) onCall(p *Person, c *Call, cmd intake.Command) {
	k := d.catcher(p.Catcher)
	p.Talk.Choice = nil
	switch cmd.Word {
	case intake.WordTake:
		if o := c.offer(k.ID); o != nil {
			o.Next = false
		}
		d.take(p, c, d.startOf(cmd))
		return
	case intake.WordNext:
		d.takeNext(p, c)
		return
	case intake.WordPass:
		d.pass(p, c)
		return
	}
	if o := c.kept(); o != nil && o.Catcher == k.ID && cmd.Word == intake.WordDrop {
		d.pass(p, c)
		return
	}
	if !c.heldBy(k.ID) && d.backAfterAll(p, cmd) {
		return
	}
	if d.goesAlready(c, k, cmd.Word) {
		d.take(p, c, time.Time{})
		if !c.heldBy(k.ID) {
			return // they have taken enough for the day
		}
	}
	if !c.heldBy(k.ID) || !slices.Contains(wordStages[cmd.Word], c.Stage) || !c.Ended.IsZero() {
		d.change.Outcome = OutcomeStale
		d.idle(p, "not_now", d.about(c, p.party()))
		return
	}
	switch cmd.Word {
	case intake.WordETA:
		d.etaWord(p, c, cmd)
	case intake.WordThere:
		d.there(c, false)
	case intake.WordBoxed:
		d.boxed(c)
	case intake.WordLifted:
		d.lifted(c)
	case intake.WordHived:
		d.hived(c)
	case intake.WordFlown:
		d.flown(c)
	case intake.WordNotBees:
		d.notBees(c, notBeesKind(cmd.Rest))
	case intake.WordTooHigh:
		d.tooHigh(c, cmd.Metres)
	case intake.WordUnsafe:
		d.unsafe(c)
	case intake.WordColony:
		d.colony(c)
	case intake.WordRetry:
		d.retry(c)
	case intake.WordSomeoneElse:
		d.someoneElse(c)
	case intake.WordTomorrow:
		d.liftTomorrow(c)
	case intake.WordShare:
		d.share(p, c)
	case intake.WordSize:
		d.size(p, c, cmd.Rest)
	case intake.WordFrames:
		d.frames(c, withFrames)
	case intake.WordNoFrames:
		d.frames(c, withoutFrames)
	case intake.WordDrop:
		if c.Stage == Boxed { // what is given back is a box to fetch, no swarm to catch
			d.someoneElse(c)
			return
		}
		d.drop(c, k, "dropped")
		key := "drop_noted"
		if !c.Ended.IsZero() {
			key = "drop_noted_over"
		}
		d.tell(p.party(), notify.News, key, d.about(c, p.party()))
	}
}

// etaWord reads minutes, or a clock time, after ETA.
func (d *decision) etaWord(p *Person, c *Call, cmd intake.Command) {
	minutes := cmd.Minutes
	if minutes == 0 {
		if t, err := time.Parse("15:04", strings.TrimSpace(cmd.Rest)); err == nil {
			at := time.Date(d.now.Year(), d.now.Month(), d.now.Day(), t.Hour(), t.Minute(), 0, 0, d.now.Location())
			minutes = int(at.Sub(d.now).Minutes())
		}
	}
	const longest = 12 * 60
	if minutes <= 0 || minutes > longest {
		d.tell(p.party(), notify.Question, "eta_how", d.about(c, p.party())).Buttons = d.etaButtons(p.party(), c)
		return
	}
	d.eta(p, c, minutes)
}

// out takes a catcher off the list of those asked, for a while or until IN.
func (d *decision) out(p *Person, during time.Duration) {
	k := d.catcher(p.Catcher)
	k.AwayUntil = never
	d.answersRoll(k)
	key, v := "out_noted", values{}
	if during > 0 {
		k.AwayUntil = d.Now.Add(during)
		key, v["Until"] = "out_until", d.clock(p.party(), k.AwayUntil)
	}
	d.wantCalls(k.Asks)
	for _, id := range slices.Clone(k.Asks) {
		c := d.call(id)
		k.Asks = without(k.Asks, id)
		if o := c.offer(k.ID); o != nil && c.Stage == Looking && (o.State == notify.AskOpen || o.State == notify.AskFallback) {
			d.closeOffer(c, o, "passed", false)
			d.notComing(c, o, notify.AskPassed)
		}
	}
	d.tell(p.party(), notify.News, key, v)
}

func (d *decision) in(p *Person) {
	k := d.catcher(p.Catcher)
	k.AwayUntil = time.Time{}
	key := "in_noted"
	if d.answersRoll(k) {
		key = "roll_noted"
	}
	d.tell(p.party(), notify.News, key, values{"Holder": k.Name})
	d.freed(k)
}

// mine lists what a catcher holds and is asked.
func (d *decision) mine(p *Person) {
	k := d.catcher(p.Catcher)
	d.wantCalls(append(slices.Clone(k.Asks), k.Holds...))
	var lines []string
	for _, id := range k.Holds {
		if c := d.call(id); c.heldBy(k.ID) && c.Ended.IsZero() {
			lines = append(lines, c.Reference+" "+d.exact(p.party(), c)+" ("+d.say(p.party(), "stage_"+string(c.Stage), nil)+")")
		}
	}
	for _, id := range k.Asks {
		c := d.call(id)
		if c.ID == "" || c.Stage != Looking {
			continue
		}
		if openTo(c, k.ID) {
			lines = append(lines, c.Reference+" "+area(c)+" ("+d.say(p.party(), "stage_looking", nil)+")")
		}
		if o := c.kept(); o != nil && o.Catcher == k.ID {
			lines = append(lines, c.Reference+" "+area(c)+" ("+d.say(p.party(), "stage_kept", d.about(c, p.party()))+")")
		}
	}
	if len(lines) == 0 {
		d.idle(p, "mine_none", nil)
		return
	}
	d.tell(p.party(), notify.News, "mine", values{"List": strings.Join(lines, "; ")})
}

// join binds an invitation to whoever uses it. The invited one knows the token; nobody else
// does.
func (d *decision) join(p *Person, token string) {
	token = strings.TrimSpace(token)
	if token == "" {
		if p.Catcher != "" {
			d.menu(p)
			return
		}
		d.begin(p, Said{})
		return
	}
	name := "tok:" + tokenHash(token)
	id := d.find(name)
	k := (*Catcher)(nil)
	if id != "" {
		k = d.catcher(id)
	}
	if k == nil || k.ID == "" || k.Token == "" {
		d.idle(p, "join_unknown", nil)
		return
	}
	k.Address, k.Person, k.Token = p.Address, p.ID, ""
	d.enter(k, Reminder{What: "season", At: d.nextRollCall(k)})
	if k.Language == "" {
		k.Language = p.Language
	}
	p.Catcher = k.ID
	d.change.Finds = append(d.change.Finds, Find{Name: name})
	d.change.Roster = append(d.change.Roster, RosterCard{k.ID, &k.Catcher})
	d.tell(p.party(), notify.News, "welcome_catcher", values{"Holder": k.Name})
}

// enrolled is a roster command that adds or changes a catcher.
func (d *decision) enrolled(e Enrolled) {
	k := d.catcher(e.Catcher.ID)
	k.Schema = documentSchema
	kit, ladder := k.Kit, k.LadderM
	k.Catcher = e.Catcher
	if len(k.Kit) == 0 { // told by text; a roster file does not know of it
		k.Kit, k.LadderM = kit, ladder
	}
	if e.Token != "" {
		k.Token = e.Token
		d.change.Finds = append(d.change.Finds, Find{"tok:" + e.Token, k.ID})
	}
	if k.Address != "" {
		p := d.person(k.Address)
		p.Catcher = k.ID
		if k.Language != "" {
			p.Language, p.Chosen = k.Language, true
		}
		k.Person = p.ID
		d.secondAddress(k)
		if !slices.ContainsFunc(k.Diary, func(r Reminder) bool { return r.What == "season" }) {
			d.enter(k, Reminder{What: "season", At: d.nextRollCall(k)})
		}
	}
	d.change.Roster = append(d.change.Roster, RosterCard{k.ID, &k.Catcher})
}

// dismissed is a roster command that takes a catcher out. What they hold goes back.
func (d *decision) dismissed(e Dismissed) {
	k := d.catcher(e.Catcher)
	if k.ID == "" {
		d.change.Outcome = OutcomeStale
		return
	}
	d.catcherLeft(k.ID, "dismissed")
	if k.Address != "" {
		p := d.person(k.Address)
		p.Catcher = ""
		d.forgetTrapLine(p)
		d.forget(p.ID, "")
	}
	if k.Also != "" {
		d.person(k.Also).Catcher = ""
	}
	if k.Token != "" {
		d.change.Finds = append(d.change.Finds, Find{Name: "tok:" + k.Token})
	}
	forgetCatcher(k)
	d.change.Roster = append(d.change.Roster, RosterCard{ID: k.ID})
}
