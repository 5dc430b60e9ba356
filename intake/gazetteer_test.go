package intake

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func invented(t *testing.T) *Gazetteer {
	t.Helper()
	f, err := os.Open("../bot/quillbrook_places.tsv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	g, err := ReadGazetteer(f, Place{}, 0)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestFind reads places as callers write them.
func TestFind(t *testing.T) {
	g := invented(t)
	for _, row := range []struct {
		words string
		want  []string
		why   string
	}{
		{"14 Mill Ln", []string{"Mill Lane, Quillbrook"}, "a house and a street, shortened"},
		{"14 mill lane, quillbrook", []string{"Mill Lane, Quillbrook"}, "written out, with its town"},
		{"Oak St library", []string{"Oak Street Library, Quillbrook"}, "a spot that is named after its street"},
		{"in front of the quillbrook library", []string{"Oak Street Library, Quillbrook"}, "its other name"},
		{"behind the library on Oak St", []string{"Oak Street, Quillbrook"}, "the street, when the spot has no name"},
		{"212 Maple St", []string{"Maple Street, Quillbrook", "Maple Street, Dunmere"}, "two towns have one: the nearer first"},
		{"212 Maple St, Dunmere", []string{"Maple Street, Dunmere"}, "the town tells them apart"},
		{"212 Maple St 00502", []string{"Maple Street, Dunmere"}, "and so does its postal code"},
		{"corner of Oak and Elm", []string{"Oak Street & Elm Street, Quillbrook"}, "a crossing needs no \"street\""},
		{"calle Robles 12", []string{"Calle Robles, Quillbrook"}, "Spanish order"},
		{"12 Robles Street", []string{"Calle Robles, Quillbrook"}, "an alternate name"},
		{"FERNHOLLOW", []string{"Fernhollow"}, "a town alone"},
		{"00502", []string{"00502 Dunmere"}, "a postal code alone"},
		{"3 Harbor Street", []string{"Harbor Street, Saltmarsh"}, "outside the area, and known"},
		{"on a maple tree in my yard", nil, "a tree is no street"},
		{"near the harmon grist mill", []string{"Harmon Grist Mill, Quillbrook"}, "a spot by its name"},
		{"by the old mill past the second bridge", nil, "no name at all"},
		{"behind the red barn", nil, "words that only a person can read"},
		{"", nil, "nothing"},
	} {
		var got []string
		for _, s := range g.Find(row.words, quillbrook) {
			got = append(got, s.Name)
			if s.Place.Text != clean(row.words) || s.Place.PrecisionM < 100 {
				t.Errorf("%q: %+v does not keep the words or is too sure", row.words, s.Place)
			}
		}
		if diff := cmp.Diff(row.want, got); diff != "" {
			t.Errorf("%s: %q: %s", row.why, row.words, diff)
		}
	}
}

// TestArea tells a town alone from words in a town.
func TestArea(t *testing.T) {
	g := invented(t)
	for words, want := range map[string]bool{"Dunmere": true, "in dunmere please": true, "00502": true, "behind the red barn in Dunmere": false, "Maple St, Dunmere": false} {
		if found := g.Find(words, quillbrook); len(found) != 1 || found[0].Area != want {
			t.Errorf("%q: %+v, want area %v", words, found, want)
		}
	}
}

func TestReadGazetteer(t *testing.T) {
	const mill = "1\tMill Lane\tMill Lane\t\t42.4462\t-76.4903\tR\tST\tUS\t\tQB\t\t\t\t0\t\t\tAmerica/New_York\t2026-01-01"
	center := Place{Lat: 42.444, Lon: -76.502}
	for _, row := range []struct {
		rows, wrong string
		kept        int
		why         string
	}{
		{mill, "", 1, "a row"},
		{"# a comment\n\n" + mill + "\r\n", "", 1, "comments, empty lines and DOS line ends"},
		{strings.Replace(mill, "42.4462", "52.4462", 1), "", 0, "too far away"},
		{strings.Replace(mill, "R\tST", "A\tADM1", 1), "", 0, "a state is no place to drive to"},
		{"US\t00501\tQuillbrook\tQ\tQB\t\t\t\t\t42.444\t-76.502\t4", "", 1, "a postal row"},
		{"Mill Lane, 42.4, -76.5", "line 1: 1 columns", 0, "no tabs"},
		{mill + "\n" + strings.Replace(mill, "42.4462", "north", 1), "line 2: \"north\"", 0, "no number"},
		{strings.Replace(mill, "\tMill Lane\tMill", "\t\tMill", 1), "line 1: a place without a name", 0, "no name"},
	} {
		g, err := ReadGazetteer(strings.NewReader(row.rows), center, 100)
		switch {
		case row.wrong == "" && err != nil, row.wrong != "" && (err == nil || !strings.Contains(err.Error(), row.wrong)):
			t.Errorf("%s: %v, want %q", row.why, err, row.wrong)
		case g.Len() != row.kept && err == nil:
			t.Errorf("%s: %d kept, want %d", row.why, g.Len(), row.kept)
		}
	}
}

// TestRowsReadBack holds that what is stored is what was read.
func TestRowsReadBack(t *testing.T) {
	g := invented(t)
	again, err := ReadGazetteer(strings.NewReader(string(g.Rows())), Place{}, 0)
	if err != nil || again.Len() != g.Len() || string(again.Rows()) != string(g.Rows()) {
		t.Errorf("%d places became %d: %v", g.Len(), again.Len(), err)
	}
}

func FuzzFind(f *testing.F) {
	file, err := os.ReadFile("../bot/quillbrook_places.tsv")
	if err != nil {
		f.Fatal(err)
	}
	g, err := ReadGazetteer(strings.NewReader(string(file)), Place{}, 0)
	if err != nil {
		f.Fatal(err)
	}
	f.Add("corner of Oak and Elm, 14 Mill Ln 00502")
	f.Fuzz(func(t *testing.T, words string) {
		if n := len(g.Find(words, quillbrook)); n > 4 {
			t.Errorf("%d candidates", n)
		}
	})
}
