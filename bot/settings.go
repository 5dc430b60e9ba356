package bot

import (
	"cmp"
	"math"
	"time"

	"skepline/intake"
	"skepline/notify"
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
	Referrals    []Referral  `toml:"referrals"`
	Neighbours   []Neighbour `toml:"neighbours"`
	Places       Places      `toml:"places"`
	Hours        Hours       `toml:"hours"`
	Dispatch     Dispatch    `toml:"dispatch"`
	Limits       Limits      `toml:"limits"`

	zone *time.Location // TimeZone, read by Validate
}

// Referral is somebody to turn to for what catchers do not collect.
type Referral struct {
	For   string `toml:"for"`   // "wasps", "colony" (bees in a building) or "bees" (nobody of ours is free)
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
	First        int `toml:"first"`         // asked at once
	Next         int `toml:"next"`          // asked at each widening
	EveryMinutes int `toml:"every_minutes"` // silent minutes before a widening
}

// Limits bound what one person and one day may cost.
type Limits struct {
	TextsIn10Minutes int `toml:"texts_in_10_minutes"` // answers to one person's texts that move nothing
	TextsADay        int `toml:"texts_a_day"`         // the same, a day
	SegmentsADay     int `toml:"segments_a_day"`      // SMS segments of the whole hotline; safety texts alone may pass it
	SafetyReserve    int `toml:"safety_reserve"`      // of these, kept for safety texts
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

// dispatch is how catchers are asked, as notify wants it.
func (s *Settings) dispatch() notify.Dispatch {
	d := notify.DefaultDispatch()
	if s.Dispatch.First > 0 {
		d.First = s.Dispatch.First
	}
	if s.Dispatch.Next > 0 {
		d.Next = s.Dispatch.Next
	}
	d.Every = s.every()
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

// every is the silence after which more catchers are asked.
func (s *Settings) every() time.Duration {
	if s.Dispatch.EveryMinutes > 0 {
		return time.Duration(s.Dispatch.EveryMinutes) * time.Minute
	}
	return notify.DefaultDispatch().Every
}
