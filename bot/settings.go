package bot

import (
	"cmp"
	"math"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// Settings is one hotline as its hotline.toml describes it. The first keys are fixed; every
// table below them has a default, so that those keys alone make a valid file.
type Settings struct {
	Name            string   `toml:"name"`             // the club, as callers read it; at most 40 letters
	Latitude        float64  `toml:"latitude"`         // degrees north
	Longitude       float64  `toml:"longitude"`        // degrees east
	TimeZone        string   `toml:"time_zone"`        // an IANA name: "America/New_York"
	RadiusKm        float64  `toml:"radius_km"`        // the area served
	Units           string   `toml:"units"`            // "imperial" or "metric"
	Languages       []string `toml:"languages"`        // the first is the default
	EmergencyNumber string   `toml:"emergency_number"` // "911", "112"
	Country         string   `toml:"country"`          // two letters, for reading phone numbers
	Stewards        []string `toml:"stewards"`         // addresses told of held calls, thin rosters and audit findings

	Tag          string      `toml:"tag"`           // marks its keys in Redis; the name in small letters if not given
	PoisonCentre string      `toml:"poison_centre"` // a phone number, "" where there is none
	ManyStings   int         `toml:"many_stings"`   // stings from which on a doctor is called; 0 = what the country's bodies say
	Africanized  bool        `toml:"africanized"`   // Africanized bees live there: more caution, swarms in any month
	Learned      string      `toml:"learned"`       // a file of skepline ledger --learn, beside this one; "" = judgement alone
	Referrals    []Referral  `toml:"referrals"`
	Hours        Hours       `toml:"hours"`
	Dispatch     Dispatch    `toml:"dispatch"`
	Travel       Travel      `toml:"travel"`
	Limits       Limits      `toml:"limits"`
	Rates        Rates       `toml:"rates"`
	Retention    Retention   `toml:"retention"`
	Audit        Audit       `toml:"audit"`
	Neighbours   []Neighbour `toml:"neighbours"`
	Places       Places      `toml:"places"`
	Map          Map         `toml:"map"`

	// PublicURL is where people reach our pages, without a slash at its end; "" = no pages. It
	// comes from the environment.
	PublicURL string `toml:"-"`

	zone  *time.Location // TimeZone, read by Validate
	model *triage.Model  // of the file Learned, read by LoadSettings
}

// Referral is somebody to turn to for what catchers do not collect.
type Referral struct {
	For   string `toml:"for"`   // "wasps", "colony" (bees in a building), "bees" (nobody of ours is free) or "hornets" (where large ones are reported)
	Name  string `toml:"name"`  // as people read it
	Phone string `toml:"phone"` // as people dial it
	Link  string `toml:"link"`
}

// Neighbour is another club that serves the callers around some other place.
type Neighbour struct {
	Name      string  `toml:"name"` // as people read it
	Phone     string  `toml:"phone"`
	Link      string  `toml:"link"`
	Latitude  float64 `toml:"latitude"`
	Longitude float64 `toml:"longitude"`
	RadiusKm  float64 `toml:"radius_km"`
}

// reach is how people reach a neighbour.
func (n *Neighbour) reach() string { return cmp.Or(n.Phone, n.Link) }

// Places says where places are looked up by name, besides the imported gazetteer.
type Places struct {
	Nominatim string `toml:"nominatim"` // a Nominatim-compatible server, "" = none
}

// Map is a tile map under the sketch on the caller's page. Whoever serves the tiles learns
// roughly where the caller's phone is.
type Map struct {
	Tiles       string `toml:"tiles"`       // "https://tiles.example.org/{z}/{x}/{y}.png", Web Mercator; "" = a plain sketch
	Attribution string `toml:"attribution"` // whose map it is, shown below it
}

// Travel says how long ways take.
type Travel struct {
	Detour float64 `toml:"detour"` // how much longer roads are than the straight line
	KmH    float64 `toml:"km_h"`   // on the road
	OSRM   string  `toml:"osrm"`   // a server that knows the roads, "" = none
}

// Neighbour returns the club that serves p, the one whose centre is nearest if there are
// several, nil when none is known.
func (s *Settings) Neighbour(p intake.Place) *Neighbour {
	var best *Neighbour
	nearest := math.Inf(1)
	for i := range s.Neighbours {
		n := &s.Neighbours[i]
		km := intake.Km(p, intake.Place{Lat: n.Latitude, Lon: n.Longitude})
		if km <= n.RadiusKm && km < nearest {
			best, nearest = n, km
		}
	}
	return best
}

// Hours are the hours in which catchers are not asked: bees do not leave in the dark.
type Hours struct {
	QuietFrom string `toml:"quiet_from"` // local clock, "21:00"
	QuietTo   string `toml:"quiet_to"`   // local clock, "07:00"
}

// Dispatch says how gently or how fast catchers are asked.
type Dispatch struct {
	Pace         string `toml:"pace"`          // "gentle", "normal" or "fast"
	First        int    `toml:"first"`         // asked at once, at most
	Next         int    `toml:"next"`          // asked at each widening, at most
	EveryMinutes int    `toml:"every_minutes"` // silent minutes before a widening
}

// Audit says who is told that the hotline is well.
type Audit struct {
	// DeadMan is fetched after every audit that found nothing, each minute; a service that
	// misses it for a while wakes somebody. Empty = nobody.
	DeadMan string `toml:"dead_man"`
}

// Limits bound what one person and one day may cost.
type Limits struct {
	TextsIn10Minutes int `toml:"texts_in_10_minutes"` // answers to one person's texts that move nothing
	TextsADay        int `toml:"texts_a_day"`         // the same, a day
	SegmentsADay     int `toml:"segments_a_day"`      // SMS segments of the whole hotline; safety texts alone may pass it
	SafetyReserve    int `toml:"safety_reserve"`      // of these, kept for safety texts

	Countries  []string `toml:"countries"`          // whose SMS are answered, as two letters; none = the hotline's own
	NewInBlock int      `toml:"new_in_block_a_day"` // strangers from one block of ten thousand numbers

	SegmentPrice float64 `toml:"segment_price"` // what one costs, carrier fees included; 0 = not told
	Currency     string  `toml:"currency"`      // "USD"
}

// Rates are how fast a channel's sender may go, in segments a second; 0 = what a plain sender
// may. A short code, a pool of numbers or paid broadcasts go faster.
type Rates struct {
	SMS      float64 `toml:"sms"`
	WhatsApp float64 `toml:"whatsapp"`
	Telegram float64 `toml:"telegram"`
	Chat     float64 `toml:"chat"` // to one Telegram chat
}

// Gaps returns the time between two segments of the channels that a rate is given for.
func (r Rates) Gaps() map[notify.Channel]time.Duration {
	gaps := map[notify.Channel]time.Duration{}
	for _, c := range []struct {
		channel notify.Channel
		rate    float64
	}{{notify.SMS, r.SMS}, {notify.WhatsApp, r.WhatsApp}, {notify.Telegram, r.Telegram}} {
		if c.rate > 0 {
			gaps[c.channel] = time.Duration(float64(time.Second) / c.rate)
		}
	}
	return gaps
}

// ChatGap returns the time between two messages to one chat, 0 when no rate is given.
func (r Rates) ChatGap() time.Duration {
	if r.Chat == 0 {
		return 0
	}
	return max(1, time.Duration(float64(time.Second)/r.Chat))
}

// Retention says how long what is personal is kept.
type Retention struct {
	Days int `toml:"days"` // after a call's end; then the ledger has no name, number, address or words of its caller
}

// keepsFor is how long after its end a call keeps what is personal.
func (s *Settings) keepsFor() time.Duration { return time.Duration(s.KeptDays()) * 24 * time.Hour }

// KeptDays is for how many days after its end a call keeps what is personal.
func (s *Settings) KeptDays() int {
	if s.Retention.Days <= 0 {
		return defaultRetention
	}
	return s.Retention.Days
}

// defaultRetention is long enough for "the same bees or new ones?" and for a second swarm of
// the same colony. Judgement.
const defaultRetention = 30

// Scene is when and where a report is weighed, and with what.
func (s *Settings) Scene(at time.Time) triage.Scene {
	return triage.Scene{
		At: at, Latitude: s.Latitude, Longitude: s.Longitude,
		Model: s.model, ManyStings: s.manyStings(), Africanized: s.Africanized,
	}
}

// manyStings is from how many stings on a doctor or the poison centre is called. In Great
// Britain it is "several insects at once" (an NHS practice, Bites and stings; three by
// judgement); elsewhere about ten, below the "more than 15" of San Diego Fire-Rescue.
func (s *Settings) manyStings() int {
	switch {
	case s.ManyStings > 0:
		return s.ManyStings
	case s.Country == "GB":
		return 3
	}
	return 10
}

// poisonCentre is the number after many stings. Only that of the US is known to us
// (1-800-222-1222: Virginia Department of Health, 2022); elsewhere the club names its own.
func (s *Settings) poisonCentre() string {
	if s.PoisonCentre == "" && s.Country == "US" {
		return "1-800-222-1222"
	}
	return s.PoisonCentre
}

// Zone returns the hotline's time zone.
func (s *Settings) Zone() *time.Location {
	if s.zone == nil {
		return time.UTC
	}
	return s.zone
}

// Metric reports whether people read metres and kilometres.
func (s *Settings) Metric() bool { return s.Units == "metric" }

// DefaultLanguage returns the language of people who have not chosen one.
func (s *Settings) DefaultLanguage() string {
	if len(s.Languages) == 0 {
		return "en"
	}
	return s.Languages[0]
}

// Refer returns whom to turn to for purpose ("wasps", "colony", "bees") in the words people
// read, "" when the club named nobody.
func (s *Settings) Refer(purpose string) string {
	for _, r := range s.Referrals {
		if r.For != purpose {
			continue
		}
		for _, words := range []string{r.Phone, r.Link, r.Name} {
			if words != "" {
				return words
			}
		}
	}
	return ""
}

// IsSteward reports whether a is a steward's address.
func (s *Settings) IsSteward(a notify.Address) bool {
	for _, steward := range s.Stewards {
		if steward == string(a) {
			return true
		}
	}
	return false
}

// AsksAround is how catchers are asked, for a simulation of it.
func (s *Settings) AsksAround() notify.Dispatch { return s.dispatch() }

// dispatch is how catchers are asked, as notify wants it.
func (s *Settings) dispatch() notify.Dispatch {
	d := notify.DefaultDispatch()
	if s.Dispatch.Pace != "" {
		d.Pace = notify.Pace(s.Dispatch.Pace)
	}
	if s.Dispatch.First > 0 {
		d.First = s.Dispatch.First
	}
	if s.Dispatch.Next > 0 {
		d.Next = s.Dispatch.Next
	}
	d.Every, d.Travel = s.every(), s.travel()
	// Both were read by Validate; an empty one leaves the default.
	for _, clock := range []struct {
		text string
		to   *notify.TimeOfDay
	}{{s.Hours.QuietFrom, &d.QuietFrom}, {s.Hours.QuietTo, &d.QuietTo}} {
		var t notify.TimeOfDay
		if t.UnmarshalText([]byte(clock.text)) == nil {
			*clock.to = t
		}
	}
	return d
}

// travel is how long ways take, as notify wants it.
func (s *Settings) travel() notify.Travel {
	return notify.Travel{Detour: s.Travel.Detour, KmH: s.Travel.KmH}
}

// every is the silence after which more catchers are asked.
func (s *Settings) every() time.Duration {
	if s.Dispatch.EveryMinutes > 0 {
		return time.Duration(s.Dispatch.EveryMinutes) * time.Minute
	}
	return notify.DefaultDispatch().Every
}
