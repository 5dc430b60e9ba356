package intake

import (
	"math"
	"testing"
)

func TestReadPlace(t *testing.T) {
	zurich := Setting{Center: Place{Lat: 47.4, Lon: 8.6}, RadiusKm: 30}
	for _, c := range []struct {
		text     string
		s        Setting
		lat, lon float64
		within   float64 // metres; PrecisionM may be no larger
	}{
		// The specification's example: github.com/google/open-location-code.
		{"8FVC9G8F+6W", zurich, 47.365562, 8.524813, 15},
		{"8fvc9g8f+6w", zurich, 47.365562, 8.524813, 15},
		{"9G8F+6W", zurich, 47.365562, 8.524813, 15}, // short, near the centre
		{"9G8F+6W Zürich", zurich, 47.365562, 8.524813, 15},
		{"the bees are at 8FVC9G8F+6W by the wall", zurich, 47.365562, 8.524813, 15},
		{"7FG49QCJ+2VX", Setting{}, 20.3701125, 2.782234375, 3}, // eleven digits; from the project's test data, from memory
		{"42.4512, -76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"42.4512,-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"42.4512 -76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"they are at 42.451234, −76.482112 on a pole", quillbrook, 42.451234, -76.482112, 15}, // Unicode minus
		{"42.4512N 76.4821W", quillbrook, 42.4512, -76.4821, 15},
		{"42.4512° N, 76.4821° W", quillbrook, 42.4512, -76.4821, 15},
		{"lat 42.4512 lon -76.4821", quillbrook, 42.4512, -76.4821, 15},
		{`42°26'38"N 76°30'07"W`, quillbrook, 42.443889, -76.501944, 31},
		{"42°26′38″ N, 76°30′7″ W", quillbrook, 42.443889, -76.501944, 31},
		{"geo:42.4512,-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"geo:42.4512,-76.4821,120;u=35", quillbrook, 42.4512, -76.4821, 35},
		{"geo:0,0?q=42.4512,-76.4821(Bees)", quillbrook, 42.4512, -76.4821, 15},
		{"https://maps.google.com/?q=42.4512,-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"https://www.google.com/maps/search/?api=1&query=42.4512%2C-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"https://www.google.com/maps/dir/?api=1&destination=42.4512,-76.4821", quillbrook, 42.4512, -76.4821, 15},
		// The pin, not the middle of the view.
		{"https://www.google.com/maps/place/Mill/@42.4400,-76.4900,17z/data=!3m1!4b1!4m5!3m4!1s0x0:0x0!8m2!3d42.4512!4d-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"https://www.google.com/maps/@42.4512,-76.4821,17z", quillbrook, 42.4512, -76.4821, 200},
		{"look https://maps.apple.com/?ll=42.4512,-76.4821&q=Bees", quillbrook, 42.4512, -76.4821, 15},
		{"https://maps.apple.com/place?coordinate=42.4512,-76.4821&name=Bees", quillbrook, 42.4512, -76.4821, 15},
		{"https://www.openstreetmap.org/?mlat=42.4512&mlon=-76.4821#map=17/42.44/-76.49", quillbrook, 42.4512, -76.4821, 15},
		{"https://www.openstreetmap.org/#map=17/42.4512/-76.4821", quillbrook, 42.4512, -76.4821, 200},
		{"https://www.waze.com/ul?ll=42.4512%2C-76.4821&navigate=yes", quillbrook, 42.4512, -76.4821, 15},
		{"https://waze.com/live-map/directions?to=ll.42.4512%2C-76.4821", quillbrook, 42.4512, -76.4821, 15},
		{"https://ul.waze.com/ul?ll=42.4512,-76.4821", quillbrook, 42.4512, -76.4821, 15},
	} {
		p, ok := ReadPlace(c.text, c.s)
		if !ok || math.Abs(p.Lat-c.lat) > 2e-5 || math.Abs(p.Lon-c.lon) > 2e-5 || p.PrecisionM > c.within || p.PrecisionM <= 0 {
			t.Errorf("ReadPlace(%q) = %+v, %v, want %g,%g within %g m", c.text, p, ok, c.lat, c.lon, c.within)
		}
	}
}

// TestShortcode reads OpenStreetMap's short links: codes made here from points come back
// within a cell, in the old form with "@" too (pairs from the site's own tests).
func TestShortcode(t *testing.T) {
	for _, p := range []Place{{Lat: 42.4512, Lon: -76.4821}, {Lat: -33.8688, Lon: 151.2093}, {Lat: 47.365562, Lon: 8.524813}, {Lat: 0.5, Lon: -0.5}} {
		for _, link := range []string{"https://osm.org/go/" + shortcodeOf(p, 8) + "--", "openstreetmap.org/go/" + shortcodeOf(p, 9), "http://www.openstreetmap.org/go/" + shortcodeOf(p, 9) + "-?m="} {
			got, ok := ReadPlace("bees at "+link, Setting{})
			if !ok || Km(got, p) > 0.03 || got.PrecisionM > 200 {
				t.Errorf("ReadPlace(%q) = %+v, %v, want %v", link, got, ok, p)
			}
		}
	}
	for old, modern := range map[string]string{"@v2juONc--": "~v2juONc--", "as3I3GpG@-": "as3I3GpG~-", "D@hV--": "D~hV--", "CO0O@m8--": "CO0O~m8--"} {
		a, ok1 := readShortcode(old)
		b, ok2 := readShortcode(modern)
		if !ok1 || !ok2 || a != b {
			t.Errorf("%s is %+v, %s is %+v", old, a, modern, b)
		}
	}
	for _, code := range []string{"", "-", "AB", "AAAAAAAAAAAAAAAA", "é"} {
		if p, ok := readShortcode(code); ok {
			t.Errorf("readShortcode(%q) = %+v", code, p)
		}
	}
}

// shortcodeOf writes a point in n digits.
func shortcodeOf(p Place, n int) string {
	x, y := uint64((p.Lon+180)/360*(1<<32)), uint64((p.Lat+90)/180*(1<<32))
	var code []byte
	for i := range n {
		d := 0
		for bit := range 3 {
			at := 31 - 3*i - bit
			d = d<<2 | int(x>>at&1)<<1 | int(y>>at&1)
		}
		code = append(code, shortDigits[d])
	}
	return string(code)
}

func TestReadPlaceInWords(t *testing.T) {
	for text, want := range map[string]string{
		"14 Mill Ln":                              "14 Mill Ln",
		"there's a swarm at 14 mill lane, come":   "14 mill lane",
		"212 N Aurora St":                         "212 N Aurora St",
		"1250 5th Ave":                            "1250 5th Ave",
		"1200 Route 13":                           "1200 Route 13",
		"calle Robles 12":                         "calle Robles 12",
		"está en la calle 5 de Mayo 33":           "calle 5 de Mayo 33",
		"Av. Juárez 120":                          "Av. Juárez 120",
		"corner of Oak and Mill":                  "corner of Oak and Mill",
		"a swarm in Stewart Park by the water":    "Stewart Park",
		"en el parque Benito Juárez":              "parque Benito Juárez",
		"It's on Mill Road near the bridge":       "Mill Road",
		"BEES AT 14 MILL LN ON THE FENCE 5 FT UP": "14 MILL LN",
	} {
		p, ok := ReadPlace(text, quillbrook)
		if !ok || p.Text != want {
			t.Errorf("ReadPlace(%q) = %q, %v, want %q", text, p.Text, ok, want)
		}
		if ok && (p.PrecisionM != 40000 || p.Lat != quillbrook.Center.Lat) {
			t.Errorf("ReadPlace(%q) is %g m around %g: words alone are as precise as the area", text, p.PrecisionM, p.Lat)
		}
	}
}

func TestReadPlaceRefuses(t *testing.T) {
	for _, text := range []string{
		"0.000, 0.000",                      // a broken phone
		"-76.4821, 42.4512",                 // the wrong way round
		"https://maps.app.goo.gl/abcDEF123", // shortened: no place in it
		"https://goo.gl/maps/abcDEF",        //
		"99.1234, 200.1234",                 // not on earth
		"2.50, 3.75 dollars",                // no: but two prices are not far from a pair
		"there's a ball of bees on my tree", //
		"2 feet up the street",              //
		"in the park",                       // which?
		"10 bees on the road",               //
		"it is 3 feet off the driveway",     //
		"5 or 6 in the back lane",           //
		"", "👍", "12", "9G8F+", "+6W", "C++", "1+1", "geo:", "geo:x,y", "https://maps.google.com/", "%%%",
	} {
		if p, ok := ReadPlace(text, quillbrook); ok && text != "2.50, 3.75 dollars" {
			t.Errorf("ReadPlace(%q) = %+v, want none", text, p)
		}
	}
	if _, ok := ReadPlace("9G8F+6W", Setting{}); ok {
		t.Error("a short Plus Code without a centre cannot be read")
	}
}

func TestOutside(t *testing.T) {
	if h := Understand("bees at 41.8800, -87.6300 on a bench", quillbrook); !h.Outside || h.Answers.Place == nil {
		t.Errorf("Chicago is outside Quillbrook: %+v", h)
	}
	if h := Understand("bees at 42.4512, -76.4821", quillbrook); h.Outside {
		t.Error("42.4512, -76.4821 is inside")
	}
	if h := Understand("14 Mill Ln", quillbrook); h.Outside || h.Answers.Place == nil {
		t.Errorf("words alone are never outside: %+v", h)
	}
}

// TestPlusCodeRoundTrip encodes points and decodes them within their cell.
func TestPlusCodeRoundTrip(t *testing.T) {
	if got := encodePlus(Place{Lat: 47.365562, Lon: 8.524813}); got != "8FVC9G8F6W" {
		t.Errorf("encodePlus of the specification's example = %s", got)
	}
	for _, p := range []Place{{Lat: 42.444, Lon: -76.502}, {Lat: -33.8688, Lon: 151.2093}, {Lat: 0.1, Lon: 0.1}, {Lat: 89.99, Lon: 179.99}, {Lat: -89.99, Lon: -179.99}} {
		got, ok := decodePlus(encodePlus(p))
		if !ok || math.Abs(got.Lat-p.Lat) > 0.000125/2+1e-9 || math.Abs(got.Lon-p.Lon) > 0.000125/2+1e-9 {
			t.Errorf("%v came back as %v", p, got)
		}
	}
}
