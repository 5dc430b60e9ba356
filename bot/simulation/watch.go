package simulation

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// watch holds what must always be true, from what was committed and what people saw. It
// asks no decision.
//
//	I1  a call has one holder at a time, and its count of takes grows with each
//	I2  one catcher a take was ever told "yours"
//	I3  "yours" and the address go to nobody but the holder (the address also to its caller)
//	I4  a change is there whole: documents, outcome, timers, messages
//	I5  an event changes the state once, and every later arrival gets the same outcome
//	I6  nothing is handed over for somebody whose opt-out was committed (but safety)
//	I7  after words of a severe reaction, safety is the first that is handed over
//	I8  what is not for catchers is never offered
//	I9  one line's messages are taken in the order in which they were committed
//	I10 what is handed over is true at that moment and not stale
//	I11 copies: none of news, reminders, goodbyes; of others no more than there was doubt
//	I12 after the day's money only safety goes out; no sender and no chat goes faster than its
//	    rate, nothing goes while a channel pauses; answers that move nothing are few
//	I13 nobody takes more calls a day than they want; nobody is asked who is away, out of
//	    reach, or asleep; no round before the first take is larger than configured
//	I14 words go to the other side of a live call only; numbers are in no text without leave
//	I15 no number, address or word of anybody is in the log
//	I16 the end of a superseded attempt settles nothing
//	I17 what is stored stays bounded (TestAYear)
//	I18 no timer goes off early, and a call's story never goes back in time
type watch struct {
	w       *world
	calls   map[string]*life
	told    map[string]map[string]bool // "call/epoch" -> catchers told "yours"
	notes   map[string]*noted          // messages by id
	applied map[bot.EventID]bot.Outcome
	urgent  map[string]bool      // person -> safety must come first
	doubts  map[string]int       // message -> sends of which nobody knew the end
	late    map[string]bool      // message -> a send may still come from a stalled process
	unread  map[string]bool      // message -> the log could not be asked
	last    map[string]int       // line -> place of the last message taken
	rates   map[string]time.Time // channel or chat -> when the next may go, at its rate
	wants   map[string]bool      // undelivered messages that the state must hear of
	failed  map[string]bool
	flying  map[string]time.Time // line -> since when a message of it is being handed over
}

// life is what was seen of a call.
type life struct {
	bot.Call
	holders map[string]bool      // persons who held it at some time
	gave    map[string]time.Time // when they let it go
	changed time.Time
}

// noted is a message as it was committed.
type noted struct {
	notify.Message
	event  bot.EventID
	place  int // in the order of all messages
	epoch  int
	at     time.Time
	copies int
	gone   time.Time // when it was first taken

	forgotten bool // by the store
	earlier   int  // copies that were taken before the store forgot it
}

func newWatch(w *world) *watch {
	return &watch{
		w: w, calls: map[string]*life{}, told: map[string]map[string]bool{}, notes: map[string]*noted{}, applied: map[bot.EventID]bot.Outcome{},
		urgent: map[string]bool{}, doubts: map[string]int{}, late: map[string]bool{}, unread: map[string]bool{}, last: map[string]int{},
		rates: map[string]time.Time{}, wants: map[string]bool{}, failed: map[string]bool{}, flying: map[string]time.Time{},
	}
}

// committed looks at a change that the store says it has.
func (v *watch) committed(c bot.Change, done bot.Committed) {
	first, known := v.applied[c.Event]
	if done.Repeated {
		if known && first != done.Outcome {
			v.w.breaks("I5", "%s was %q, the first time %q", c.Event, done.Outcome, first)
		}
		return
	}
	if base, _, _ := strings.Cut(string(c.Event), "\x00"); known {
		v.w.breaks("I5", "%s changed the state twice", base)
	}
	v.applied[c.Event] = c.Outcome
	v.whole(c)
	v.onTime(c)
	for _, d := range c.Documents {
		switch d.Key.Kind {
		case bot.KindCall:
			v.call(d, c)
		case bot.KindCatcher:
			v.catcher(d)
		case bot.KindPerson:
			v.person(d)
		}
	}
	v.round(c)
	v.urgency(c)
	for _, m := range c.Messages {
		v.message(m, c)
	}
}

