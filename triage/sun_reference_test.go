package triage

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"
)

// The sun against another library (astronomy-engine 2.1.19, by .ci/sun.mjs), on 79 dates at 14
// places: both hemispheres, polar day and night, every change of the clocks. .ci/run makes the
// file where there is node.
func TestSunAgainstAReference(t *testing.T) {
	path := os.Getenv("SKEPLINE_TEST_SUN")
	if path == "" {
		t.Skip("SKEPLINE_TEST_SUN names no reference file; .ci/run makes one where there is node")
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var rows []struct {
		Zone, Date            string
		Lat, Lon              float64
		Rise, Set, Dawn, Dusk int64
	}
	if err := json.Unmarshal(data, &rows); err != nil || len(rows) < 1000 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	compared, none, apart, worst := 0, 0, 0, 0.0
	for _, row := range rows {
		day, err := time.ParseInLocation(time.DateOnly, row.Date, zone(t, row.Zone))
		if err != nil {
			t.Fatal(err)
		}
		day = day.Add(12 * time.Hour)
		sun := SunOn(day, row.Lat, row.Lon)
		for _, e := range []struct {
			what    string
			got     time.Time
			want    int64
			degrees float64
		}{
			{"sunrise", sun.Rise, row.Rise, atHorizon}, {"sunset", sun.Set, row.Set, atHorizon},
			{"dawn", sun.CivilDawn, row.Dawn, atCivilDusk}, {"dusk", sun.CivilDusk, row.Dusk, atCivilDusk},
		} {
			compared++
			switch {
			case e.got.IsZero() && e.want == 0:
				none++
			case e.got.IsZero() != (e.want == 0):
				// Only where the sun turns within a fiftieth of a degree of the line.
				apart++
				at := time.Unix(e.want, 0)
				if e.want == 0 {
					at = e.got
				}
				if turn := nearestTurn(at, row.Lat, row.Lon); math.Abs(turn-e.degrees) > 0.02 {
					t.Errorf("%s %s %s: got %v, the reference %d; the sun turns at %.3f degrees", row.Zone, row.Date, e.what, e.got, e.want, turn)
				}
			default:
				off := math.Abs(e.got.Sub(time.Unix(e.want, 0)).Seconds())
				if math.Abs(row.Lat) < 60 {
					worst = max(worst, off)
				}
				// Where it grazes the line, what counts is how high it stands.
				if height := math.Abs(altitude(time.Unix(e.want, 0), row.Lat, row.Lon) - e.degrees); off > 30 && height > 0.02 {
					t.Errorf("%s %s %s: %.0f s off, %.3f degrees", row.Zone, row.Date, e.what, off, height)
				}
			}
		}
	}
	t.Logf("%d times compared, %d of them never, %d at odds where the sun grazes the line; worst below 60 degrees of latitude %.1f s", compared, none, apart, worst)
}

// nearestTurn returns the altitude at which the sun turns, up or down, nearest to at.
func nearestTurn(at time.Time, lat, lon float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for m := -12 * 60; m <= 12*60; m++ {
		h := altitude(at.Add(time.Duration(m)*time.Minute), lat, lon)
		low, high = min(low, h), max(high, h)
	}
	here := altitude(at, lat, lon)
	if here-low < high-here {
		return low
	}
	return high
}
