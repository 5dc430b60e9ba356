package bot

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/nyaruka/phonenumbers"

	"skepline/intake"
	"skepline/notify"
)

// settingsKey is one key of hotline.toml: where its value goes, which values are right and
// how that is said.
type settingsKey[T any] struct {
	name    string
	must    bool          // has no default
	field   func(*T) any  // a pointer to the field
	right   func(*T) bool // the field's value is allowed
	allowed string
}

// settingsKeys are the fixed keys, in the order of the file.
var settingsKeys = []settingsKey[Settings]{
	{"name", true, func(s *Settings) any { return &s.Name },
		func(s *Settings) bool { return lettersBetween(s.Name, 1, 40) }, "the club's name in 1 to 40 letters"},
	{"latitude", true, func(s *Settings) any { return &s.Latitude },
		func(s *Settings) bool { return s.Latitude >= -90 && s.Latitude <= 90 }, "degrees north, -90 to 90"},
	{"longitude", true, func(s *Settings) any { return &s.Longitude },
		func(s *Settings) bool { return s.Longitude >= -180 && s.Longitude <= 180 }, "degrees east, -180 to 180"},
	{"time_zone", true, func(s *Settings) any { return &s.TimeZone },
		func(s *Settings) bool { return loadZone(s.TimeZone) != nil }, `an IANA time zone such as "America/New_York"`},
	{"radius_km", true, func(s *Settings) any { return &s.RadiusKm },
		func(s *Settings) bool { return s.RadiusKm >= 1 && s.RadiusKm <= 500 }, "the served radius in kilometres, 1 to 500"},
	{"units", true, func(s *Settings) any { return &s.Units },
		func(s *Settings) bool { return s.Units == "imperial" || s.Units == "metric" }, `"imperial" or "metric"`},
	{"languages", true, func(s *Settings) any { return &s.Languages },
		func(s *Settings) bool { return rightLanguages(s.Languages) },
		"a list of one or more of " + strings.Join(quoted(intake.Languages()), ", ") + ", each once, the default first"},
	{"emergency_number", true, func(s *Settings) any { return &s.EmergencyNumber },
		func(s *Settings) bool { return emergencyNumber.MatchString(s.EmergencyNumber) }, `2 to 6 digits such as "911" or "112"`},
	{"country", true, func(s *Settings) any { return &s.Country },
		func(s *Settings) bool { return phonenumbers.GetSupportedRegions()[s.Country] }, `two capital letters such as "US"`},
	{"stewards", false, func(s *Settings) any { return &s.Stewards },
		func(s *Settings) bool { return rightAddresses(s.Stewards) },
		`a list of addresses such as "telegram:12345678" or "sms:+16075550142", each once`},
	{"tag", false, func(s *Settings) any { return &s.Tag },
		func(s *Settings) bool { return tag.MatchString(s.Tag) }, "1 to 40 of a-z 0-9 - that stay the same for ever"},
	{"poison_centre", false, func(s *Settings) any { return &s.PoisonCentre },
		func(s *Settings) bool { return s.PoisonCentre == "" || dialled.MatchString(s.PoisonCentre) },
		`a phone number such as "1-800-222-1222", or ""`},
	{"many_stings", false, func(s *Settings) any { return &s.ManyStings },
		func(s *Settings) bool { return s.ManyStings >= 0 && s.ManyStings <= 15 }, "a whole number of stings, 1 to 15, or 0 for the country's"},
	{"africanized", false, func(s *Settings) any { return &s.Africanized },
		func(*Settings) bool { return true }, "true or false"},
	{"learned", false, func(s *Settings) any { return &s.Learned },
		func(s *Settings) bool { return lettersBetween(s.Learned, 0, 200) }, `a file such as "learned.json" beside this one, or ""`},
}

var referralKeys = []settingsKey[Referral]{
	{"for", true, func(r *Referral) any { return &r.For },
		func(r *Referral) bool { return slices.Contains([]string{"wasps", "colony", "bees", "hornets"}, r.For) }, `"wasps", "colony", "bees" or "hornets"`},
	{"name", false, func(r *Referral) any { return &r.Name },
		func(r *Referral) bool { return lettersBetween(r.Name, 0, 40) }, "a name of at most 40 letters"},
	{"phone", false, func(r *Referral) any { return &r.Phone },
		func(r *Referral) bool { return r.Phone == "" || dialled.MatchString(r.Phone) }, `a phone number such as "607-555-0161"`},
	{"link", false, func(r *Referral) any { return &r.Link },
		func(r *Referral) bool { return r.Link == "" || webLink.MatchString(r.Link) }, "a link that begins with https:// and has at most 60 letters"},
}

