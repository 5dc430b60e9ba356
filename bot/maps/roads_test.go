package maps

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"

	"skepline/bot"
)

// osrm is a stand-in for the table service. It holds a request to the published form
// (OSRM HTTP API v5, "General options" and "Table service": /{service}/{version}/{profile}/
// {longitude},{latitude};…, sources and destinations as indices into the coordinates) and
// answers in the form of its example, with invented durations in seconds.
type osrm struct {
	t         *testing.T
	asked     int
	durations map[string]string // by "lon,lat" of the source
}

var tablePath = regexp.MustCompile(`^/table/v1/driving/(-?\d+\.\d+,-?\d+\.\d+)(;-?\d+\.\d+,-?\d+\.\d+)+$`)

func (o *osrm) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	o.asked++
	if !tablePath.MatchString(r.URL.Path) || r.Method != http.MethodGet || r.Header.Get("User-Agent") != agent {
		o.t.Errorf("asked %s %s as %q", r.Method, r.URL, r.Header.Get("User-Agent"))
	}
	places := strings.Split(strings.TrimPrefix(r.URL.Path, "/table/v1/driving/"), ";")
	// A semicolon in a query is no separator to net/url; OSRM's documentation writes it so.
	query := map[string]string{}
	for _, part := range strings.Split(r.URL.RawQuery, "&") {
		key, value, _ := strings.Cut(part, "=")
		query[key] = value
	}
	if query["annotations"] != "duration" || query["destinations"] != fmt.Sprint(len(places)-1) {
		o.t.Errorf("asked with %s", r.URL.RawQuery)
	}
	var rows []string
	for i, source := range strings.Split(query["sources"], ";") {
		if source != fmt.Sprint(i) {
			o.t.Errorf("source %d is %q", i, source)
		}
		rows = append(rows, "["+o.durations[places[i]]+"]")
	}
	fmt.Fprintf(w, `{"code":"Ok","durations":[%s],"destinations":[{"hint":"","distance":4.1,"name":"Mill Lane","location":[-76.49,42.446]}],"sources":[]}`, strings.Join(rows, ","))
}

var (
	millLane = bot.Point{Lat: 42.446, Lon: -76.49}
	ada      = bot.Point{Lat: 42.451, Lon: -76.482}
	bram     = bot.Point{Lat: 42.43, Lon: -76.52}
	island   = bot.Point{Lat: 42.6, Lon: -76.6}
)

func TestDrives(t *testing.T) {
	stand := &osrm{t: t, durations: map[string]string{"-76.48200,42.45100": "264.6", "-76.52000,42.43000": "1500", "-76.60000,42.60000": "null"}}
	server := httptest.NewServer(stand)
	defer server.Close()
	m := NewRoads(server.URL + "/")
	for range 2 {
		got, err := m.Drives(t.Context(), []bot.Point{ada, island, bram}, millLane)
		if want := []float64{264.6 / 60, noWay, 25}; err != nil || !slices.Equal(got, want) {
			t.Fatalf("drives %v, %v; want %v", got, err, want)
		}
	}
	if _, err := m.Drives(t.Context(), []bot.Point{bram, ada}, millLane); err != nil || stand.asked != 1 {
		t.Errorf("the same drives were asked for %d times, %v", stand.asked, err)
	}
}

// TestRoadTroubleTellsNoPlace holds that where people live is in no error, and that an answer
// of another form is none.
func TestRoadTroubleTellsNoPlace(t *testing.T) {
	for _, row := range []struct{ why, answer string }{
		{"an error code of the documentation", `{"code":"NoTable","message":"No route found between -76.48 and 42.451."}`},
		{"too few rows", `{"code":"Ok","durations":[]}`},
		{"too many columns", `{"code":"Ok","durations":[[1,2]]}`},
		{"not JSON", `<html>`},
	} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, row.answer) }))
		_, err := NewRoads(server.URL).Drives(t.Context(), []bot.Point{ada}, millLane)
		if err == nil || strings.Contains(err.Error(), "42.4") || strings.Contains(err.Error(), "76.4") {
			t.Errorf("%s: %v", row.why, err)
		}
		server.Close()
	}
	_, err := NewRoads("http://127.0.0.1:1").Drives(t.Context(), []bot.Point{ada}, millLane)
	if err == nil || strings.Contains(err.Error(), "42.4") || !strings.Contains(err.Error(), "road server") {
		t.Errorf("not there: %v", err)
	}
}

func TestRoadServerIsChecked(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/nearest/v1/driving/-76.49000,42.44600" {
			t.Errorf("asked %s", r.URL.Path)
		}
		fmt.Fprint(w, `{"code":"Ok","waypoints":[]}`)
	}))
	defer server.Close()
	if err := NewRoads(server.URL).Check(t.Context(), millLane); err != nil {
		t.Error(err)
	}
}

func TestOldDrivesAreForgotten(t *testing.T) {
	m := NewRoads("http://127.0.0.1:1")
	for i := range drives + 10 {
		m.remember(pair(bot.Point{Lat: float64(i)}, millLane), 1)
	}
	if _, ok := m.recall(pair(bot.Point{Lat: 3}, millLane)); ok || len(m.known) != drives {
		t.Errorf("%d drives are kept", len(m.known))
	}
}