// whole is I4.
func (v *watch) whole(c bot.Change) {
	m := v.w.memory
	for _, d := range c.Documents {
		if m.docs[d.Key].Version != d.Version+1 {
			v.w.breaks("I4", "%s: a document is at %d, not %d", c.Event, m.docs[d.Key].Version, d.Version+1)
		}
	}
	for _, check := range c.Checks {
		if m.docs[check.Key].Version != check.Version {
			v.w.breaks("I4", "%s: a checked document has moved", c.Event)
		}
	}
	for _, msg := range c.Messages {
		if _, ok := m.items[msg.ID]; !ok {
			v.w.breaks("I4", "%s: a message was not kept", c.Event)
		}
	}
	for _, t := range c.Timers {
		if _, ok := m.timers[t.ID]; ok == t.Clear {
			v.w.breaks("I4", "%s: timer %s", c.Event, t.ID)
		}
	}
	if _, ok := m.known(c.Event); !ok {
		v.w.breaks("I4", "%s is not known", c.Event)
	}
}

// onTime is the half of I18 about timers.
func (v *watch) onTime(c bot.Change) {
	id, _, ok := c.Event.Timer()
	callID, purpose, _ := strings.Cut(id, "/")
	if !ok || v.calls[callID] == nil || c.Outcome == bot.OutcomeStale {
		return
	}
	for _, t := range v.calls[callID].Timers {
		if t.Purpose == purpose && t.At.After(v.w.now) && string(c.Event) == fmt.Sprintf("tm:%s:%d", id, t.N) {
			v.w.breaks("I18", "timer %s went off %v early", purpose, t.At.Sub(v.w.now))
		}
	}
}

// call is I1, I13 and the other half of I18.
func (v *watch) call(d bot.Document, change bot.Change) {
	var c bot.Call
	if err := json.Unmarshal(d.Body, &c); err != nil {
		v.w.breaks("I4", "a call cannot be read: %v", err)
		return
	}
	old := v.calls[c.ID]
	if old == nil {
		old = &life{holders: map[string]bool{}, gave: map[string]time.Time{}}
		v.calls[c.ID] = old
	}
	was, is := old.Holder, c.Holder
	switch {
	case c.Epoch < old.Epoch:
		v.w.breaks("I1", "%s: takes went from %d to %d", c.Reference, old.Epoch, c.Epoch)
	case was == nil && is != nil && c.Epoch <= old.Epoch:
		v.w.breaks("I1", "%s has a new holder and no new take", c.Reference)
	case was != nil && is != nil && was.Catcher != is.Catcher && change.Outcome != bot.OutcomeConflict:
		v.w.breaks("I1", "%s went from %s to %s without a drop", c.Reference, was.Name, is.Name)
	}
	if n := len(old.Story); n > 0 && len(c.Story) > n && c.Story[n].At.Before(old.Story[n-1].At) {
		v.w.breaks("I18", "%s: its story goes back in time", c.Reference)
	}
	if was != nil && (is == nil || is.Catcher != was.Catcher) {
		old.gave[was.Party.Person] = v.w.now
	}
	if is != nil {
		old.holders[is.Party.Person] = true
		old.holders[bot.PersonID(secret, is.Party.Also)] = true
	}
	if c.Ended.IsZero() && !v.hasTimer(c) {
		v.w.breaks("L4", "%s is %s and nothing is to happen; after %s", c.Reference, c.Stage, change.Event)
	}
	old.Call, old.changed = c, v.w.now
}

func (v *watch) hasTimer(c bot.Call) bool {
	for _, t := range c.Timers {
		if _, ok := v.w.memory.timers[c.ID+"/"+t.Purpose]; ok && !t.At.IsZero() {
			return true
		}
	}
	return false
}

