package notify

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"skepline/intake"
)

// Geodesics on WGS 84 as GeographicLib's documentation gives them (C. F. F. Karney; the
// values from memory), and two that follow from the axes of the ellipsoid.
func TestDistanceKm(t *testing.T) {
	for _, test := range []struct {
		name                   string
		lat1, lon1, lat2, lon2 float64
		km                     float64
	}{
		{"New York JFK to London", 40.6, -73.8, 51.6, -0.5, 5551.759},
		{"New York JFK to Singapore", 40.6397, -73.7789, 1.3592, 103.9894, 15347.628},
		{"Wellington to Salamanca, almost antipodes", -41.32, 174.81, 40.96, -5.50, 19959.679},
		{"one degree along the equator", 0, 0, 0, 1, 111.3195},
		{"one degree of meridian at the equator", 0, 0, 1, 0, 110.5744},
		{"across the date line", 0, 179.5, 0, -179.5, 111.3195},
	} {
		got := DistanceKm(test.lat1, test.lon1, test.lat2, test.lon2)
		if off := math.Abs(got-test.km) / test.km; off > 0.006 {
			t.Errorf("%s: %.3f km, want %.3f within 0.6 %%", test.name, got, test.km)
		}
	}
}

func TestDistanceIsAMetric(t *testing.T) {
	point := rapid.Custom(func(t *rapid.T) [2]float64 {
		return [2]float64{rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")}
	})
	km := func(a, b [2]float64) float64 { return DistanceKm(a[0], a[1], b[0], b[1]) }
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := point.Draw(t, "a"), point.Draw(t, "b"), point.Draw(t, "c")
		if km(a, a) != 0 || math.Abs(km(a, b)-km(b, a)) > 1e-6 || km(a, b) > math.Pi*earthKm+1e-6 {
			t.Fatalf("to itself %g, there %g, back %g", km(a, a), km(a, b), km(b, a))
		}
		if km(a, c) > km(a, b)+km(b, c)+1e-3 {
			t.Fatal("the detour is shorter than the way")
		}
	})
}

func TestMinutes(t *testing.T) {
	for _, test := range []struct{ km, minutes float64 }{{0, 3}, {15, 31}, {45, 87}} {
		if got := Minutes(test.km); math.Abs(got-test.minutes) > 1e-9 {
			t.Errorf("Minutes(%g) = %g, want %g", test.km, got, test.minutes)
		}
	}
}

func TestBearing(t *testing.T) {
	const lat, lon = 42.444, -76.502
	for _, test := range []struct {
		lat, lon float64
		want     string
		why      string
	}{
		{43, lon, "n", "straight up"},
		{42, lon, "s", "straight down"},
		{lat, -76, "e", "along the parallel"},
		{lat, -77, "w", "along the parallel"},
		{lat + 0.1, lon + 0.1355, "ne", "a degree of longitude is shorter here"},
		{lat - 0.1, lon - 0.1355, "sw", "and back"},
		{lat - 0.1, lon + 0.1355, "se", ""},
		{lat + 0.1, lon - 0.1355, "nw", ""},
		{lat + 0.1, lon + 0.02, "n", "a little off north is north"},
	} {
		if got := Bearing(lat, lon, test.lat, test.lon); got != test.want {
			t.Errorf("to %g,%g: %q, want %q (%s)", test.lat, test.lon, got, test.want, test.why)
		}
	}
	if got := Bearing(0, 179.9, 0, -179.9); got != "e" {
		t.Errorf("across the date line: %q, want e", got)
	}
}

func TestFarFromAPlaceInWords(t *testing.T) {
	p := intake.Place{Lat: 42, Lon: -76, Text: "by the old bridge", PrecisionM: intake.InWordsOnly}
	if got := FarFrom(Catcher{Lat: 42, Lon: -76.1}, p); got != (Far{Km: -1}) {
		t.Errorf("got %+v, want unknown", got)
	}
}

func TestDistanceAndHeightWords(t *testing.T) {
	en, es := intake.Words{Language: "en"}, intake.Words{Language: "es"}
	east := func(km float64) Far { return Far{Km: km, Bearing: "e"} }
	for _, test := range []struct{ got, want, why string }{
		{DistanceWords(en, east(6.2), false), "4 mi E", "6.2 km are 3.9 mi"},
		{DistanceWords(en, east(6.2), true), "6 km E", "whole numbers"},
		{DistanceWords(en, east(0.3), false), "under 1 mi E", "never so exact that it gives the house away"},
		{DistanceWords(en, east(0.3), true), "under 1 km E", "never so exact that it gives the house away"},
		{DistanceWords(es, Far{Km: 12, Bearing: "w"}, true), "a 12 km O", "oeste"},
		{DistanceWords(en, Far{Km: -1}, true), "place not on the map yet", "unknown"},
		{HeightWords(en, 2.44, false), "8 ft", "whole feet"},
		{HeightWords(en, 2.44, true), "2.5 m", "half metres"},
		{HeightWords(en, 12.4, true), "12 m", "whole ones when high"},
		{HeightWords(en, 0, false), "0 ft", "on the ground"},
		{HeightWords(es, 2.44, false), "8 pies", ""},
	} {
		if test.got != test.want {
			t.Errorf("got %q, want %q (%s)", test.got, test.want, test.why)
		}
	}
}
