package bot

import (
	"hash/maphash"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/nyaruka/phonenumbers"

	"skepline/notify"
)

// Answers cost money, and some numbers are made to earn by being answered ("SMS pumping":
// OWASP ASVS 5.0, 2.4.1; Twilio, "SMS pumping fraud"). So nobody is texted who did not write
// or call first, or whom the club named; only the countries of the settings are answered; and
// of one block of ten thousand numbers only so many strangers a day. Whoever tells of a
// severe reaction is answered all the same, from anywhere.

// alarms bounds how often one person is told to call the emergency number, and how often
// that is passed on: a frightened person has read it by then. Judgement.
var alarms = Limits{TextsIn10Minutes: 10, TextsADay: 60}

// unpaid reports whether a text or a phone call is left unanswered because answering it
// could be what its sender is paid for.
func (d *decision) unpaid(p *Person) bool {
	channel := p.Address.Channel()
	if channel == notify.Telegram || p.Catcher != "" || d.Settings.IsSteward(p.Address) {
		return false // it costs nothing, or the club named them
	}
	if (channel != notify.SMS || d.Settings.texts(p.Address)) && !d.crowded(p) {
		return false
	}
	d.change.Outcome = OutcomeQuiet
	return true
}

// answered holds whose country is answered of the numbers asked about last: to read a number
// takes longer than most of what is decided, and a conversation asks at every text.
var (
	answered     [1024]atomic.Pointer[answeredNumber]
	answeredSeed = maphash.MakeSeed()
)

type answeredNumber struct {
	settings *Settings // whose countries
	address  notify.Address
	texts    bool
}

// texts reports whether the hotline answers SMS of a number's country, and no premium number
// of it.
func (s *Settings) texts(a notify.Address) bool {
	place := &answered[maphash.String(answeredSeed, string(a))%uint64(len(answered))]
	if known := place.Load(); known != nil && known.settings == s && known.address == a {
		return known.texts
	}
	now := &answeredNumber{s, a, s.servesCountryOf(a)}
	place.Store(now)
	return now.texts
}

// servesCountryOf is texts without a memory.
func (s *Settings) servesCountryOf(a notify.Address) bool {
	n, err := phonenumbers.Parse(a.Number(), s.Country)
	if err != nil {
		return false
	}
	switch phonenumbers.GetNumberType(n) {
	case phonenumbers.PREMIUM_RATE, phonenumbers.SHARED_COST:
		return false
	}
	region := phonenumbers.GetRegionCodeForNumber(n)
	if region == "" {
		// Not in use as far as the tables know: the main country of its code.
		region = phonenumbers.GetRegionCodeForCountryCode(int(n.GetCountryCode()))
	}
	return slices.Contains(s.countries(), region)
}

// countries are those whose SMS are answered.
func (s *Settings) countries() []string {
	if len(s.Limits.Countries) == 0 {
		return []string{s.Country}
	}
	return s.Limits.Countries
}

// KindBlocks is a document of counts: how many strangers each block of numbers brought lately.
// Blocks share 256 of them by hash, so that they never grow in number.
const KindBlocks = "blocks"

// blocks is one such document.
type blocks struct {
	Schema int       `json:"schema"`
	ID     string    `json:"id"`
	New    []newcome `json:"new,omitempty"`
	Told   time.Time `json:"told,omitzero"` // when the stewards heard of it last
}

// newcome is a stranger: the keyed hash of their block, and when they came.
type newcome struct {
	Block string    `json:"b"`
	At    time.Time `json:"at"`
}

// crowded counts a stranger and reports whether their block of numbers has brought too many
// today. The first time in a day the stewards hear of it.
func (d *decision) crowded(p *Person) bool {
	for _, known := range d.people {
		if known.work == p && known.doc.Version > 0 {
			return false
		}
	}
	const least = 8 // digits; shorter numbers have no block of ten thousand to themselves
	number := p.Address.Number()
	if len(number) < least {
		return false
	}
	block := blockOf(d.Secret, number)
	doc := open(d, &d.blocks, Key{KindBlocks, block[:2]})
	b := doc.work
	b.Schema, b.ID = documentSchema, block[:2]
	var lately []newcome
	n := 0
	for _, c := range b.New {
		if d.Now.Sub(c.At) < 24*time.Hour {
			lately = append(lately, c)
			if c.Block == block {
				n++
			}
		}
	}
	b.New = lately
	if most := d.Settings.Limits.NewInBlock; most > 0 && n >= most {
		if d.Now.Sub(b.Told) >= 24*time.Hour {
			b.Told = d.Now
			d.tellStewards("steward_crowded", values{"Count": n}, "")
		}
		return true
	}
	b.New = append(b.New, newcome{block, d.Now.UTC().Truncate(time.Second)})
	return false
}

// blockOf is the keyed hash of a number's block of ten thousand.
func blockOf(secret []byte, number string) string {
	return derive(secret, "block", number[:len(number)-4], 10)
}

// strangers names what is needed of an event's sender if nobody knows them yet, so that it
// is read along with the rest.
func strangers(secret []byte, e Event) []Key {
	from := sender(e)
	if number := from.Number(); from.Channel() == notify.SMS && len(number) >= 8 {
		return []Key{{KindBlocks, blockOf(secret, number)[:2]}}
	}
	return nil
}

// Spent is the hotline's money running low: so many percent of what a day may cost are spent.
type Spent struct {
	Event   EventID
	Percent int // 50, 80, or 100: from here on only safety texts go out
	Spent   int // segments
}

// ID returns the event's id.
func (e Spent) ID() EventID { return e.Event }
func (Spent) isEvent()      {}

// SpentOn returns the event of a day's spending, and whether there is one yet. Its id names
// day and mark, so that each is told once.
func (s *Settings) SpentOn(day time.Time, segments int) (Spent, bool) {
	most := s.Limits.SegmentsADay
	for _, mark := range []struct{ percent, from int }{{100, most - s.Limits.SafetyReserve}, {80, most * 4 / 5}, {50, most / 2}} {
		if most > 0 && segments >= mark.from {
			return Spent{EventID("mo:" + day.UTC().Format("060102") + ":" + itoa(mark.percent)), mark.percent, segments}, true
		}
	}
	return Spent{}, false
}

func (d *decision) spent(e Spent) {
	key := "steward_spending"
	if e.Percent >= 100 {
		key = "steward_spent"
	}
	d.tellStewards(key, values{"Percent": e.Percent, "Count": e.Spent}, "")
}

// paidFor takes the messages out that would go to a number whose country is not answered:
// an emergency from there began a call, whose questions are not asked by text.
func (d *decision) paidFor() {
	kept := d.change.Messages[:0]
	for _, m := range d.change.Messages {
		if m.Class == notify.Safety || !d.refused(m.To) {
			kept = append(kept, m)
		}
	}
	d.change.Messages = kept
}

func (d *decision) refused(a notify.Address) bool {
	if !strings.HasPrefix(string(a), string(notify.SMS)+":") {
		return false
	}
	for _, p := range d.people {
		if p.work.Address == a && p.work.Catcher == "" && !d.Settings.IsSteward(a) {
			return !d.Settings.texts(a)
		}
	}
	return false
}