var neighbourKeys = []settingsKey[Neighbour]{
	{"name", true, func(n *Neighbour) any { return &n.Name },
		func(n *Neighbour) bool { return lettersBetween(n.Name, 1, 30) }, "a name of 1 to 30 letters"},
	{"phone", false, func(n *Neighbour) any { return &n.Phone },
		func(n *Neighbour) bool { return n.Phone == "" || dialled.MatchString(n.Phone) }, `a phone number such as "607-555-0161"`},
	{"link", false, func(n *Neighbour) any { return &n.Link },
		func(n *Neighbour) bool { return n.Link == "" || webLink.MatchString(n.Link) }, "a link that begins with https:// and has at most 60 letters"},
	{"latitude", true, func(n *Neighbour) any { return &n.Latitude },
		func(n *Neighbour) bool { return n.Latitude >= -90 && n.Latitude <= 90 }, "degrees north, -90 to 90"},
	{"longitude", true, func(n *Neighbour) any { return &n.Longitude },
		func(n *Neighbour) bool { return n.Longitude >= -180 && n.Longitude <= 180 }, "degrees east, -180 to 180"},
	{"radius_km", true, func(n *Neighbour) any { return &n.RadiusKm },
		func(n *Neighbour) bool { return n.RadiusKm >= 1 && n.RadiusKm <= 500 }, "the radius they serve in kilometres, 1 to 500"},
}

var placesKeys = []settingsKey[Places]{
	{"nominatim", false, func(p *Places) any { return &p.Nominatim },
		func(p *Places) bool { return p.Nominatim == "" || serverURL.MatchString(p.Nominatim) },
		`the address of a Nominatim-compatible server such as "https://nominatim.example.org", or ""`},
}

var mapKeys = []settingsKey[Map]{
	{"tiles", false, func(m *Map) any { return &m.Tiles },
		func(m *Map) bool { return m.Tiles == "" || rightTiles(m.Tiles) },
		`an address with {z}, {x} and {y} in it such as "https://tiles.example.org/{z}/{x}/{y}.png", or ""`},
	{"attribution", false, func(m *Map) any { return &m.Attribution },
		func(m *Map) bool {
			return lettersBetween(m.Attribution, 0, 80) && (m.Tiles == "" || m.Attribution != "")
		},
		"whose map it is, in 1 to 80 letters"},
}

// rightTiles reports whether tiles can be fetched by that pattern, over HTTPS or on this
// machine, and nothing in it could end a header that names it.
func rightTiles(pattern string) bool {
	for _, part := range []string{"{z}", "{x}", "{y}"} {
		if strings.Count(pattern, part) != 1 {
			return false
		}
	}
	return tilePattern.MatchString(pattern)
}

var tilePattern = regexp.MustCompile(`^(https://[A-Za-z0-9.-]+(:[0-9]+)?|http://127\.0\.0\.1:[0-9]+)/[A-Za-z0-9._~/{}?=&%-]{1,200}$`)

var hoursKeys = []settingsKey[Hours]{
	{"quiet_from", false, func(h *Hours) any { return &h.QuietFrom },
		func(h *Hours) bool { return clockTime(h.QuietFrom) }, `a local clock time such as "21:00"`},
	{"quiet_to", false, func(h *Hours) any { return &h.QuietTo },
		func(h *Hours) bool { return clockTime(h.QuietTo) && h.QuietTo != h.QuietFrom }, `a local clock time such as "07:00", other than quiet_from`},
}

var dispatchKeys = []settingsKey[Dispatch]{
	{"pace", false, func(d *Dispatch) any { return &d.Pace },
		func(d *Dispatch) bool {
			return slices.Contains([]string{"", string(notify.Gentle), string(notify.Normal), string(notify.Fast)}, d.Pace)
		}, `"gentle" (fewer asks, a longer wait), "normal" or "fast" (more asks, a shorter wait)`},
	{"first", false, func(d *Dispatch) any { return &d.First },
		func(d *Dispatch) bool { return d.First >= 1 && d.First <= 20 }, "a whole number, 1 to 20"},
	{"next", false, func(d *Dispatch) any { return &d.Next },
		func(d *Dispatch) bool { return d.Next >= 1 && d.Next <= 20 }, "a whole number, 1 to 20"},
	{"every_minutes", false, func(d *Dispatch) any { return &d.EveryMinutes },
		func(d *Dispatch) bool { return d.EveryMinutes >= 1 && d.EveryMinutes <= 60 }, "a whole number of minutes, 1 to 60"},
}

