package intake

import (
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
)

var (
	decimalPair = regexp.MustCompile(`(?i)(?:lat(?:itude)?[:=\s]*)?([NS])?\s*([-−–]?\d{1,3}\.\d{2,})\s*°?\s*([NS])?[\s,;]+(?:lon(?:gitude)?|lng)?[:=\s]*([EWO])?\s*([-−–]?\d{1,3}\.\d{2,})\s*°?\s*([EWO]\b)?`)
	degreePair  = regexp.MustCompile(`(?i)([NS])?\s*(\d{1,2})\s*[°º]\s*(?:(\d{1,2}(?:\.\d+)?)\s*['’′])?\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:"|”|″|''|’’))?\s*([NS])?[\s,;]*([EWO])?\s*(\d{1,3})\s*[°º]\s*(?:(\d{1,2}(?:\.\d+)?)\s*['’′])?\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:"|”|″|''|’’))?\s*([EWO]\b)?`)
	minus       = strings.NewReplacer("−", "-", "–", "-")
)

// findDecimal finds "42.444, -76.502", "42.444 N 76.502 W".
func findDecimal(text string, _ Setting) (Place, span, bool) {
	if strings.Count(text, ".") < 2 {
		return Place{}, span{}, false
	}
	m := decimalPair.FindStringSubmatchIndex(text)
	if m == nil {
		return Place{}, span{}, false
	}
	lat, lon := minus.Replace(group(text, m, 2)), minus.Replace(group(text, m, 5))
	p, ok := pair(lat, lon)
	if strings.EqualFold(group(text, m, 1)+group(text, m, 3), "s") {
		p.Lat = -p.Lat
	}
	if w := strings.ToLower(group(text, m, 4) + group(text, m, 6)); w == "w" || w == "o" {
		p.Lon = -p.Lon
	}
	return p, span{m[0], m[1]}, ok
}

func group(text string, m []int, n int) string {
	if m[2*n] < 0 {
		return ""
	}
	return text[m[2*n]:m[2*n+1]]
}

// pair is a point from two decimal numbers, as precise as their digits: a degree is 111 km.
func pair(lat, lon string) (Place, bool) {
	la, err1 := strconv.ParseFloat(strings.TrimSpace(lat), 64)
	lo, err2 := strconv.ParseFloat(strings.TrimSpace(lon), 64)
	if err1 != nil || err2 != nil || math.IsNaN(la+lo) || math.IsInf(la+lo, 0) {
		return Place{}, false
	}
	digits := len(strings.TrimSpace(lat)) - strings.IndexByte(strings.TrimSpace(lat)+".", '.') - 1
	return Place{Lat: la, Lon: lo, PrecisionM: math.Max(15, 111000*math.Pow(10, -float64(max(0, digits))))}, true
}

// findDegrees finds degrees, minutes and seconds: 42°26'38"N 76°30'7"W.
func findDegrees(text string, _ Setting) (Place, span, bool) {
	if !strings.ContainsAny(text, "°º") {
		return Place{}, span{}, false
	}
	m := degreePair.FindStringSubmatchIndex(text)
	if m == nil {
		return Place{}, span{}, false
	}
	ns, ew := strings.ToLower(group(text, m, 1)+group(text, m, 5)), strings.ToLower(group(text, m, 6)+group(text, m, 10))
	if ns == "" || ew == "" {
		return Place{}, span{}, false
	}
	lat := sexagesimal(group(text, m, 2), group(text, m, 3), group(text, m, 4))
	lon := sexagesimal(group(text, m, 7), group(text, m, 8), group(text, m, 9))
	if ns == "s" {
		lat = -lat
	}
	if ew != "e" {
		lon = -lon
	}
	precision := 31.0 // a second of latitude
	if group(text, m, 4) == "" {
		precision = 1850 // a minute
	}
	return Place{Lat: lat, Lon: lon, PrecisionM: precision}, span{m[0], m[1]}, true
}

func sexagesimal(degrees, minutes, seconds string) float64 {
	d, _ := strconv.ParseFloat(degrees, 64)
	m, _ := strconv.ParseFloat(minutes, 64)
	s, _ := strconv.ParseFloat(seconds, 64)
	return d + m/60 + s/3600
}

// findLink finds a geo: address (RFC 5870) or a map link of Google, Apple or OpenStreetMap
// that holds its coordinates. The links' forms are from the providers' pages and from memory.
func findLink(text string, s Setting) (Place, span, bool) {
	for at := 0; at < len(text); {
		start := at + strings.IndexFunc(text[at:], notSpace)
		if start < at {
			break
		}
		end := start + strings.IndexFunc(text[start:]+" ", isSpace)
		word := strings.TrimRight(text[start:end], ".,;!)>\"")
		if p, ok := readLink(strings.TrimLeft(word, "(<\"")); ok {
			return p, span{start, start + len(word)}, true
		}
		at = end
	}
	return Place{}, span{}, false
}

