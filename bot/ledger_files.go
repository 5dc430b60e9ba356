package bot

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// LedgerCSV writes entries as CSV (RFC 4180), one line each as it comes. Times are RFC 3339
// in zone; an empty field is "not known".
type LedgerCSV struct {
	out  *csv.Writer
	zone *time.Location
}

var ledgerHeader = []string{
	"reference", "opened", "ended", "outcome", "found", "likelihood", "predicted", "route", "urgency",
	"shape", "body", "surface", "entry", "crowd", "height_m", "age_h", "stung",
	"lat", "lon", "asked", "catcher", "minutes_to_take", "taken", "there", "boxed", "hived",
	"on_site", "tries", "lift", "size", "size_kg", "stayed", "trap_line",
}

// NewLedgerCSV writes the header.
func NewLedgerCSV(w io.Writer, zone *time.Location) (*LedgerCSV, error) {
	l := &LedgerCSV{csv.NewWriter(w), zone}
	l.out.UseCRLF = true // RFC 4180, section 2
	return l, l.out.Write(ledgerHeader)
}

// Add writes one entry.
func (l *LedgerCSV) Add(e Entry) error {
	a := e.Answers
	predicted, minutes := "", ""
	if len(e.Assessment.Kinds) > 0 {
		predicted = string(e.Assessment.Subject())
	}
	if took, ok := e.ToTake(); ok {
		minutes = decimal(took.Minutes(), 1)
	}
	fields := []string{
		e.Reference, l.at(e.Opened), l.at(e.Ended), string(e.Outcome), string(e.Found),
		decimal(e.Assessment.Likelihood, 3), predicted, string(e.Assessment.Route), itoa(e.Assessment.Urgency),
		a.Shape, a.Body, a.Surface, a.Entry, a.Crowd, optional(a.HeightM, 1), optional(a.AgeH, 0), a.Stung,
		"", "", itoa(e.Asked), e.Catcher, minutes, l.at(e.Taken), l.at(e.There), l.at(e.Boxed), l.at(e.Hived),
	}
	fields = append(fields, onSiteFields(e)...)
	if e.Placed {
		fields[17], fields[18] = decimal(e.Lat, placesTo), decimal(e.Lon, placesTo)
	}
	for i := range fields {
		fields[i] = noFormula(fields[i])
	}
	return l.out.Write(fields)
}

// onSiteFields is what was seen and done there.
func onSiteFields(e Entry) []string {
	o := e.OnSite
	kg, trap := "", ""
	if o.SizeKg > 0 {
		kg = decimal(o.SizeKg, 2)
	}
	if e.TrapLine {
		trap = "yes"
	}
	return []string{o.Triage, itoa(o.Tries), o.Lift, o.Size, kg, o.Stayed, trap}
}

// Close writes what is left.
func (l *LedgerCSV) Close() error {
	l.out.Flush()
	return l.out.Error()
}

func (l *LedgerCSV) at(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(l.zone).Format(time.RFC3339)
}

// noFormula puts an apostrophe before what a spreadsheet would take for a formula (OWASP,
// "CSV Injection"). A plain number may begin with a minus.
func noFormula(s string) string {
	if s == "" || !strings.ContainsRune("=+-@\t\r\n", rune(s[0])) {
		return s
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil && s[0] == '-' {
		return s
	}
	return "'" + s
}

func decimal(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }

func optional(v *float64, digits int) string {
	if v == nil {
		return ""
	}
	return decimal(*v, digits)
}

// LedgerGeoJSON writes the entries that have a place as one FeatureCollection (RFC 7946), a
// feature a line as it comes. It names no catcher, so that it may be put on a public map.
type LedgerGeoJSON struct {
	out  io.Writer
	zone *time.Location
	n    int
}

// NewLedgerGeoJSON begins the collection.
func NewLedgerGeoJSON(w io.Writer, zone *time.Location) (*LedgerGeoJSON, error) {
	_, err := io.WriteString(w, `{"type":"FeatureCollection","features":[`)
	return &LedgerGeoJSON{out: w, zone: zone}, err
}

type feature struct {
	Type     string   `json:"type"`
	Geometry geometry `json:"geometry"`
	About    spotNote `json:"properties"`
}

type geometry struct {
	Type        string     `json:"type"`
	Coordinates [2]float64 `json:"coordinates"` // longitude first (RFC 7946, section 3.1.1)
}

type spotNote struct {
	Reference string `json:"reference"`
	Date      string `json:"date"` // the local day it was reported
	Outcome   string `json:"outcome"`
	Found     string `json:"found,omitempty"`
}

// Add writes one entry, if it has a place.
func (l *LedgerGeoJSON) Add(e Entry) error {
	if !e.Placed {
		return nil
	}
	body, err := json.Marshal(feature{"Feature", geometry{"Point", [2]float64{e.Lon, e.Lat}}, spotNote{
		e.Reference, e.Opened.In(l.zone).Format(time.DateOnly), string(e.Outcome), string(e.Found),
	}})
	if err != nil {
		return err
	}
	comma := ",\n"
	if l.n == 0 {
		comma = "\n"
	}
	l.n++
	_, err = fmt.Fprintf(l.out, "%s%s", comma, body)
	return err
}

// Close ends the collection.
func (l *LedgerGeoJSON) Close() error {
	_, err := io.WriteString(l.out, "\n]}\n")
	return err
}