var travelKeys = []settingsKey[Travel]{
	{"detour", false, func(t *Travel) any { return &t.Detour },
		func(t *Travel) bool { return t.Detour >= 1 && t.Detour <= 5 }, "how much longer roads are than the straight line, 1 to 5"},
	{"km_h", false, func(t *Travel) any { return &t.KmH },
		func(t *Travel) bool { return t.KmH >= 5 && t.KmH <= 130 }, "kilometres an hour on the road, 5 to 130"},
	{"osrm", false, func(t *Travel) any { return &t.OSRM },
		func(t *Travel) bool { return t.OSRM == "" || serverURL.MatchString(t.OSRM) },
		`the address of an OSRM-compatible server such as "https://osrm.example.org", or ""`},
}

var auditKeys = []settingsKey[Audit]{
	{"dead_man", false, func(a *Audit) any { return &a.DeadMan },
		func(a *Audit) bool { return a.DeadMan == "" || auditLink.MatchString(a.DeadMan) }, `a link such as "https://example.org/ping/quillbrook"`},
}

var auditLink = regexp.MustCompile(`^https?://[!-~]{1,300}$`)

var limitsKeys = []settingsKey[Limits]{
	{"texts_in_10_minutes", false, func(l *Limits) any { return &l.TextsIn10Minutes },
		func(l *Limits) bool { return l.TextsIn10Minutes >= 1 && l.TextsIn10Minutes <= 1000 }, "a whole number, 1 to 1000"},
	{"texts_a_day", false, func(l *Limits) any { return &l.TextsADay },
		func(l *Limits) bool { return l.TextsADay >= l.TextsIn10Minutes && l.TextsADay <= 10000 }, "a whole number from texts_in_10_minutes to 10000"},
	{"segments_a_day", false, func(l *Limits) any { return &l.SegmentsADay },
		func(l *Limits) bool { return l.SegmentsADay >= 1 && l.SegmentsADay <= 1000000 }, "a whole number, 1 to 1000000"},
	{"safety_reserve", false, func(l *Limits) any { return &l.SafetyReserve },
		func(l *Limits) bool { return l.SafetyReserve >= 0 && l.SafetyReserve < l.SegmentsADay }, "a whole number, 0 or more and less than segments_a_day"},
	{"countries", false, func(l *Limits) any { return &l.Countries },
		func(l *Limits) bool { return rightCountries(l.Countries) }, `a list of countries such as ["US", "CA"], each once`},
	{"new_in_block_a_day", false, func(l *Limits) any { return &l.NewInBlock },
		func(l *Limits) bool { return l.NewInBlock >= 1 && l.NewInBlock <= 10000 }, "a whole number, 1 to 10000"},
	{"segment_price", false, func(l *Limits) any { return &l.SegmentPrice },
		func(l *Limits) bool { return l.SegmentPrice >= 0 && l.SegmentPrice < 100 }, "a price, 0 to 100, such as 0.012"},
	{"currency", false, func(l *Limits) any { return &l.Currency },
		func(l *Limits) bool { return len(l.Currency) <= 5 }, "at most 5 letters, such as \"USD\""},
}

var ratesKeys = []settingsKey[Rates]{
	{"sms", false, func(r *Rates) any { return &r.SMS },
		func(r *Rates) bool { return rightRate(r.SMS) }, rateAllowed},
	{"whatsapp", false, func(r *Rates) any { return &r.WhatsApp },
		func(r *Rates) bool { return rightRate(r.WhatsApp) }, rateAllowed},
	{"telegram", false, func(r *Rates) any { return &r.Telegram },
		func(r *Rates) bool { return rightRate(r.Telegram) }, rateAllowed},
	{"chat", false, func(r *Rates) any { return &r.Chat },
		func(r *Rates) bool { return rightRate(r.Chat) }, rateAllowed},
}

const rateAllowed = "segments a second, above 0 and at most 1000000, or 0 for what a plain sender may"

func rightRate(r float64) bool { return r >= 0 && r <= 1e6 }

var retentionKeys = []settingsKey[Retention]{
	// Not less than the time within which "the same bees or new ones?" is asked.
	{"days", false, func(r *Retention) any { return &r.Days },
		func(r *Retention) bool { return r.Days >= 14 && r.Days <= 3650 }, "a whole number of days, 14 to 3650"},
}

var (
	// Emergency numbers are short: two to six digits (judgement; ITU-T E.161.1 recommends
	// 112 or 911, from memory).
	emergencyNumber = regexp.MustCompile(`^[0-9]{2,6}$`)
	tag             = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)
	dialled         = regexp.MustCompile(`^\+?[0-9][0-9 ()./-]{1,24}$`)
	serverURL       = regexp.MustCompile(`^https?://[A-Za-z0-9.:\[\]-]+(/[!-~]*)?$`)
	webLink         = regexp.MustCompile(`^https://[!-~]{1,52}$`)
)

