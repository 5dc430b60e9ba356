package main

import (
	"encoding/json"
	"io"
	"strings"
	"testing"
)

func runSeason(t *testing.T, args ...string) (out string, code int) {
	t.Helper()
	r := runCommand(t, "", noEnvironment, append([]string{"season"}, args...)...)
	return r.out + r.errs, r.code
}

// The JSON's keys are read by others: they are fixed.
func TestSeasonJSON(t *testing.T) {
	out, code := runSeason(t, "--seeds", "2", "--from", "9", "--reports", "60", "--json")
	if code != 0 {
		t.Fatal(out)
	}
	var got struct {
		Policies map[string]map[string]float64 `json:"policies"`
	}
	in := json.NewDecoder(strings.NewReader(out))
	in.DisallowUnknownFields()
	if err := in.Decode(&got); err != nil && err != io.EOF {
		t.Fatal(err)
	}
	for _, policy := range []string{"skepline", "broadcast", "broadcast_best_eta", "phone_tree", "radius", "nearest3", "oracle"} {
		for _, figure := range []string{"caught", "pings_per_report", "median_min", "p90_min", "gini"} {
			if v, ok := got.Policies[policy][figure]; !ok || v <= 0 {
				t.Errorf("%s has %s %v", policy, figure, v)
			}
		}
	}
	if again, _ := runSeason(t, "--seeds", "2", "--from", "9", "--reports", "60", "--json"); again != out {
		t.Error("the same seeds came out different")
	}
}

func TestSeasonSaysWhatCannotBe(t *testing.T) {
	if out, code := runSeason(t, "--seeds", "0"); code == 0 || !strings.Contains(out, "--seeds cannot be 0") {
		t.Errorf("exit %d: %s", code, out)
	}
}