func (v *watch) catcher(d bot.Document) {
	var k bot.Catcher
	if err := json.Unmarshal(d.Body, &k); err != nil {
		v.w.breaks("I4", "a catcher cannot be read: %v", err)
		return
	}
	today := map[int]int{}
	for _, at := range k.Takes {
		day := at.In(v.w.settings.Zone()).YearDay()
		if today[day]++; today[day] > k.JobsADay {
			v.w.breaks("I13", "%s took %d calls a day and wants %d", k.Name, today[day], k.JobsADay)
		}
	}
	for _, call := range k.Active {
		if c := v.calls[call]; c != nil && c.Holder != nil && c.Holder.Catcher != k.ID {
			v.w.breaks("I13", "%s goes to %s, which %s holds", k.Name, c.Reference, c.Holder.Name)
		}
	}
}

// urgency notes who must hear safety first.
func (v *watch) urgency(c bot.Change) {
	for _, m := range c.Messages {
		if n := v.notes[m.ID]; n != nil && m.Class == notify.Safety && n.copies+n.earlier > 0 {
			return // heard before the store forgot it
		}
	}
	for _, a := range v.w.inbox {
		if a.event.ID() != c.Event {
			continue
		}
		if said, ok := a.event.(bot.Said); ok && intake.Emergency(said.Text) {
			v.urgent[bot.PersonID(secret, said.From)] = true
		}
	}
}

// message notes a message of a change.
func (v *watch) message(m notify.Message, c bot.Change) {
	n := &noted{Message: m, event: c.Event, place: len(v.notes), at: v.w.now}
	call := v.calls[m.Still.Call]
	if call != nil {
		n.epoch = call.Epoch
	}
	if old := v.notes[m.ID]; old != nil { // committed again after a loss
		n.earlier = old.copies + old.earlier
	}
	v.notes[m.ID] = n
	if m.Class == notify.Offer && call != nil {
		if m.Edits == "" {
			v.mayBeAsked(m.Still.Offer, call)
		}
		switch call.Assessment.Route {
		case triage.RouteRedirect:
			v.w.breaks("I8", "%s is %s and was offered", call.Reference, call.Assessment.Route)
		}
	}
	if m.Class == notify.Relay && call != nil && call.Holder == nil {
		v.w.breaks("I14", "words about %s, which nobody holds", call.Reference)
	}
	if c.Outcome != bot.OutcomeParked || m.To != steward { // who must answer what could not be handled
		v.numbers(m)
	}
}

// numbers is I14: a number is in no text but with leave.
func (v *watch) numbers(m notify.Message) {
	for _, s := range town {
		number := s.address.Number()
		if s.address == m.To || len(number) < 8 || !strings.Contains(strings.NewReplacer(" ", "", "-", "", "(", "", ")", "").Replace(m.Text), number[2:]) {
			continue
		}
		call := v.calls[m.Still.Call]
		if call == nil || call.Holder == nil || call.Holder.Phone != "yes" {
			v.w.breaks("I14", "a number of %s is in a text to %s", s.name, m.To.Hint())
		}
	}
}

