package notify

import "time"

// Travel says how long ways take, where no road is looked up.
type Travel struct {
	Detour float64 // how much longer roads are than the straight line
	KmH    float64 // on the road
}

// DefaultTravel has roads 1.4 times as long as the line (mean US detour index 1.417: Boscoe,
// Henry, Zdeb, Professional Geographer 64(2), 2012, from memory) at 45 km/h (judgement; US
// commutes averaged 52 km/h door to door in 2001: FHWA Highway Statistics NT-3). Both are a
// little pessimistic, which is the right side to err on.
func DefaultTravel() Travel { return Travel{Detour: 1.4, KmH: 45} }

// getGoing is how long it takes from yes to the road, in minutes (judgement; alerted first
// responders leave after 1:45 in the median: Resuscitation 2025, 110772, abstract).
const getGoing = 3

// Minutes returns how long a drive of km in a straight line takes, from the yes to arrival.
// The zero Travel is DefaultTravel.
func (t Travel) Minutes(km float64) float64 {
	if t.Detour <= 0 || t.KmH <= 0 {
		t = DefaultTravel()
	}
	return getGoing + 60*t.Detour*km/t.KmH
}

// OnRoad returns the same for a way of which the time on the road is known, in minutes.
func OnRoad(minutes float64) float64 { return getGoing + minutes }

// Stand is where a catcher is who is not at home: they said so, or were at a swarm a moment
// ago.
type Stand struct {
	Lat   float64   `json:"lat"` // degrees north
	Lon   float64   `json:"lon"` // degrees east
	Until time.Time `json:"until"`
}

// Start returns c as they set out at now: from stand while that holds, else from home.
func (c Catcher) Start(stand Stand, now time.Time) Catcher {
	if now.Before(stand.Until) {
		c.Lat, c.Lon = stand.Lat, stand.Lon
	}
	return c
}
