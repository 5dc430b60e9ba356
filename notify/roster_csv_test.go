package notify

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const rosterHeader = "name,address,lat,lon,reach_km,max_height_m,skills,hours,language"

func TestReadRoster(t *testing.T) {
	file := "\ufeff" + rosterHeader + ",jobs_a_day\r\n" +
		"Ada,telegram:5550101,42.451,-76.482,15,4,ladder; Suit,\"Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00\",en,2\r\n" +
		"\r\n" +
		" José Luis ,,42.44,-76.5,25,2.5,,,es,\r\n" +
		",,,,,,,,,\r\n" +
		"Jose-Luis,sms:+16075550142,42,-76,10,0,cutout,,,\r\n"
	got, err := ReadRoster(strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	want := []Catcher{
		{ID: "ada", Name: "Ada", Address: "telegram:5550101", Lat: 42.451, Lon: -76.482, ReachKm: 15, MaxHeightM: 4,
			Skills: []Skill{Ladder, Suit}, Hours: "Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00", Language: "en", JobsADay: 2},
		{ID: "jose-luis", Name: "José Luis", Lat: 42.44, Lon: -76.5, ReachKm: 25, MaxHeightM: 2.5, Language: "es", JobsADay: 3},
		{ID: "jose-luis-2", Name: "Jose-Luis", Address: "sms:+16075550142", Lat: 42, Lon: -76, ReachKm: 10,
			Skills: []Skill{Cutout}, JobsADay: 3},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("roster (-want +got):\n%s", diff)
	}
}

func TestReadRosterNamesEveryFault(t *testing.T) {
	const fine = ",42,-76,15,4,,,"
	for _, test := range []struct {
		why, file string
		says      []string
	}{
		{"nothing at all", "", []string{"first line must be name,address"}},
		{"columns", "name,address,lat,lon,lon,phone,skills,hours,language\n",
			[]string{`no column "phone"`, `"lon" is there twice`, `"reach_km" is missing`, `"max_height_m" is missing`}},
		{"semicolons between columns", strings.ReplaceAll(rosterHeader, ",", ";") + "\n", []string{"commas, not semicolons"}},
		{"all faults of all lines at once", rosterHeader + "\nAda,sms:0142,abc,-200,0,99,rope,evenings,fr\n,,42,-76,15,4,,,\n",
			[]string{"line 2: address", "line 2: lat", "line 2: lon", "line 2: reach_km", "line 2: max_height_m",
				`line 2: skills cannot hold "rope"`, "line 2: hours", `line 2: language is "fr"`, "line 3: name is empty"}},
		{"a comma without quotes", rosterHeader + "\nAda,,42,-76,15,4,,Mo 10:00-11:00,12:00-13:00,en\n", []string{"line 2: has 10 fields", "quotes"}},
		{"two of a name", rosterHeader + "\nAda,\"\"" + fine + "\nada," + fine + "\n", []string{"line 3: the name is on line 2 already"}},
		{"two of an address", rosterHeader + "\nAda,sms:+16075550142" + fine + "\nBram,sms:+16075550142" + fine + "\n",
			[]string{"line 3: the address is on line 2 already: sms:…42"}},
		{"the line is counted in the file", rosterHeader + "\n\n\"Ada\nLee\",\"\"" + fine + "\nBram,,x,-76,15,4,,,\n", []string{"line 3: name must be one line", "line 5: lat"}},
		{"numbers that are none", rosterHeader + "\nAda,,NaN,-76,Inf,4,,,\n", []string{"line 2: lat", "line 2: reach_km"}},
		{"a quote that never ends", rosterHeader + "\nAda,,x,-76,15,4,,,\nBram,\"\n", []string{"line 2: lat", "line 3"}},
	} {
		_, err := ReadRoster(strings.NewReader(test.file))
		if err == nil {
			t.Errorf("%s: was taken", test.why)
			continue
		}
		for _, says := range test.says {
			if !strings.Contains(err.Error(), says) {
				t.Errorf("%s: %v\nwant it to say %q", test.why, err, says)
			}
		}
		if strings.Contains(err.Error(), "6075550142\n") || strings.Contains(err.Error(), "already: sms:+") {
			t.Errorf("%s: a full number in %v", test.why, err)
		}
	}
}

// An address that cannot be read may be somebody's number all the same.
func TestReadRosterKeepsNumbersToItself(t *testing.T) {
	file := rosterHeader + "\nAda,607-555-0142,42,-76,15,4,,,\n"
	if _, err := ReadRoster(strings.NewReader(file)); err == nil || strings.Contains(err.Error(), "607-555") {
		t.Errorf("got %v, want an error without the number", err)
	}
}

func TestRosterSurvivesWritingAndReading(t *testing.T) {
	name := rapid.StringMatching(`[A-Z][a-zé,"' ]{0,9}[a-z]`)
	rapid.Check(t, func(t *rapid.T) {
		var roster []Catcher
		for i := range rapid.IntRange(0, 6).Draw(t, "n") {
			c := Catcher{
				Name: fmt.Sprintf("%s %d", name.Draw(t, "name"), i),
				Lat:  rapid.Float64Range(-90, 90).Draw(t, "lat"), Lon: rapid.Float64Range(-180, 180).Draw(t, "lon"),
				ReachKm:    rapid.Float64Range(0.1, 500).Draw(t, "reach"),
				MaxHeightM: rapid.Float64Range(0, 30).Draw(t, "height"),
				Hours:      rapid.SampledFrom([]string{"", "Mo-Fr 17:00-21:00; Sa,Su 08:00-20:00"}).Draw(t, "hours"),
				Language:   rapid.SampledFrom([]string{"", "en", "es"}).Draw(t, "language"),
				JobsADay:   rapid.IntRange(1, 20).Draw(t, "jobs"),
			}
			if rapid.Bool().Draw(t, "joined") {
				c.Address = Address(fmt.Sprintf("telegram:555010%d", i))
			}
			for _, s := range allSkills {
				if rapid.Bool().Draw(t, string(s)) {
					c.Skills = append(c.Skills, s)
				}
			}
			roster = append(roster, c)
		}
		withIDs(roster)
		var file strings.Builder
		if err := WriteRoster(&file, roster); err != nil {
			t.Fatal(err)
		}
		got, err := ReadRoster(strings.NewReader(file.String()))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(roster, got); diff != "" {
			t.Fatalf("roster (-written +read):\n%s", diff)
		}
	})
}

func TestCatcherID(t *testing.T) {
	taken := map[string]bool{"ada": true, "ada-2": true}
	for _, test := range []struct{ name, want, why string }{
		{"Ada", "ada-3", "the first that is free"},
		{"José Luis", "jose-luis", "no accents, dashes between"},
		{"  O'Neil  ", "o-neil", "no dash at the ends"},
		{"Мария", "catcher", "nothing that a steward could type"},
		{"", "catcher", "no name"},
		{"Bartholomew Maximilian Quillbrook", "bartholomew-maximili", "short enough to type"},
	} {
		if got := CatcherID(test.name, func(id string) bool { return taken[id] }); got != test.want {
			t.Errorf("CatcherID(%q) = %q, want %q (%s)", test.name, got, test.want, test.why)
		}
	}
}
