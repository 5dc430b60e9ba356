package bot

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	json "github.com/goccy/go-json" // several times faster on documents; schema_test holds it to encoding/json

	"skepline/intake"
	"skepline/notify"
)

// decision is one run of Decide: the facts, working copies of the documents it looked at,
// and the change it gathers. Documents that come out different are written; calls and
// catchers that were only read are checked, for they carry promises.
type decision struct {
	Facts
	now    time.Time // Facts.Now in the hotline's zone
	people []*copyOf[Person]
	calls  []*copyOf[Call]
	crew   []*copyOf[Catcher]
	blocks []*copyOf[blocks]
	change Change
	serial int
	// foreign are documents with fields that we do not know; a newer program wrote them.
	foreign []Key

	always      values        // what every text may name
	placeBefore *intake.Place // of the call being talked about, before this event
	onPage      *Said         // what a press on the caller's page says, as a text would
	samePlace   *intake.Place // where a report that begins is, known from the one before
}

// copyOf is one document under decision.
type copyOf[T any] struct {
	doc  Document
	work *T
	// As they were stored: the timers of a call or a catcher, and the lines of a call's story.
	timers []CallTimer
	lines  int
	forget CallTimer // of a person
}

func newDecision(f Facts) *decision {
	return &decision{Facts: f, now: f.Now.In(f.Settings.Zone()), change: Change{Event: f.Event.ID(), Outcome: OutcomeNoted}}
}

// open returns the working copy of document k, reading it once. It stops the decision when
// the document is not loaded yet.
func open[T any](d *decision, copies *[]*copyOf[T], k Key) *copyOf[T] {
	for _, c := range *copies {
		if c.doc.Key == k {
			return c
		}
	}
	doc, ok := d.document(k)
	if !ok {
		panic(Need{Keys: []Key{k}})
	}
	c := &copyOf[T]{doc: doc, work: new(T)}
	if doc.Version > 0 {
		unknown, err := decodeDocument(doc, c.work)
		if err != nil {
			panic(badDocument{err})
		}
		if unknown {
			d.foreign = append(d.foreign, k)
		}
		switch w := any(c.work).(type) {
		case *Call:
			c.timers, c.lines = slices.Clone(w.Timers), len(w.Story)
		case *Catcher:
			c.timers = slices.Clone(w.Timers)
		case *Person:
			c.forget = w.Forget
		}
	}
	*copies = append(*copies, c)
	return c
}

// assumeNew takes it that nothing is stored under k, whose id derives from this very event, and
// spares the look. The commit checks it.
func (d *decision) assumeNew(k Key) {
	if _, ok := d.document(k); !ok {
		d.add([]Document{{Key: k}})
	}
}

// want stops the decision unless every document in keys is loaded, so that they are loaded
// in one go.
func (d *decision) want(keys ...Key) {
	var lacking []Key
	for _, k := range keys {
		if _, ok := d.document(k); !ok && !slices.Contains(lacking, k) {
			lacking = append(lacking, k)
		}
	}
	if len(lacking) > 0 {
		panic(Need{Keys: lacking})
	}
}

// around returns what of roster and board matters for a call at a place.
func (d *decision) around(place intake.Place) *Surroundings {
	if d.Board != nil {
		return &Surroundings{Place: place, Roster: d.Roster, Board: *d.Board, Members: len(d.Roster)}
	}
	for _, s := range d.Around {
		if s.Place == place {
			return s
		}
	}
	panic(Need{Around: &place})
}

// find looks a name up, "" when there is nothing under it.
func (d *decision) find(name string) string {
	subject, ok := d.found(name)
	if !ok {
		panic(Need{Find: name})
	}
	return subject
}

// person returns the document of whoever is at address, a new one if we never met.
func (d *decision) person(a notify.Address) *Person {
	p := d.personByID(PersonID(d.Secret, a))
	if p.Address == "" {
		p.Address = a
	}
	if p.Language == "" {
		p.Language = d.Settings.DefaultLanguage()
	}
	return p
}

func (d *decision) personByID(id string) *Person {
	p := open(d, &d.people, Key{KindPerson, id}).work
	p.Schema, p.ID = documentSchema, id
	return p
}

// call returns a call's document; one that is not stored has an empty id.
func (d *decision) call(id string) *Call { return open(d, &d.calls, Key{KindCall, id}).work }

// glance is call for a look that promises nothing: a commit does not check that it still stands
// so. What it returns is not to be changed.
func (d *decision) glance(id string) *Call { return look(d, d.calls, Key{KindCall, id}) }

// catcher returns a catcher's document; one that is not stored has an empty id.
func (d *decision) catcher(id string) *Catcher { return open(d, &d.crew, Key{KindCatcher, id}).work }

// documentSchema is the version of the document formats.
const documentSchema = 1

