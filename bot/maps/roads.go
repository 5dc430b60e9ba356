package maps

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"

	"skepline/bot"
)

// RoadServer is one OSRM-compatible server. Its answers are kept, the latest ten thousand
// drives, so that the same way is asked once; how often it is asked at all is the business of
// who calls.
type RoadServer struct {
	server Server // what fetches, and keeps addresses out of errors

	mu     sync.Mutex
	known  map[[sha256.Size]byte]float64 // by the hash of from and to, so that no home stays in memory, to minutes
	oldest [][sha256.Size]byte           // keys of known, in the order in which they came
}

var _ bot.Roads = (*RoadServer)(nil)

const (
	drives = 10_000 // remembered
	noWay  = -1     // minutes where there is no road
)

// NewRoads prepares a server at base, "https://osrm.example.org".
func NewRoads(base string) *RoadServer {
	return &RoadServer{
		server: Server{base: strings.TrimRight(base, "/"), client: &http.Client{Timeout: timeout}, named: "the road server"},
		known:  map[[sha256.Size]byte]float64{},
	}
}

// Drives asks for the minutes on the road from each of from to to, in one request of the
// table service (OSRM HTTP API v5, project-osrm.org/docs/v5.24.0/api, "Table service"). An
// error tells nothing of the places.
func (m *RoadServer) Drives(ctx context.Context, from []bot.Point, to bot.Point) ([]float64, error) {
	minutes := make([]float64, len(from))
	var ask []int // of from, what is not known yet
	for i, p := range from {
		known, ok := m.recall(pair(p, to))
		if minutes[i] = known; !ok {
			ask = append(ask, i)
		}
	}
	if len(ask) == 0 {
		return minutes, nil
	}
	body, err := m.server.get(ctx, table(from, ask, to))
	if err != nil {
		return nil, err
	}
	found, err := readTable(body, len(ask))
	if err != nil {
		return nil, err
	}
	for n, i := range ask {
		minutes[i] = found[n]
		m.remember(pair(from[i], to), found[n])
	}
	return minutes, nil
}

// Check asks the server for the road nearest to a place.
func (m *RoadServer) Check(ctx context.Context, at bot.Point) error {
	body, err := m.server.get(ctx, "/nearest/v1/driving/"+lonLat(at))
	if err != nil {
		return err
	}
	var answer struct {
		Code string `json:"code"`
	}
	if json.Unmarshal(body, &answer) != nil || answer.Code != "Ok" {
		return fmt.Errorf("the road server knows no road there")
	}
	return nil
}

// table is the request: coordinates are longitude first, the place to go to stands last.
func table(from []bot.Point, ask []int, to bot.Point) string {
	points, sources := make([]string, len(ask)), make([]string, len(ask))
	for n, i := range ask {
		points[n], sources[n] = lonLat(from[i]), strconv.Itoa(n)
	}
	return "/table/v1/driving/" + strings.Join(append(points, lonLat(to)), ";") +
		"?sources=" + strings.Join(sources, ";") + "&destinations=" + strconv.Itoa(len(ask)) + "&annotations=duration"
}

// readTable reads the durations, in seconds, of so many sources to one destination; null is
// no way.
func readTable(body []byte, sources int) ([]float64, error) {
	var answer struct {
		Code      string       `json:"code"`
		Durations [][]*float64 `json:"durations"`
	}
	if json.Unmarshal(body, &answer) != nil {
		return nil, errors.New("the road server's answer cannot be read")
	}
	wrong := slices.ContainsFunc(answer.Durations, func(row []*float64) bool { return len(row) != 1 })
	if answer.Code != "Ok" || len(answer.Durations) != sources || wrong {
		return nil, errors.New("the road server's answer is no table of the drives that were asked for")
	}
	minutes := make([]float64, sources)
	for i, row := range answer.Durations {
		minutes[i] = noWay
		if seconds := row[0]; seconds != nil && *seconds >= 0 {
			minutes[i] = *seconds / 60
		}
	}
	return minutes, nil
}

func lonLat(p bot.Point) string {
	return strconv.FormatFloat(p.Lon, 'f', 5, 64) + "," + strconv.FormatFloat(p.Lat, 'f', 5, 64)
}

func pair(from, to bot.Point) [sha256.Size]byte {
	return sha256.Sum256([]byte(lonLat(from) + ";" + lonLat(to)))
}

func (m *RoadServer) recall(key [sha256.Size]byte) (float64, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	minutes, ok := m.known[key]
	return minutes, ok
}

func (m *RoadServer) remember(key [sha256.Size]byte, minutes float64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, ok := m.known[key]; !ok {
		m.oldest = append(m.oldest, key)
	}
	m.known[key] = minutes
	if len(m.oldest) > drives {
		delete(m.known, m.oldest[0])
		m.oldest = m.oldest[1:]
	}
}
