package bot

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"skepline/notify"
)

const fixedKeys = `name = "Hill Bees"
latitude = 51
longitude = -0.1
time_zone = "Europe/London"
radius_km = 25
units = "metric"
languages = ["en"]
emergency_number = "999"
country = "GB"
stewards = ["telegram:5550101"]
`

func TestFixedKeysAloneAreAValidFile(t *testing.T) {
	got, err := ReadSettings("hotline.toml", []byte(fixedKeys))
	if err != nil {
		t.Fatal(err)
	}
	want := &Settings{
		Name: "Hill Bees", Latitude: 51, Longitude: -0.1, TimeZone: "Europe/London", RadiusKm: 25, Units: "metric",
		Languages: []string{"en"}, EmergencyNumber: "999", Country: "GB", Stewards: []string{"telegram:5550101"}, Tag: "hill-bees",
		Hours:     Hours{QuietFrom: "21:00", QuietTo: "07:00"},
		Dispatch:  Dispatch{Pace: "normal", First: 4, Next: 4, EveryMinutes: 5},
		Travel:    Travel{Detour: 1.4, KmH: 45},
		Limits:    Limits{TextsIn10Minutes: 6, TextsADay: 30, SegmentsADay: 1500, SafetyReserve: 150, NewInBlock: 40},
		Retention: Retention{Days: 30},
	}
	if diff := cmp.Diff(want, got, cmpopts.IgnoreUnexported(Settings{})); diff != "" {
		t.Error(diff)
	}
	if got.Zone().String() != "Europe/London" {
		t.Errorf("zone is %v, want that of the file", got.Zone())
	}
}

func TestBuiltInSettings(t *testing.T) {
	s := DefaultSettings()
	if s.Latitude != 42.444 || s.Longitude != -76.502 || s.Zone().String() != "America/New_York" || len(s.Stewards) != 0 {
		t.Errorf("the built-in hotline is not in Quillbrook County: %v", s)
	}
	for _, purpose := range []string{"wasps", "colony", "bees"} {
		if !strings.HasPrefix(s.Refer(purpose), "607-555-01") {
			t.Errorf("Refer(%q) = %q, want an invented number", purpose, s.Refer(purpose))
		}
	}
}

// The example shows every key with its default, so the comments in it stay true.
func TestBuiltInSettingsShowTheDefaults(t *testing.T) {
	bare, err := ReadSettings("hotline.toml", []byte(fixedKeys))
	if err != nil {
		t.Fatal(err)
	}
	shown := DefaultSettings()
	if shown.Hours != bare.Hours || shown.Dispatch != bare.Dispatch || !reflect.DeepEqual(shown.Limits, bare.Limits) {
		t.Errorf("the example's tables %+v %+v %+v differ from the defaults", shown.Hours, shown.Dispatch, shown.Limits)
	}
}