// finish turns the working copies into the change.
func (d *decision) finish() Change {
	d.together()
	d.paidFor()
	d.keepWords()
	for _, p := range d.people {
		d.keepPerson(p.doc, p.work)
		d.personFollows(p.doc, p.forget, p.work)
		if p.work.ID == "" {
			d.erase(p.doc)
			continue
		}
		d.write(p.doc, p.work, p.work.pointer(), false, nil)
	}
	for _, c := range d.calls {
		if c.work.ID != "" {
			d.write(c.doc, c.work, nil, true, c.timers)
		}
	}
	for _, c := range d.crew {
		if c.work.ID != "" {
			d.write(c.doc, c.work, nil, true, c.timers)
		}
	}
	for _, b := range d.blocks {
		// Everybody's first text comes by here: nobody waits for another because of a count.
		b.doc.Loose = true
		d.write(b.doc, b.work, nil, false, nil)
	}
	slices.SortFunc(d.change.Documents, func(a, b Document) int { return compareKeys(a.Key, b.Key) })
	slices.SortFunc(d.change.Checks, func(a, b Check) int { return compareKeys(a.Key, b.Key) })
	return d.change
}

func compareKeys(a, b Key) int {
	return cmp.Or(strings.Compare(a.Kind, b.Kind), strings.Compare(a.ID, b.ID))
}

// erase takes a document away, if it is stored.
func (d *decision) erase(old Document) {
	if old.Version > 0 {
		d.change.Documents = append(d.change.Documents, Document{Key: old.Key, Version: old.Version})
	}
}

// write adds a document to the change when it came out different, with its board card and
// its timers, which were these; else, when it carries a promise, its version is checked.
func (d *decision) write(old Document, work any, pointer *Key, promise bool, timers []CallTimer) {
	body, err := json.Marshal(work)
	if err != nil {
		panic(fmt.Errorf("document %s cannot be written: %w", old.Key.Kind, err))
	}
	if slices.Contains(d.foreign, old.Key) {
		body = keepUnknown(old.Body, body, reflect.TypeOf(work).Elem())
	}
	if bytes.Equal(body, old.Body) {
		if promise && old.Version > 0 {
			d.change.Checks = append(d.change.Checks, Check{old.Key, old.Version})
		}
		return
	}
	d.change.Documents = append(d.change.Documents, Document{Key: old.Key, Version: old.Version, Loose: old.Loose, Pointer: pointer, Body: body})
	switch w := work.(type) {
	case *Call:
		d.callFollows(w, timers)
	case *Catcher:
		if w.Name == "" { // off the list, and forgotten
			d.change.Cards = append(d.change.Cards, Card{Field: "k:" + w.ID})
		} else {
			d.card("k:"+w.ID, w.card())
		}
		d.timersFollow("k:"+w.ID, timers, w.Timers)
	}
}

// callFollows adds what goes with a call's document: its card and its timers.
func (d *decision) callFollows(c *Call, timers []CallTimer) {
	if c.Ended.IsZero() {
		card := notify.CallCard{
			Reference: c.Reference, Stage: string(c.Stage), Held: c.Held, Opened: c.Opened,
			Next: c.next(), AsksOut: c.openOffers(), Place: area(c),
		}
		if c.Holder != nil {
			card.Holder = c.Holder.Catcher
		}
		if p := c.Answers.Place; p != nil {
			card.Lat, card.Lon, card.PrecisionM = p.Lat, p.Lon, p.PrecisionM
		}
		if c.Joined != "" {
			card.Stage = "joined" // it asks nobody
		}
		d.card("c:"+c.ID, card)
	} else {
		d.change.Cards = append(d.change.Cards, Card{Field: "c:" + c.ID})
	}
	d.timersFollow(c.ID, timers, c.Timers)
}

// timersFollow sets, moves and clears the timers that a document counts, which were those
// before.
func (d *decision) timersFollow(owner string, before, timers []CallTimer) {
	for _, t := range timers {
		was := CallTimer{Purpose: t.Purpose}
		if i := slices.IndexFunc(before, func(b CallTimer) bool { return b.Purpose == t.Purpose }); i >= 0 {
			was = before[i]
		}
		id := owner + "/" + t.Purpose
		switch {
		case !t.At.IsZero() && (was.N != t.N || !was.At.Equal(t.At)):
			d.change.Timers = append(d.change.Timers, TimerChange{Timer: Timer{ID: id, N: t.N, At: t.At}})
		case t.At.IsZero() && !was.At.IsZero():
			d.change.Timers = append(d.change.Timers, TimerChange{Timer: Timer{ID: id, N: t.N}, Clear: true})
		}
	}
}

func (d *decision) card(field string, card any) {
	body, err := json.Marshal(card)
	if err != nil {
		panic(fmt.Errorf("card cannot be written: %w", err))
	}
	d.change.Cards = append(d.change.Cards, Card{Field: field, Body: body})
}

// pointer names the document that is loaded along with a person's: the open call they
// report, or else their catcher's.
func (p *Person) pointer() *Key {
	switch {
	case p.Call != "":
		return &Key{KindCall, p.Call}
	case p.Catcher != "":
		return &Key{KindCatcher, p.Catcher}
	}
	return nil
}

