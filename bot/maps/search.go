package maps

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"skepline/bot"
	"skepline/intake"
)

// Server is one map server. Its answers are kept, the latest thousand, so that the same
// words are asked once; how often it is asked at all is the business of who calls.
type Server struct {
	base   string
	named  string // in errors: "the map server"
	client *http.Client

	mu     sync.Mutex
	known  map[[sha256.Size]byte]found // by the hash of what was asked, so that no caller's words stay in memory
	oldest [][sha256.Size]byte         // keys of known, in the order in which they came
}

// found is an answer without the words that it answers.
type found struct {
	spots []intake.Spot
	at    time.Time
}

var _ bot.Maps = (*Server)(nil)

const (
	timeout    = 5 * time.Second
	most       = 5    // candidates asked for
	remembered = 1000 // answers
	forgotten  = 24 * time.Hour
	largest    = 1 << 18 // bytes of an answer
	// agent names the program: the usage policy of the public server asks for it
	// (operations.osmfoundation.org/policies/nominatim).
	agent = "skepline (swarm hotline of a beekeeping club)"
)

// New prepares a server at base, "https://nominatim.example.org".
func New(base string) *Server {
	return &Server{base: strings.TrimRight(base, "/"), named: "the map server", client: &http.Client{Timeout: timeout}, known: map[[sha256.Size]byte]found{}}
}

// Search asks for what words can mean near s.Center; see bot.Maps. An error tells nothing
// of the words.
func (m *Server) Search(ctx context.Context, words string, s intake.Setting) ([]intake.Spot, error) {
	key := sha256.Sum256([]byte(s.Language + "\x00" + strings.ToLower(words)))
	if spots, ok := m.recall(key, words, time.Now()); ok {
		return spots, nil
	}
	body, err := m.get(ctx, "/search?"+query(words, s).Encode())
	if err != nil {
		return nil, err
	}
	spots, err := readAnswer(body, words)
	if err != nil {
		return nil, err
	}
	m.remember(key, spots, time.Now())
	return spots, nil
}

// Check asks whether the server is there.
func (m *Server) Check(ctx context.Context) error {
	_, err := m.get(ctx, "/status")
	return err
}

// query is a search that prefers the area served (nominatim.org/release-docs/latest/api/Search).
func query(words string, s intake.Setting) url.Values {
	v := url.Values{"q": {words}, "format": {"jsonv2"}, "limit": {strconv.Itoa(most)}, "accept-language": {s.Language}}
	if s.RadiusKm > 0 {
		lat := s.RadiusKm / 111.2
		lon := lat / math.Max(0.1, math.Cos(s.Center.Lat*math.Pi/180))
		v.Set("viewbox", fmt.Sprintf("%.4f,%.4f,%.4f,%.4f", s.Center.Lon-lon, s.Center.Lat+lat, s.Center.Lon+lon, s.Center.Lat-lat))
	}
	return v
}

func (m *Server) get(ctx context.Context, path string) ([]byte, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, m.base+path, nil)
	if err != nil {
		return nil, errors.New(m.named + "'s address cannot be used")
	}
	req.Header.Set("User-Agent", agent)
	resp, err := m.client.Do(req)
	if err != nil {
		var at *url.Error // its text holds the address asked for, and with it the words
		if errors.As(err, &at) {
			err = at.Err
		}
		return nil, fmt.Errorf("%s does not answer: %w", m.named, err)
	}
	defer func() { _ = resp.Body.Close() }() // it was only read
	body, err := io.ReadAll(io.LimitReader(resp.Body, largest))
	switch {
	case err != nil:
		return nil, errors.New(m.named + "'s answer broke off")
	case resp.StatusCode != http.StatusOK:
		return nil, fmt.Errorf("%s answered %d", m.named, resp.StatusCode)
	}
	return body, nil
}

// result is what is read of one result. Numbers come as strings; the box is south, north,
// west, east.
type result struct {
	Lat     string   `json:"lat"`
	Lon     string   `json:"lon"`
	Display string   `json:"display_name"`
	Type    string   `json:"addresstype"`
	Box     []string `json:"boundingbox"`
}

func readAnswer(body []byte, words string) ([]intake.Spot, error) {
	var results []result
	if err := json.Unmarshal(body, &results); err != nil {
		return nil, errors.New("the map server's answer cannot be read")
	}
	var spots []intake.Spot
	for _, r := range results {
		if spot, ok := r.spot(words); ok && len(spots) < most {
			spots = append(spots, spot)
		}
	}
	return spots, nil
}

// spot turns a result into a candidate. What is larger than a town is none: a county helps
// nobody.
func (r result) spot(words string) (intake.Spot, bool) {
	const atLeast, town = 20, 12_000 // metres
	lat, err1 := strconv.ParseFloat(r.Lat, 64)
	lon, err2 := strconv.ParseFloat(r.Lon, 64)
	if err1 != nil || err2 != nil || !(math.Abs(lat) <= 90) || !(math.Abs(lon) <= 180) {
		return intake.Spot{}, false
	}
	p := intake.Place{Lat: lat, Lon: lon, Text: words, PrecisionM: math.Max(atLeast, math.Round(r.halfBox(point(lat, lon))))}
	return intake.Spot{Name: shortName(r.Display), Place: p, Area: areas[r.Type]}, p.PrecisionM <= town
}

func point(lat, lon float64) intake.Place { return intake.Place{Lat: lat, Lon: lon} }

// halfBox is how far the result reaches from its point, in metres; 200 when it does not say.
func (r result) halfBox(at intake.Place) float64 {
	const unsaid = 200
	if len(r.Box) != 4 {
		return unsaid
	}
	var box [4]float64
	for i, side := range r.Box {
		v, err := strconv.ParseFloat(side, 64)
		if err != nil {
			return unsaid
		}
		box[i] = v
	}
	return 1000 * math.Max(intake.Km(at, point(box[0], box[2])), intake.Km(at, point(box[1], box[3])))
}

// areas are the address types that are no spot to drive to.
var areas = map[string]bool{
	"city": true, "town": true, "village": true, "hamlet": true, "suburb": true, "municipality": true, "postcode": true, "neighbourhood": true, "borough": true,
}

// shortName keeps of "14, Mill Lane, Quillbrook, Quillbrook County, New York" what tells it
// from others.
func shortName(display string) string {
	const longest = 40 // letters
	parts := strings.Split(display, ", ")
	name := strings.Join(parts[:min(3, len(parts))], ", ")
	if r := []rune(name); len(r) > longest {
		name = strings.TrimSpace(string(r[:longest]))
	}
	return name
}

// recall returns a kept answer with the words of now in it.
func (m *Server) recall(key [sha256.Size]byte, words string, now time.Time) ([]intake.Spot, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forget(now)
	f, ok := m.known[key]
	spots := slices.Clone(f.spots)
	for i := range spots {
		spots[i].Place.Text = words
	}
	return spots, ok
}

func (m *Server) remember(key [sha256.Size]byte, spots []intake.Spot, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forget(now)
	spots = slices.Clone(spots)
	for i := range spots {
		spots[i].Place.Text = ""
	}
	if _, ok := m.known[key]; !ok {
		m.oldest = append(m.oldest, key)
	}
	m.known[key] = found{spots, now}
	if len(m.oldest) > remembered {
		m.drop()
	}
}

// forget drops what is old.
func (m *Server) forget(now time.Time) {
	for len(m.oldest) > 0 && now.Sub(m.known[m.oldest[0]].at) > forgotten {
		m.drop()
	}
}

func (m *Server) drop() {
	delete(m.known, m.oldest[0])
	m.oldest = m.oldest[1:]
}
