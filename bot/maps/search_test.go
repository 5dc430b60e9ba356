package maps

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"skepline/intake"
)

var quillbrook = intake.Setting{Language: "en", Center: intake.Place{Lat: 42.444, Lon: -76.502}, RadiusKm: 40}

// answer has the form of Nominatim's documentation of format=jsonv2
// (nominatim.org/release-docs/latest/api/Search), with invented places.
const answer = `[{"place_id":1,"lat":"42.4462","lon":"-76.4903","category":"highway","type":"residential","place_rank":26,"importance":0.1,
"addresstype":"road","name":"Mill Lane","display_name":"Mill Lane, Quillbrook, Quillbrook County, New York, United States","boundingbox":["42.4452","42.4472","-76.4913","-76.4893"]},
{"lat":"42.444","lon":"-76.502","addresstype":"town","display_name":"Quillbrook, Quillbrook County","boundingbox":["42.42","42.47","-76.53","-76.47"]},
{"lat":"42.4","lon":"-76.4","addresstype":"county","display_name":"Quillbrook County","boundingbox":["42.0","42.9","-77.0","-76.0"]},
{"lat":"north","lon":"-76.4","display_name":"nowhere"}]`

func TestSearch(t *testing.T) {
	asked := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		q := r.URL.Query()
		if r.URL.Path != "/search" || q.Get("q") != "14 Mill Ln" || q.Get("format") != "jsonv2" || q.Get("accept-language") != "en" ||
			!strings.HasPrefix(q.Get("viewbox"), "-76.9") || r.Header.Get("User-Agent") != agent {
			t.Errorf("asked %s as %q", r.URL, r.Header.Get("User-Agent"))
		}
		fmt.Fprint(w, answer)
	}))
	defer server.Close()
	m := New(server.URL + "/")
	for range 2 {
		spots, err := m.Search(t.Context(), "14 Mill Ln", quillbrook)
		if err != nil || len(spots) != 2 {
			t.Fatalf("%v, %v; want the road and the town: a county is no place to drive to", spots, err)
		}
		if s := spots[0]; s.Name != "Mill Lane, Quillbrook, Quillbrook County" || s.Area || s.Place.Text != "14 Mill Ln" || s.Place.PrecisionM < 100 || s.Place.PrecisionM > 200 {
			t.Errorf("the road is %+v", s)
		}
		if s := spots[1]; !s.Area || s.Place.PrecisionM < 3000 {
			t.Errorf("the town is %+v", s)
		}
	}
	if asked != 1 {
		t.Errorf("the same words were asked %d times", asked)
	}
}

// TestTroubleTellsNoWords holds that what a caller said is in no error.
func TestTroubleTellsNoWords(t *testing.T) {
	for _, row := range []struct {
		why    string
		answer http.HandlerFunc
	}{
		{"busy", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTooManyRequests) }},
		{"not JSON", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<html>") }},
		{"hangs up", func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }},
	} {
		server := httptest.NewServer(row.answer)
		_, err := New(server.URL).Search(t.Context(), "14 Mill Ln", quillbrook)
		if err == nil || strings.Contains(err.Error(), "Mill") {
			t.Errorf("%s: %v", row.why, err)
		}
		server.Close()
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := New("http://127.0.0.1:1").Search(ended, "14 Mill Ln", quillbrook); err == nil || strings.Contains(err.Error(), "Mill") {
		t.Errorf("not there: %v", err)
	}
}

// TestOldAnswersAreForgotten holds that memory has an end, in number and in time, and that no
// words of a caller are in it.
func TestOldAnswersAreForgotten(t *testing.T) {
	m := New("http://127.0.0.1:1")
	start := time.Date(2026, time.May, 12, 14, 0, 0, 0, time.UTC)
	key := func(i int) [sha256.Size]byte { return sha256.Sum256(fmt.Append(nil, i)) }
	spots := []intake.Spot{{Name: "Mill Lane", Place: intake.Place{Lat: 42.4, Lon: -76.5, Text: "14 Mill Ln"}}}
	for i := range remembered + 10 {
		m.remember(key(i), spots, start)
	}
	if _, ok := m.recall(key(3), "14 Mill Ln", start); ok || len(m.known) != remembered {
		t.Errorf("%d answers are kept", len(m.known))
	}
	if got, ok := m.recall(key(500), "14 mill ln", start); !ok || got[0].Place.Text != "14 mill ln" {
		t.Errorf("recalled as %+v", got)
	}
	if kept := fmt.Sprintf("%+v", m.known); strings.Contains(kept, "14 Mill") {
		t.Error("a caller's words are in memory")
	}
	if _, ok := m.recall(key(500), "14 Mill Ln", start.Add(forgotten+time.Minute)); ok || len(m.known) != 0 {
		t.Errorf("a day later %d answers are kept", len(m.known))
	}
}
