package triage

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/intake"
)

// FuzzAssess holds, for every answers object that intake accepts, what every reader of an
// assessment relies on.
func FuzzAssess(f *testing.F) {
	for _, seed := range []string{
		`{}`,
		`{"shape":"hanging_cluster","surface":"branch","crowd":"thousands","height_m":2.4,"age_h":6,"stung":"none"}`,
		`{"shape":"paper_ball","body":"black_white","hazards":["children","crowd"],"month":8,"latitude":42.4}`,
		`{"shape":"gap_traffic","surface":"wall","entry":"one_hole","stings":60,"allergic":"yes","owner":"no"}`,
		`{"stung":"trouble_breathing","place":{"lat":-43.5,"lon":172.6,"precision_m":15},"month":11}`,
	} {
		f.Add(seed, int64(1778594400), 42.444, -76.502)
	}
	f.Fuzz(func(t *testing.T, answers string, at int64, lat, lon float64) {
		a, err := intake.ReadAnswers(strings.NewReader(answers))
		onEarth := math.Abs(lat) <= 90 && math.Abs(lon) <= 180 // also false for NaN
		if err != nil || !onEarth || at < 0 || at > 4e9 {
			t.Skip()
		}
		s := Scene{At: time.Unix(at, 0).UTC(), Latitude: lat, Longitude: lon}
		as := Assess(a, s)
		checkAssessment(t, a, as)
		if diff := cmp.Diff(as, Assess(a, s)); diff != "" {
			t.Errorf("weighed twice, it differs: %s", diff)
		}
		NextQuestion(a, nil, s)
		Settled(a, s)
	})
}

func checkAssessment(t *testing.T, a intake.Answers, as Assessment) {
	t.Helper()
	var sum float64
	for i, k := range as.Kinds {
		sum += k.P
		if i > 0 && k.P > as.Kinds[i-1].P {
			t.Errorf("kinds are out of order: %v", as.Kinds)
		}
		if k.Kind == HoneyBeeSwarm && k.P != as.Likelihood {
			t.Errorf("likelihood %g, p of a swarm %g", as.Likelihood, k.P)
		}
	}
	if len(as.Kinds) != len(Kinds) || math.Abs(sum-1) > 1e-9 {
		t.Errorf("%d kinds that sum to %g", len(as.Kinds), sum)
	}
	if as.Urgency < 0 || as.Urgency > 100 || !slices.Contains([]Pace{Now, Today, Unhurried}, as.Pace) {
		t.Errorf("urgency %d, pace %q", as.Urgency, as.Pace)
	}
	if (a.Stung == "trouble_breathing") && as.Route != RouteEmergency {
		t.Errorf("trouble breathing went to %s", as.Route)
	}
	if as.Route == RouteOffer && (as.Likelihood < 0.8-1e-9 || a.Shape == "paper_ball" || a.Shape == "open_umbrella") {
		t.Errorf("offered at %g with shape %q", as.Likelihood, a.Shape)
	}
	data, err := json.Marshal(as) // fails on NaN and infinities
	if err != nil {
		t.Fatal(err)
	}
	var back Assessment
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&back); err != nil || cmp.Diff(as, back) != "" {
		t.Errorf("the JSON does not come back: %v", err)
	}
}
