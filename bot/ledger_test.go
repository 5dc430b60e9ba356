package bot

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

var ledgerDay = time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)

// closedShelf is a store with nothing but ended calls.
type closedShelf []Call

func (s closedShelf) ClosedCalls(context.Context, time.Time, time.Time) ([]string, error) {
	var ids []string
	for _, c := range s {
		ids = append(ids, c.ID)
	}
	return ids, nil
}

func (s closedShelf) Documents(_ context.Context, keys []Key) ([]Document, error) {
	docs := make([]Document, len(keys))
	for i, k := range keys {
		docs[i] = Document{Key: k}
		for _, c := range s {
			if c.ID == k.ID {
				body, err := json.Marshal(c)
				if err != nil {
					return nil, err
				}
				docs[i].Version, docs[i].Body = 1, body
			}
		}
	}
	return docs, nil
}

// endedCall is a call that Ada took after eight minutes and hived the next morning.
func endedCall() Call {
	two := 2.0
	answers := intake.Answers{
		Shape: "hanging_cluster", Crowd: "thousands", Stung: "none", HeightM: &two, Month: 5, Name: "Gwendolyn", Access: "code 4711", Owner: "yes",
		Place: &intake.Place{Lat: 42.44678, Lon: -76.49012, Text: "14 Mill Ln, Quillbrook", PrecisionM: 20},
	}
	line := func(minutes int, what string) Line {
		return Line{ledgerDay.Add(time.Duration(minutes) * time.Minute), what}
	}
	return Call{
		ID: "callid", Reference: "7KQ2", Stage: Hived, Opened: ledgerDay, Ended: ledgerDay.Add(14 * time.Hour),
		Caller: Party{Person: "gwenperson", Address: "sms:+16075550142", Language: "en"}, Answers: answers, Briefed: answers,
		Assessment: triage.Assess(answers, triage.Scene{At: ledgerDay, Latitude: 42.4, Longitude: -76.5}),
		Photos:     []string{"tw:MMphoto/MEphoto"},
		Offers:     []Offer{{Ask: notify.Ask{Catcher: "ada", State: notify.AskTaken}}, {Ask: notify.Ask{Catcher: "bram", State: notify.AskLapsed}}},
		Holder:     &Holder{Catcher: "ada", Name: "Ada", Taken: ledgerDay.Add(8 * time.Minute), Word: "PLUM"},
		Story: []Line{line(0, "opened"), line(8, "taken"), line(20, "relayed sms gwenperson"), line(40, "there"), line(65, "boxed"),
			line(190, "lifted"), line(840, "hived")},
	}
}

