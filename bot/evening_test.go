package bot

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// atPlace is a decision of a hotline at a place, with Ada who lives at (lat, lon).
func atPlace(t *testing.T, zone string, lat, lon float64, now string) (*decision, *Call) {
	t.Helper()
	s := DefaultSettings()
	s.TimeZone, s.Latitude, s.Longitude = zone, lat, lon
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", now, s.Zone())
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(Catcher{Catcher: notify.Catcher{ID: "ada", Name: "Ada", Lat: lat, Lon: lon, ReachKm: 100}})
	if err != nil {
		t.Fatal(err)
	}
	d := newDecision(Facts{Settings: s, Now: at, Event: Kicked{Event: "au:x"}, Secret: testSecret, Documents: []Document{{Key: Key{KindCatcher, "ada"}, Version: 1, Body: body}}})
	c := &Call{ID: "x", Stage: Boxed, Holder: &Holder{Catcher: "ada"}}
	c.Answers.Place = placed(lat, lon)
	return d, c
}

// TestDuskReminderComesAtSunset holds the minute of the reminder to the published sun
// vectors: at sunset by the local clock, in every zone there and across both clock changes;
// where the sun sets after ten, or not at all, twenty minutes before ten.
func TestDuskReminderComesAtSunset(t *testing.T) {
	data, err := os.ReadFile("../testdata/published/sun_vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors struct {
		Sunsets []struct {
			Place, Zone, Date, Sunset string
			Lat, Lon                  float64
			CivilDusk                 string  `json:"civil_dusk"`
			Tolerance                 float64 `json:"tolerance_s"`
		} `json:"sunsets"`
	}
	if err := json.Unmarshal(data, &vectors); err != nil {
		t.Fatal(err)
	}
	zones := map[string]bool{}
	changes := 0
	for _, v := range vectors.Sunsets {
		d, c := atPlace(t, v.Zone, v.Lat, v.Lon, v.Date+" 11:00")
		got := d.remindAt(c, d.now)
		want, tolerance := v.Sunset, time.Duration(v.Tolerance)*time.Second+time.Minute
		switch {
		case v.Sunset == "none" && v.CivilDusk != "none": // polar night
			dusk, _ := time.ParseInLocation("2006-01-02 15:04:05", v.Date+" "+v.CivilDusk, d.now.Location())
			want = dusk.Add(-homeAfter).Format("15:04:05")
		case v.Sunset == "none" || v.Sunset > "22":
			want = "21:40:00"
		}
		at, err := time.ParseInLocation("2006-01-02 15:04:05", v.Date+" "+want, d.now.Location())
		if err != nil {
			t.Fatalf("%s %s: %v", v.Place, v.Date, err)
		}
		if off := at.Sub(got); off < -time.Duration(v.Tolerance)*time.Second || off > tolerance {
			t.Errorf("%s on %s: reminded at %s, want the minute of %s", v.Place, v.Date, got.Format("15:04:05 MST"), at.Format("15:04:05 MST"))
		}
		zones[v.Zone] = true
		if v.Date == "2026-03-08" || v.Date == "2026-11-01" {
			changes++
		}
	}
	if len(zones) < 5 || changes < 2 {
		t.Errorf("%d zones and %d clock changes were tried, want five and two", len(zones), changes)
	}
}

// TestDuskReminderAllowsForTheDrive moves the reminder forward by as much as the drive is
// longer than the twenty minutes that the bees need.
func TestDuskReminderAllowsForTheDrive(t *testing.T) {
	d, c := atPlace(t, "America/New_York", 42.444, -76.502, "2026-05-12 15:00")
	near := d.remindAt(c, d.now)
	c.Answers.Place = placed(42.444+20/111.2, -76.502) // 20 km north: 3 + 60*1.4*20/45 = 40 minutes
	far := d.remindAt(c, d.now)
	if got := near.Sub(far); got < 19*time.Minute || got > 22*time.Minute {
		t.Errorf("40 minutes of driving move the reminder by %v, want about 20", got)
	}
}

// Bees closed in by day are warned of wherever the sun is up, and evenings are warm in high
// summer, by latitude: never in Tromso, always near the equator, in December in Sydney.
func TestHeatByDayAndSeason(t *testing.T) {
	for _, row := range []struct {
		zone      string
		lat, lon  float64
		at        string
		day, warm bool
	}{
		{"America/New_York", 42.444, -76.502, "2026-06-12 14:00", true, true},
		{"America/New_York", 42.444, -76.502, "2026-06-12 21:00", false, true},
		{"America/New_York", 42.444, -76.502, "2026-06-12 06:00", false, true},
		{"America/New_York", 42.444, -76.502, "2026-04-20 12:00", true, false},
		{"America/New_York", 42.444, -76.502, "2026-09-05 20:00", false, false}, // late summer: cool again
		{"Europe/Oslo", 69.6492, 18.9553, "2026-06-20 22:00", false, false},     // the midnight sun stands low
		{"Europe/Oslo", 69.6492, 18.9553, "2026-06-20 12:00", true, false},
		{"America/Guayaquil", -0.1807, -78.4678, "2026-09-20 21:00", false, true},
		{"Australia/Sydney", -33.8688, 151.2093, "2026-12-21 21:30", false, true},
		{"Australia/Sydney", -33.8688, 151.2093, "2026-06-21 21:30", false, false},
	} {
		d, c := atPlace(t, row.zone, row.lat, row.lon, row.at)
		if day, warm := d.hotByDay(c), d.warmEvening(c); day != row.day || warm != row.warm {
			t.Errorf("%s at %s: by day %v, warm evening %v, want %v and %v", row.zone, row.at, day, warm, row.day, row.warm)
		}
	}
}

// TestBoxesComeInDrivingOrder: from home to the nearest, from there to the nearest.
func TestBoxesComeInDrivingOrder(t *testing.T) {
	d, _ := atPlace(t, "America/New_York", 42.444, -76.502, "2026-05-12 15:00")
	box := func(ref string, north float64) *Call {
		return &Call{ID: ref, Reference: ref, Answers: intake.Answers{Place: placed(42.444+north/111.2, -76.502)}}
	}
	words := &Call{ID: "WRD2", Reference: "WRD2", Answers: intake.Answers{Place: &intake.Place{Text: "by the mill", PrecisionM: intake.InWordsOnly}}}
	var got []string
	// On a line, home at 0: nearest is 1, then 3, then 8; -4 is farther from 3 than 8 is from it.
	for _, c := range d.inDrivingOrder(d.catcher("ada"), []*Call{box("FAR8", 8), words, box("SOU4", -4.5), box("NEA1", 1), box("MID3", 4)}) {
		got = append(got, c.Reference)
	}
	if want := "NEA1 MID3 FAR8 SOU4 WRD2"; strings.Join(got, " ") != want {
		t.Errorf("order %v, want %s", got, want)
	}
}

// TestReminderHourSurvivesTheClockChange: six in the evening is six by the clock, whether the
// night between has one hour less (8 March 2026 in New York) or more (1 November).
func TestReminderHourSurvivesTheClockChange(t *testing.T) {
	for _, day := range []string{"2026-03-07 20:00", "2026-10-31 20:00"} {
		d, _ := atPlace(t, "America/New_York", 40.7, -74, day)
		for _, row := range care {
			if got := d.onDay(row.day, careHour).Format("15:04"); got != "18:00" {
				t.Errorf("from %s, %s comes at %s", day, row.what, got)
			}
		}
	}
}

func placed(lat, lon float64) *intake.Place {
	return &intake.Place{Lat: lat, Lon: lon, PrecisionM: 15}
}