// sending looks at a message that is being handed over.
func (v *watch) sending(out notify.Outgoing) {
	m := v.w.memory
	lease := time.Minute
	if out.Class == notify.Safety {
		lease = 15 * time.Second
	}
	if since, ok := v.flying[out.Line()]; ok && v.w.now.Sub(since) < lease-time.Millisecond {
		v.w.breaks("I16", "two messages of one line are being handed over at once")
	}
	v.flying[out.Line()] = v.w.now
	direct := out.Class == notify.Safety || out.Class == notify.Goodbye
	if m.docStopped(out.Recipient) && !direct {
		v.w.breaks("I6", "a %s for somebody who opted out", out.Class)
	}
	if v.urgent[out.Recipient] {
		if out.Class != notify.Safety {
			v.w.breaks("I7", "a %s came before the safety text", out.Class)
		}
		delete(v.urgent, out.Recipient)
	}
	if !out.NotAfter.IsZero() && !v.w.now.Before(out.NotAfter) {
		v.w.breaks("I10", "a %s is stale", out.Class)
	}
	v.stillTrue(out)
	v.rate(out)
	if pause := m.pause[out.To.Channel()]; pause > m.now() {
		v.w.breaks("I12", "a message goes out while %s pauses", out.To.Channel())
	}
	if v.w.plan.Fuse >= 0 && metered(out.To.Channel()) && out.Class != notify.Safety && out.Attempt == 1 {
		if spent := m.spend[m.now()/86400000] - segments(out.Message); spent >= v.w.plan.Fuse {
			v.w.breaks("I12", "a %s goes out after %d segments of %d", out.Class, spent, v.w.plan.Fuse)
		}
	}
}

// handed notes that a message is handed over, whatever came of it.
func (v *watch) handed(out notify.Outgoing) { delete(v.flying, out.Line()) }

// finishing is I16, and holds that nothing counts as sent that nobody took.
func (v *watch) finishing(done notify.Done, finish func() error) error {
	m, line := v.w.memory, done.Lease.Line()
	stale := m.held[line].fence != done.Lease.Fence
	before := len(m.items)
	// A look-up may have found the same words of another message, read a moment before.
	if n := v.notes[done.Lease.ID]; n != nil && done.Result.End == notify.Accepted && n.copies+n.earlier == 0 && !done.Unsent {
		v.w.breaks("L3", "a %s counts as sent, and nobody took it", n.Class)
	}
	if done.Drop != "" || done.Result.End == notify.Accepted {
		delete(v.wants, done.Lease.ID)
	}
	switch done.Lease.State {
	case notify.Detour:
		v.w.hits["detour"]++
	case notify.Unfunded:
		if done.Drop != "" && v.broke() {
			v.w.hits["unfunded"]++
			v.neverComes(done.Lease.ID)
		}
	}
	err := finish()
	if stale && len(m.items) != before {
		v.w.breaks("I16", "the end of a superseded attempt settled a message")
	}
	return err
}

// stillTrue is I10 and I3, read from the stored call.
func (v *watch) stillTrue(out notify.Outgoing) {
	call := v.calls[out.Still.Call]
	if call == nil {
		return
	}
	if h := out.Still.Holder; h != "" && (call.Holder == nil || call.Holder.Catcher != h) {
		v.w.breaks("I3", "a %s for the holder of %s goes to somebody else", out.Class, call.Reference)
	}
	if k := out.Still.Offer; k != "" {
		open := false
		for _, o := range call.Offers {
			open = open || o.Catcher == k && o.State == notify.AskOpen
		}
		if !open {
			v.w.breaks("I10", "an offer of %s (%s) goes out that is not open", call.Reference, call.Stage)
		}
	}
}

// docStopped reports whether a person's document says that they opted out.
func (m *Memory) docStopped(person string) bool {
	var p bot.Person
	doc := m.docs[bot.Key{Kind: bot.KindPerson, ID: person}]
	return doc.Version > 0 && json.Unmarshal(doc.Body, &p) == nil && p.Stopped
}

// taken looks at a message that a provider took.
func (v *watch) taken(out notify.Outgoing) {
	n := v.notes[out.ID]
	if n == nil {
		v.w.breaks("I4", "a message went out that was never committed")
		return
	}
	if n.copies++; n.copies == 1 {
		n.gone = v.w.now
		v.inOrder(n)
	}
	v.allowed(n)
	call := v.calls[out.Still.Call]
	if out.Class == notify.Claim && out.Still.Holder != "" && call != nil {
		v.yours(out, n, call)
	}
	v.address(out)
	if out.Class == notify.Relay && call != nil && out.Recipient != call.Caller.Person && !call.holders[out.Recipient] {
		v.w.breaks("I14", "words about %s went to %s, who has no part in it", call.Reference, out.To.Hint())
	}
}