func readAll(t *testing.T, calls ...Call) []Entry {
	t.Helper()
	var all []Entry
	err := EachEntry(t.Context(), closedShelf(calls), time.Time{}, ledgerDay, nil, func(e Entry) error {
		all = append(all, e)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestEntryOfACall(t *testing.T) {
	e := readAll(t, endedCall())[0]
	if e.Found != triage.HoneyBeeSwarm || !e.Caught() || e.Catcher != "ada" || e.Asked != 2 {
		t.Errorf("found %q, caught %t, catcher %q, asked %d", e.Found, e.Caught(), e.Catcher, e.Asked)
	}
	if took, ok := e.ToTake(); !ok || took != 8*time.Minute {
		t.Errorf("taken after %v", took)
	}
	if !e.Placed || e.Lat != 42.45 || e.Lon != -76.49 {
		t.Errorf("placed at %g, %g", e.Lat, e.Lon)
	}
	if want := ledgerDay.Add(65 * time.Minute); !e.Boxed.Equal(want) {
		t.Errorf("boxed at %v", e.Boxed)
	}
}

func TestEntriesOfOtherCalls(t *testing.T) {
	for _, row := range []struct {
		why    string
		change func(*Call)
		found  triage.Kind
		placed bool
	}{
		{"the catcher told the kind", func(c *Call) { c.Stage, c.Found, c.Story = PassedOn, triage.Yellowjacket, nil }, triage.Yellowjacket, true},
		{"the catcher only said no", func(c *Call) { c.Stage, c.Story = PassedOn, []Line{{What: "not_bees"}} }, NotHoneyBees, true},
		{"it flew on before anybody came", func(c *Call) { c.Stage, c.Story = Flown, nil }, "", true},
		{"a place in words only is no point on a map", func(c *Call) { c.Answers.Place.PrecisionM = intake.InWordsOnly }, triage.HoneyBeeSwarm, false},
	} {
		c := endedCall()
		row.change(&c)
		if e := readAll(t, c)[0]; e.Found != row.found || e.Placed != row.placed {
			t.Errorf("%s: found %q, placed %t", row.why, e.Found, e.Placed)
		}
	}
	open := endedCall()
	open.Ended = time.Time{} // reopened since
	if all := readAll(t, open); len(all) != 0 {
		t.Error("an open call stands in the ledger")
	}
}

func TestEachEntryTellsHowFarItIs(t *testing.T) {
	var calls closedShelf
	for i := range 250 {
		c := endedCall()
		c.ID = fmt.Sprint("c", i)
		calls = append(calls, c)
	}
	var seen [][2]int
	n := 0
	err := EachEntry(t.Context(), calls, time.Time{}, ledgerDay, func(read, all int) { seen = append(seen, [2]int{read, all}) },
		func(Entry) error { n++; return nil })
	if want := [][2]int{{100, 250}, {200, 250}, {250, 250}}; err != nil || n != 250 || !cmp.Equal(seen, want) {
		t.Errorf("%d entries, progress %v, %v", n, seen, err)
	}
}

// Nothing of the caller stands in either export.
func TestExportsHoldNothingPersonal(t *testing.T) {
	e := readAll(t, endedCall())[0]
	var table, places bytes.Buffer
	l, err := NewLedgerCSV(&table, time.UTC)
	g, err2 := NewLedgerGeoJSON(&places, time.UTC)
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	for _, err := range []error{l.Add(e), g.Add(e), l.Close(), g.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, secret := range []string{"6075550142", "Gwen", "4711", "Mill", "42.446", "76.490", "gwenperson", "MMphoto", "PLUM"} {
		if strings.Contains(table.String(), secret) || strings.Contains(places.String(), secret) {
			t.Errorf("an export holds %q", secret)
		}
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(rows) != 2 || len(rows[0]) != len(rows[1]) {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	got := map[string]string{}
	for i, name := range rows[0] {
		got[name] = rows[1][i]
	}
	for name, want := range map[string]string{
		"reference": "7KQ2", "outcome": "hived", "found": "honey_bee_swarm", "lat": "42.45", "lon": "-76.49", "catcher": "ada",
		"minutes_to_take": "8.0", "boxed": "2026-05-12T19:05:00Z", "route": "offer", "predicted": "honey_bee_swarm",
	} {
		if got[name] != want {
			t.Errorf("%s is %q, want %q", name, got[name], want)
		}
	}
	if strings.Contains(places.String(), "ada") {
		t.Error("the map names a catcher")
	}
}

// RFC 7946: a FeatureCollection whose points are longitude first.
func TestGeoJSONIsOne(t *testing.T) {
	for _, n := range []int{0, 1, 3} {
		var out bytes.Buffer
		g, err := NewLedgerGeoJSON(&out, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		for range n {
			if err := g.Add(readAll(t, endedCall())[0]); err != nil {
				t.Fatal(err)
			}
		}
		if err := g.Add(Entry{Reference: "NOPL"}); err != nil || g.Close() != nil {
			t.Fatal(err)
		}
		var read struct {
			Type     string
			Features []struct {
				Type     string
				Geometry struct {
					Type        string
					Coordinates []float64
				}
				Properties map[string]string
			}
		}
		if err := json.Unmarshal(out.Bytes(), &read); err != nil {
			t.Fatal(err)
		}
		if read.Type != "FeatureCollection" || len(read.Features) != n || read.Features == nil {
			t.Fatalf("%s with %d features, want %d", read.Type, len(read.Features), n)
		}
		for _, f := range read.Features {
			if f.Properties == nil { // section 3.2: there must be such a member
				t.Error("a feature without properties")
			}
			if f.Type != "Feature" || f.Geometry.Type != "Point" || !cmp.Equal(f.Geometry.Coordinates, []float64{-76.49, 42.45}) {
				t.Errorf("%+v", f)
			}
		}
	}
}

// RFC 7946, section 4: no "crs" member; section 3.1.1: numbers within the range of WGS 84;
// section 7: no member of another kind of object in a feature collection.
func TestGeoJSONHoldsOnlyItsMembers(t *testing.T) {
	var out bytes.Buffer
	g, err := NewLedgerGeoJSON(&out, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range [][2]float64{{89.999, 179.999}, {-89.999, -179.999}, {0, 0}} {
		c := endedCall()
		c.Answers.Place.Lat, c.Answers.Place.Lon = at[0], at[1]
		if err := g.Add(readAll(t, c)[0]); err != nil {
			t.Fatal(err)
		}
	}
	if err := g.Close(); err != nil {
		t.Fatal(err)
	}
	allowed := map[string]string{"FeatureCollection": "type features", "Feature": "type geometry properties", "Point": "type coordinates"}
	var look func(v any)
	look = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, inner := range v {
				look(inner)
			}
		case map[string]any:
			members, known := allowed[fmt.Sprint(v["type"])]
			if !known {
				return // the properties are ours
			}
			for name, inner := range v {
				if !slices.Contains(strings.Fields(members), name) {
					t.Errorf("a %s has %q", v["type"], name)
				}
				look(inner)
			}
			if at, isPoint := v["coordinates"].([]any); isPoint && (len(at) != 2 || math.Abs(at[0].(float64)) > 180 || math.Abs(at[1].(float64)) > 90) {
				t.Errorf("a point at %v", at)
			}
		}
	}
	var read any
	if err := json.Unmarshal(out.Bytes(), &read); err != nil {
		t.Fatal(err)
	}
	look(read)
}

// RFC 4180: every line ends in CRLF and has as many fields as the header; what holds a comma
// or a quote stands in quotes. What was seen and done on site is there, too.
func TestCSVIsOne(t *testing.T) {
	c := endedCall()
	c.OnSite = OnSite{Triage: "right", Tries: 2, Lift: "morning", Size: "large", SizeKg: 2.5, Stayed: "yes"}
	c.Holder.Catcher = `ada "the" first, of two`
	var out bytes.Buffer
	l, err := NewLedgerCSV(&out, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Add(readAll(t, c)[0]); err != nil || l.Close() != nil {
		t.Fatal(err)
	}
	if n := strings.Count(out.String(), "\r\n"); n != 2 || n != strings.Count(out.String(), "\n") {
		t.Errorf("%d lines end in CRLF", n)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	last := rows[1][len(rows[1])-7:]
	if want := []string{"right", "2", "morning", "large", "2.50", "yes", ""}; !cmp.Equal(last, want) || rows[1][20] != c.Holder.Catcher {
		t.Errorf("on site %q, catcher %q", last, rows[1][20])
	}
}

// A catch of a bait box is caught, and nobody took it.
func TestTrapLineInTheSummary(t *testing.T) {
	c := endedCall()
	c.By, c.Holder.Taken = byTrapLine, c.Opened
	g := NewSumming(DefaultSettings())
	for _, call := range []Call{c, endedCall()} {
		g.Add(entryOf(&call))
	}
	s := g.Summary()
	if len(s.ToTake) != 1 || s.Catchers[0].Caught != 2 || s.Catchers[0].Trapped != 1 || s.Catchers[0].MedianToTake != 8*time.Minute {
		t.Errorf("%d taken, %+v", len(s.ToTake), s.Catchers[0])
	}
}

// OWASP, "CSV Injection": cells that begin with =, +, -, @, tab or carriage return.
func TestNoFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=cmd()": "'=cmd()", "+1": "'+1", "@x": "'@x", "-ada": "'-ada", "\tx": "'\tx", "-76.49": "-76.49", "ada": "ada", "": "", "-Inf": "-Inf",
	} {
		if got := noFormula(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

func TestSummary(t *testing.T) {
	g := NewSumming(DefaultSettings())
	hived, wasps, flown := endedCall(), endedCall(), endedCall()
	wasps.Stage, wasps.Found, wasps.Story = PassedOn, triage.Yellowjacket, nil
	wasps.Assessment.Likelihood = 0.85
	flown.Stage, flown.Story = Flown, nil
	flown.Opened = ledgerDay.AddDate(0, 0, 14)
	flown.Holder = &Holder{Catcher: "bram", Taken: flown.Opened.Add(30 * time.Minute)}
	for _, e := range readAll(t, hived) {
		g.Add(e)
	}
	for _, c := range []Call{wasps, flown} {
		g.Add(entryOf(&c))
	}
	s := g.Summary()
	if s.Calls != 3 || s.Outcomes[Hived] != 1 || len(s.Weeks) != 3 || s.Weeks[0].Calls != 2 || s.Weeks[1].Calls != 0 {
		t.Errorf("%+v", s)
	}
	if s.Weeks[0].Monday.Format("Mon 2006-01-02 15:04 MST") != "Mon 2026-05-11 00:00 EDT" {
		t.Errorf("the first week begins %v", s.Weeks[0].Monday)
	}
	if len(s.Catchers) != 2 || s.Catchers[0].ID != "ada" || s.Catchers[0].NotASwarm != 1 || s.Catchers[1].MedianToTake != 30*time.Minute {
		t.Errorf("%+v", s.Catchers)
	}
	p := hived.Assessment.Likelihood
	if want := ((1-p)*(1-p) + .85*.85) / 2; s.Reliability.N != 2 || math.Abs(s.Reliability.Brier()-want) > 1e-12 {
		t.Errorf("Brier %g of %d, want %g", s.Reliability.Brier(), s.Reliability.N, want)
	}
	if s.Confusion[triage.RouteOffer][triage.Yellowjacket] != 1 {
		t.Errorf("%v", s.Confusion)
	}
	var out bytes.Buffer
	if err := s.Write(&out, time.UTC); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"3 calls from 2026-05-12 to 2026-05-26, 1 caught", "half within 8 min", "was yellowjacket", "Brier score"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the summary does not say %q:\n%s", want, out.String())
		}
	}
}

// Wilson's interval for 8 of 10 at 95 %: .490 to .943 (Newcombe, Statistics in Medicine
// 17:857-872, 1998, gives the formula; the numbers are computed by hand).
func TestWilson(t *testing.T) {
	low, high := Bin{N: 10, Swarms: 8}.Between()
	if math.Abs(low-.4902) > .0005 || math.Abs(high-.9433) > .0005 {
		t.Errorf("%.4f to %.4f", low, high)
	}
}