// tagOf makes a tag of a club's name: "Quillbrook Bees" is "quillbrook-bees".
func tagOf(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	if len(words) == 0 {
		return "hotline"
	}
	joined := strings.Join(words, "-")
	return joined[:min(len(joined), 40)]
}

// Validate reports every value that is not allowed, one sentence each, and reads the time
// zone. Settings made in code need it before their first use.
func (s *Settings) Validate() error {
	s.zone = loadZone(s.TimeZone)
	var errs []error
	for _, w := range s.wrong() {
		errs = append(errs, errors.New(w.text))
	}
	return errors.Join(errs...)
}

// wrongValue is a key whose value is not allowed, and the sentence that says so.
type wrongValue struct{ path, text string }

func (s *Settings) wrong() []wrongValue {
	all := wrongIn("", s, settingsKeys)
	for i := range s.Referrals {
		all = append(all, wrongIn(fmt.Sprintf("referrals[%d].", i), &s.Referrals[i], referralKeys)...)
		if r := s.Referrals[i]; r.Name+r.Phone+r.Link == "" {
			path := fmt.Sprintf("referrals[%d]", i)
			all = append(all, wrongValue{path, "key " + path + " names nobody; allowed is a phone, a link or a name"})
		}
	}
	for i := range s.Neighbours {
		path := fmt.Sprintf("neighbours[%d]", i)
		all = append(all, wrongIn(path+".", &s.Neighbours[i], neighbourKeys)...)
		if s.Neighbours[i].reach() == "" {
			all = append(all, wrongValue{path, "key " + path + " cannot be reached; allowed is a phone or a link"})
		}
	}
	all = append(all, wrongIn("places.", &s.Places, placesKeys)...)
	all = append(all, wrongIn("map.", &s.Map, mapKeys)...)
	all = append(all, wrongIn("hours.", &s.Hours, hoursKeys)...)
	all = append(all, wrongIn("dispatch.", &s.Dispatch, dispatchKeys)...)
	all = append(all, wrongIn("travel.", &s.Travel, travelKeys)...)
	all = append(all, wrongIn("limits.", &s.Limits, limitsKeys)...)
	all = append(all, wrongIn("rates.", &s.Rates, ratesKeys)...)
	all = append(all, wrongIn("retention.", &s.Retention, retentionKeys)...)
	return append(all, wrongIn("audit.", &s.Audit, auditKeys)...)
}

func wrongIn[T any](path string, in *T, keys []settingsKey[T]) []wrongValue {
	var all []wrongValue
	for _, k := range keys {
		if !k.right(in) {
			all = append(all, wrongValue{path + k.name,
				fmt.Sprintf("key %s cannot be %s; allowed is %s", path+k.name, shown(k.field(in)), k.allowed)})
		}
	}
	return all
}

// shown prints a field's value much as it stands in the file. A list is not repeated: a
// steward's number may stand in it.
func shown(field any) string {
	switch v := field.(type) {
	case *string:
		return fmt.Sprintf("%q", *v)
	case *float64:
		return fmt.Sprint(*v)
	case *int:
		return itoa(*v)
	}
	return "this list"
}

func quoted(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = fmt.Sprintf("%q", s)
	}
	return out
}

// loadZone returns the named time zone, nil when there is none. "" and "Local" mean the
// machine's own affairs to Go, and never a hotline's place.
func loadZone(name string) *time.Location {
	if name == "" || name == "Local" {
		return nil
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil
	}
	return zone
}

func lettersBetween(s string, low, high int) bool {
	n := utf8.RuneCountInString(s)
	return n >= low && n <= high && !strings.ContainsAny(s, "\n\r\t") && strings.TrimSpace(s) == s
}

func rightLanguages(list []string) bool {
	for _, l := range list {
		if !slices.Contains(intake.Languages(), l) {
			return false
		}
	}
	return len(list) > 0 && !repeats(list)
}

func rightCountries(list []string) bool {
	for _, c := range list {
		if !phonenumbers.GetSupportedRegions()[c] {
			return false
		}
	}
	return !repeats(list)
}

func rightAddresses(list []string) bool {
	for _, a := range list {
		if parsed, err := notify.ParseAddress(a); err != nil || string(parsed) != a {
			return false
		}
	}
	return !repeats(list)
}

func repeats(list []string) bool {
	sorted := slices.Sorted(slices.Values(list))
	return len(slices.Compact(sorted)) < len(list)
}

func clockTime(s string) bool {
	_, err := time.Parse("15:04", s)
	return err == nil && len(s) == len("15:04")
}