func TestWrongSettings(t *testing.T) {
	for _, row := range []struct {
		why, old, new string
		want          string // the whole error, line by line
	}{
		{"a misspelt value says what is allowed", `"metric"`, `"metrical"`,
			`hotline.toml:6: key units cannot be "metrical"; allowed is "imperial" or "metric"`},
		{"an unknown key lists its neighbours", "radius_km = 25", "radius_km = 25\n[hours]\nquiet = 1",
			"hotline.toml:7: key hours.quiet is unknown; allowed here are quiet_from, quiet_to"},
		{"a number as text", "radius_km = 25", `radius_km = "25"`,
			"hotline.toml:5: key radius_km is a text; allowed is the served radius in kilometres, 1 to 500"},
		{"not a number at all is no latitude", "latitude = 51", "latitude = nan",
			"hotline.toml:2: key latitude cannot be NaN; allowed is degrees north, -90 to 90"},
		{"Go's own zone names are the machine's, not a place's", "Europe/London", "Local",
			`hotline.toml:4: key time_zone cannot be "Local"; allowed is an IANA time zone such as "America/New_York"`},
		{"a language without words", `["en"]`, `["en", "fr"]`,
			`hotline.toml:7: key languages cannot be this list; allowed is a list of one or more of "en", "es", each once, the default first`},
		{"a missing key is named", `country = "GB"`, "",
			`hotline.toml: key country is missing; allowed is two capital letters such as "US"`},
		{"a steward's number is not repeated", "telegram:5550101", "+16075550142",
			`hotline.toml:10: key stewards cannot be this list; allowed is a list of addresses such as "telegram:12345678" or "sms:+16075550142", each once`},
		{"a steward outside of a list is not repeated either", `["telegram:5550101"]`, `"sms:+16075550142"`,
			`hotline.toml:10: key stewards is a text; allowed is a list of addresses such as "telegram:12345678" or "sms:+16075550142", each once`},
		{"the second of two entries", `country = "GB"`, "country = \"GB\"\n[[referrals]]\nfor = \"bees\"\nname = \"A\"\n[[referrals]]\nfor = \"rats\"\nname = \"B\"\n[limits]",
			"hotline.toml:14: key referrals[1].for cannot be \"rats\"; allowed is \"wasps\", \"colony\", \"bees\" or \"hornets\"\n" +
				"hotline.toml:17: key limits.stewards is unknown; allowed here are texts_in_10_minutes, texts_a_day, segments_a_day, safety_reserve, countries, new_in_block_a_day"},
		{"a referral to nobody", `"telegram:5550101"]`, "]\n[[referrals]]\nfor = \"bees\"",
			"hotline.toml:11: key referrals[0] names nobody; allowed is a phone, a link or a name"},
		{"tiles from anywhere", "radius_km = 25", "radius_km = 25\n[map]\nattribution = \"me\"\ntiles = \"http://x.example/{z}/{x}/{y}.png\"",
			`hotline.toml:8: key map.tiles cannot be "http://x.example/{z}/{x}/{y}.png"; allowed is an address with {z}, {x} and {y} in it such as "https://tiles.example.org/{z}/{x}/{y}.png", or ""`},
		{"tiles that would end the policy", "radius_km = 25", "radius_km = 25\n[map]\nattribution = \"me\"\ntiles = \"https://x.example;script-src/{z}/{x}/{y}\"",
			`hotline.toml:8: key map.tiles cannot be "https://x.example;script-src/{z}/{x}/{y}"; allowed is an address with {z}, {x} and {y} in it such as "https://tiles.example.org/{z}/{x}/{y}.png", or ""`},
		{"no sender goes backwards", "radius_km = 25", "radius_km = 25\n[rates]\nsms = -1",
			"hotline.toml:7: key rates.sms cannot be -1; allowed is segments a second, above 0 and at most 1000000, or 0 for what a plain sender may"},
		{"not TOML", "latitude = 51", "latitude 51",
			"hotline.toml:2: this line is not TOML: expected '.' or '=', but got '5' instead; write key = value or [table]"},
		{"a plain table where entries belong", "radius_km = 25", "radius_km = 25\nreferrals = 3",
			"hotline.toml:6: key referrals is not a list of tables; allowed is [[referrals]] on a line of its own, once an entry"},
		{"all faults at once, in the file's order", `units = "metric"`, "units = 3\nvolume = 11",
			"hotline.toml:6: key units is a whole number; allowed is \"imperial\" or \"metric\"\n" +
				"hotline.toml:7: key volume is unknown; allowed here are referrals, neighbours, places, map, hours, dispatch, travel, limits, rates, retention, audit, name, latitude, longitude, time_zone, radius_km, units, languages, emergency_number, country, stewards, tag, poison_centre, many_stings, africanized, learned"},
	} {
		t.Run(row.why, func(t *testing.T) {
			_, err := ReadSettings("hotline.toml", []byte(strings.Replace(fixedKeys, row.old, row.new, 1)))
			if err == nil {
				t.Fatal("the file was accepted")
			}
			if got := err.Error(); !strings.HasPrefix(got, row.want) {
				t.Errorf("got  %s\nwant %s", got, row.want)
			}
		})
	}
}

func TestRates(t *testing.T) {
	want := map[notify.Channel]time.Duration{notify.SMS: 250 * time.Millisecond, notify.Telegram: time.Microsecond}
	if got := (Rates{SMS: 4, Telegram: 1e6}).Gaps(); !maps.Equal(got, want) {
		t.Errorf("got gaps %v, want %v and WhatsApp as usual", got, want)
	}
}

func TestLoadSettings(t *testing.T) {
	path := filepath.Join(t.TempDir(), "hotline.toml")
	if _, err := LoadSettings(path); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("a missing file gave %v, want an error with its path", err)
	}
	if err := os.WriteFile(path, []byte(fixedKeys), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err := LoadSettings(path); err != nil || s.Name != "Hill Bees" {
		t.Errorf("got %v, %v", s, err)
	}
	if s, err := LoadSettings(""); err != nil || s.Name != "Quillbrook Bees" {
		t.Errorf(`LoadSettings("") gave %v, %v, want the built-in hotline`, s, err)
	}
}

func TestValidateReportsEveryFault(t *testing.T) {
	s := DefaultSettings()
	s.Units, s.Limits.SafetyReserve = "feet", s.Limits.SegmentsADay
	err := s.Validate()
	if err == nil || strings.Count(err.Error(), "allowed is") != 2 {
		t.Errorf("got %v, want a sentence on units and one on safety_reserve", err)
	}
}