// inOrder is I9. What was put off or given up does not hold up the others for ever, so only
// what overtakes is wrong.
func (v *watch) inOrder(n *noted) {
	line := n.Line()
	if v.late[n.ID] {
		return // it left before, and hung on the way
	}
	if n.place < v.last[line] {
		v.w.breaks("I9", "a %s was taken after a later message of its line", n.Class)
	}
	v.last[line] = n.place
}

// allowed is I11.
func (v *watch) allowed(n *noted) {
	extra := n.copies - 1
	if extra == 0 || n.Edits != "" {
		return
	}
	limit := v.doubts[n.ID]
	certain := n.To.Channel() != notify.Telegram && !v.unread[n.ID] && !v.late[n.ID]
	once := n.Class == notify.News || n.Class == notify.Reminder || n.Class == notify.Goodbye
	if (certain || once) && !v.late[n.ID] {
		limit = 0
	}
	if extra > limit {
		v.w.breaks("I11", "%d copies of a %s on %s, where %d were to be expected", n.copies, n.Class, n.To.Channel(), 1+limit)
	}
}

// yours is I2.
func (v *watch) yours(out notify.Outgoing, n *noted, call *life) {
	if n.forgotten { // a program stood still with it while the store forgot the take
		v.mustHear(n)
		return
	}
	take := fmt.Sprintf("%s/%d", call.ID, n.epoch)
	if v.told[take] == nil {
		v.told[take] = map[string]bool{}
	}
	v.told[take][out.Still.Holder] = true
	if l := v.w.loss; l != nil && !l.another && out.Still.Epoch > 0 && n.at.After(l.since) && v.w.now.Sub(n.at) < 9*time.Second {
		v.w.breaks("I2", "%s was told of a take that no copy has", out.To.Hint())
	}
	if len(v.told[take]) > 1 {
		v.w.breaks("I2", "two catchers were told that %s is theirs", call.Reference)
	}
	if !call.holders[out.Recipient] {
		v.w.breaks("I3", "%s was told that %s is theirs, and it never was", out.To.Hint(), call.Reference)
	}
}

// address is I3: whose house it is reads its caller, who holds it, or a steward.
func (v *watch) address(out notify.Outgoing) {
	for _, s := range town {
		if s.house == "" || !strings.Contains(" "+out.Text, " "+s.house) || out.To == s.address || out.To == steward || out.Class == notify.Relay {
			continue
		}
		may := false
		for _, c := range v.calls {
			may = may || c.Caller.Address == s.address && c.holders[out.Recipient] || c.Caller.Address == out.To
		}
		if !may {
			v.w.breaks("I3", "the address of %s went to %s", s.name, out.To.Hint())
		}
	}
}

// doubt notes that nobody will know how a send ended. late means that it may still come,
// from a process that hangs.
func (v *watch) doubt(out notify.Outgoing, late bool) {
	v.doubts[out.ID]++
	if late {
		v.late[out.ID] = true
	}
}

// broke reports whether the day's money is spent.
func (v *watch) broke() bool {
	m := v.w.memory
	return m.Fuse >= 0 && m.spend[m.now()/86400000] >= m.Fuse
}

// refused notes a message that a channel will never bring.
func (v *watch) refused(out notify.Outgoing) { v.neverComes(out.ID) }

// neverComes notes a message that will not arrive: the state must hear of it.
func (v *watch) neverComes(id string) {
	v.failed[id] = true
	v.wants[id] = true
}

// logs is I15.
func (v *watch) logs() {
	text := v.w.logs.String()
	for _, s := range town {
		for _, private := range []string{s.address.Number(), s.house} {
			if private != "" && strings.Contains(text, private) {
				v.w.breaks("I15", "the log names the number or the house of %s", s.name)
			}
		}
	}
}
