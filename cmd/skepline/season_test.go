package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
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
	for _, policy := range []string{"skepline", "broadcast", "broadcast_best_eta", "phone_tree", "radius", "nearest3", "insider", "oracle"} {
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

// A club's own roster: its people, and what ten more and everybody's away switch are worth.
func TestSeasonOfAClubsOwnRoster(t *testing.T) {
	dir := t.TempDir()
	roster, plot := filepath.Join(dir, "roster.csv"), filepath.Join(dir, "asks.svg")
	rows := "name,address,lat,lon,reach_km,max_height_m,skills,hours,language,jobs_a_day\n"
	for i, name := range []string{"Ada", "Bram", "Chidi", "Dora", "Emil", "Fern"} {
		rows += fmt.Sprintf("%s,,%.2f,-76.5,40,9,ladder;cutout,,,3\n", name, 42.35+0.03*float64(i))
	}
	if err := os.WriteFile(roster, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	out, code := runSeason(t, "--seeds", "2", "--from", "9", "--reports", "40", "--roster", roster, "--more", "10", "--away", "--plot", plot)
	if code != 0 || !strings.Contains(out, "16 catchers, 40 reports") || !strings.Contains(out, "What the change is worth") {
		t.Errorf("exit %d:\n%s", code, out)
	}
	if svg, err := os.ReadFile(plot); err != nil || !strings.Contains(string(svg), "phone tree") {
		t.Errorf("the plot: %v", err)
	}
	for _, args := range [][]string{{"--roster", filepath.Join(dir, "none.csv")}, {"--seeds", "1", "--plot", "asks.pdf"}, {"--more", "-1"}} {
		if out, code := runSeason(t, args...); code == 0 {
			t.Errorf("%v: exit 0:\n%s", args, out)
		}
	}
}