// wholeSecond rounds a time up: a timer that goes off before the moment that it waits for would
// be set again to the same second, and go off again and again until the moment has come.
func wholeSecond(t time.Time) time.Time {
	if s := t.Truncate(time.Second); s.Before(t) {
		return s.Add(time.Second)
	}
	return t
}

// set moves the call's timer for purpose to at.
func (d *decision) set(c *Call, purpose string, at time.Time) {
	t := c.timer(purpose)
	t.N++
	t.At = wholeSecond(at)
}

// clear takes the call's timers for the purposes away, all of them when none is named.
func (d *decision) clear(c *Call, purposes ...string) {
	for i := range c.Timers {
		if len(purposes) == 0 || slices.Contains(purposes, c.Timers[i].Purpose) {
			c.Timers[i].At = time.Time{}
		}
	}
}

// note adds a line to the call's story.
func (d *decision) note(c *Call, what string) {
	const longest = 200
	if len(c.Story) < longest {
		at := d.now.UTC().Truncate(time.Second)
		if n := len(c.Story); n > 0 && at.Before(c.Story[n-1].At) {
			at = c.Story[n-1].At // another replica's clock is ahead
		}
		c.Story = append(c.Story, Line{At: at, What: what})
	}
}

// messageID makes the next message id of this event.
func (d *decision) messageID() string {
	d.serial++
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%d", d.Event.ID(), d.serial))
	return lower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(sum[:]))[:16]
}

func lower(s string) string { return strings.ToLower(s) }

// values is what a text is filled with.
type values = map[string]any

// words returns the words for a person.
func words(p Party) intake.Words {
	channel := p.Address.Channel()
	return intake.Words{Language: p.Language, Chat: channel == notify.Telegram, Letters: channel == notify.WhatsApp}
}

// say returns the text of key for p, filled with v and with what every text may name.
func (d *decision) say(p Party, key string, v values) string {
	if d.always == nil {
		d.always = values{
			"Hotline": d.Settings.Name, "Emergency": d.Settings.EmergencyNumber, "Poison": d.Settings.poisonCentre(),
			"Many": d.Settings.manyStings(), "Report": d.Settings.Refer("hornets"),
		}
	}
	w := words(p)
	w.Always = d.always
	return w.Say(key, v)
}

// tell adds a message with the words of key to the change and returns it for finishing
// touches.
func (d *decision) tell(p Party, class notify.Class, key string, v values) *notify.Message {
	m := d.send(p, class, d.say(p, key, v))
	if stages, ok := trueWhile[key]; ok {
		for _, c := range d.calls {
			if c.work.Caller.Person == p.Person && slices.Contains(stages, string(c.work.Stage)) {
				m.Still = notify.Still{Call: c.work.ID, Stages: stages}
			}
		}
	}
	return m
}

// trueWhile says in which stages a caller's news is still true. What has been overtaken by
// the time it could go out is dropped, not sent late.
var trueWhile = map[string][]string{
	"looking": {"looking"}, "kept_caller": {"looking"}, "still_looking": {"looking"}, "night": {"looking"}, "nobody_yet": {"looking"},
	"referral": {"looking"}, "referral_held": {"asking"}, "held": {"asking"}, "dropped_caller": {"looking"},
	"taken_caller": {"taken"}, "no_eta_yet": {"taken"}, "eta_caller": {"taken"}, "eta_caller_phone": {"taken"}, "has_arrived": {"taken"},
	"there_caller": {"there"}, "boxed_caller": {"boxed"},
}

// send adds a message with ready words.
func (d *decision) send(p Party, class notify.Class, text string) *notify.Message {
	m := notify.Message{ID: d.messageID(), To: p.Address, Recipient: p.Person, Class: class, Text: text, At: d.Now.UTC().Truncate(time.Millisecond)}
	if class == notify.Safety || class == notify.Claim {
		m.Also = p.Also
	}
	d.change.Messages = append(d.change.Messages, m)
	return &d.change.Messages[len(d.change.Messages)-1]
}

// party returns p as calls and messages need them.
func (p *Person) party() Party {
	return Party{Person: p.ID, Address: p.Address, Also: alsoOf(p.Address), Language: p.Language}
}

// clock returns t as people read a clock, with the day when it is not today.
func (d *decision) clock(p Party, t time.Time) string {
	t = t.In(d.now.Location())
	layout := "3:04 pm"
	if d.Settings.Metric() {
		layout = "15:04"
	}
	c := t.Format(layout)
	switch days := dayNumber(t) - dayNumber(d.now); {
	case days <= 0:
		return c
	case days == 1:
		return d.say(p, "clock_tomorrow", values{"Clock": c})
	}
	date := "1/2" // month first where people count in feet, day first elsewhere
	if d.Settings.Metric() {
		date = "2/1"
	}
	return d.say(p, "clock_on", values{"Clock": c, "Date": t.Format(date)})
}

// dayNumber counts local calendar days, so that a day of 23 or 25 hours is one day.
func dayNumber(t time.Time) int {
	y, m, day := t.Date()
	return int(time.Date(y, m, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}