func isSpace(r rune) bool  { return r == ' ' || r == '\n' || r == '\t' || r == '\r' || r == '\u00a0' }
func notSpace(r rune) bool { return !isSpace(r) }

func readLink(word string) (Place, bool) {
	low := strings.ToLower(word)
	if rest, ok := strings.CutPrefix(low, "geo:"); ok {
		return readGeo(rest)
	}
	if !strings.Contains(low, "maps") && !strings.Contains(low, "openstreetmap.") && !strings.Contains(low, "osm.org") && !strings.Contains(low, "waze.com") {
		return Place{}, false
	}
	if !strings.Contains(low, "://") {
		word = "https://" + word
	}
	u, err := url.Parse(word)
	if err != nil {
		return Place{}, false
	}
	host := strings.TrimPrefix(strings.ToLower(u.Hostname()), "www.")
	switch {
	case host == "maps.apple.com":
		return fromQuery(u, "coordinate", "ll", "q", "daddr", "sll", "address")
	case strings.HasPrefix(host, "google.") || strings.HasPrefix(host, "maps.google."):
		return readGoogle(u)
	case strings.HasSuffix(host, "waze.com"):
		if p, ok := twoNumbers(strings.TrimPrefix(u.Query().Get("to"), "ll.")); ok {
			return p, true
		}
		return fromQuery(u, "ll", "latlng")
	case host == "openstreetmap.org" || host == "osm.org":
		return readOSM(u)
	}
	return Place{}, false
}

// readGeo reads what follows "geo:": 42.44,-76.50;u=35 or 0,0?q=42.44,-76.50(label).
func readGeo(rest string) (Place, bool) {
	path, query, _ := strings.Cut(rest, "?")
	if q, err := url.ParseQuery(query); err == nil && q.Get("q") != "" {
		point, _, _ := strings.Cut(q.Get("q"), "(")
		if p, ok := twoNumbers(point); ok {
			return p, true
		}
	}
	parts := strings.Split(path, ";")
	p, ok := twoNumbers(parts[0])
	for _, param := range parts[1:] {
		if v, is := strings.CutPrefix(param, "u="); is {
			if u, err := strconv.ParseFloat(v, 64); err == nil && u >= 0 && u < 1e6 {
				p.PrecisionM = math.Max(1, u)
			}
		}
		if crs, is := strings.CutPrefix(param, "crs="); is && crs != "wgs84" {
			return Place{}, false
		}
	}
	return p, ok
}

// twoNumbers reads "42.44,-76.50" and lets an altitude follow.
func twoNumbers(s string) (Place, bool) {
	parts := strings.Split(minus.Replace(s), ",")
	if len(parts) < 2 || len(parts) > 3 {
		return Place{}, false
	}
	return pair(parts[0], parts[1])
}

func fromQuery(u *url.URL, keys ...string) (Place, bool) {
	q := u.Query()
	for _, k := range keys {
		if p, ok := twoNumbers(strings.TrimPrefix(q.Get(k), "loc:")); ok {
			return p, true
		}
	}
	return Place{}, false
}

var (
	googlePin  = regexp.MustCompile(`!3d(-?\d+\.\d+)!4d(-?\d+\.\d+)`)
	googleView = regexp.MustCompile(`@(-?\d+\.\d+),(-?\d+\.\d+)`)
)

// readGoogle prefers the pin (!3d…!4d…) to the view's middle (@…).
func readGoogle(u *url.URL) (Place, bool) {
	whole := u.Path + "?" + u.RawQuery
	if m := googlePin.FindStringSubmatch(whole); m != nil {
		return pair(m[1], m[2])
	}
	if p, ok := fromQuery(u, "query", "q", "destination", "daddr", "ll", "center"); ok {
		return p, true
	}
	for _, part := range strings.Split(u.Path, "/") {
		if p, ok := twoNumbers(strings.ReplaceAll(part, "+", "")); ok && !strings.HasPrefix(part, "@") {
			return p, true
		}
	}
	if m := googleView.FindStringSubmatch(whole); m != nil {
		p, ok := pair(m[1], m[2])
		p.PrecisionM = math.Max(p.PrecisionM, 200) // the middle of a screen, not a pin
		return p, ok
	}
	return Place{}, false
}

// readOSM reads /go/<short code>, ?mlat=&mlon= (a marker) or #map=zoom/lat/lon (a view).
func readOSM(u *url.URL) (Place, bool) {
	if code, ok := strings.CutPrefix(u.Path, "/go/"); ok {
		return readShortcode(code)
	}
	q := u.Query()
	if p, ok := pair(q.Get("mlat"), q.Get("mlon")); ok {
		return p, true
	}
	view, ok := strings.CutPrefix(u.Fragment, "map=")
	parts := strings.Split(view, "/")
	if !ok || len(parts) < 3 {
		return Place{}, false
	}
	lon, _, _ := strings.Cut(parts[2], "&")
	p, ok := pair(parts[1], lon)
	p.PrecisionM = math.Max(p.PrecisionM, 200)
	return p, ok
}
