package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/triage"
)

// inventedSeason draws a season of calls: opened as swarms are over the year with some wasps
// in late summer, ended in every way.
func inventedSeason(n int) bot.Summary {
	settings := bot.DefaultSettings()
	r := rand.New(rand.NewPCG(2026, 11))
	sum := bot.NewSumming(settings)
	for i := range n {
		sum.Add(inventedEntry(r, settings, i))
	}
	return sum.Summary()
}

func inventedEntry(r *rand.Rand, settings *bot.Settings, i int) bot.Entry {
	opened := time.Date(2026, 5, 21, 12, 0, 0, 0, settings.Zone()).Add(time.Duration(r.NormFloat64() * 16 * 24 * float64(time.Hour)))
	wasps := i%6 == 5
	if wasps {
		opened = time.Date(2026, 8, 1+r.IntN(45), 15, 0, 0, 0, settings.Zone())
	}
	e := bot.Entry{Reference: fmt.Sprintf("T%03d", i), Opened: opened, Ended: opened.Add(20 * time.Hour), Asked: 1 + r.IntN(6),
		Placed: true, Lat: math.Round(100*(42.44+r.NormFloat64()*.08)) / 100, Lon: math.Round(100*(-76.5+r.NormFloat64()*.1)) / 100}
	a := intake.Answers{Shape: "hanging_cluster", Month: int(opened.Month())}
	if r.Float64() < .6 {
		a.Crowd = "thousands"
	}
	if wasps && r.Float64() < .8 {
		a.Shape, a.Crowd = "gap_traffic", "hundreds"
	}
	e.Answers = a
	e.Assessment = triage.Assess(a, triage.Scene{At: opened, Latitude: settings.Latitude, Longitude: settings.Longitude})
	if e.Assessment.Route == triage.RouteOffer || r.Float64() < .5 {
		e.Taken = opened.Add(time.Duration(r.ExpFloat64() * 9 * float64(time.Minute)))
		e.Catcher = []string{"ada", "bram", "chidi", "dana"}[r.IntN(4)]
	}
	switch {
	case wasps:
		e.Outcome = bot.PassedOn
		if !e.Taken.IsZero() {
			e.Found = triage.Yellowjacket
		}
	case e.Taken.IsZero():
		e.Outcome = []bot.Stage{bot.LeftAlone, bot.Withdrawn, bot.Unfinished}[r.IntN(3)]
	case r.Float64() < .18:
		e.Outcome = bot.Flown
	case r.Float64() < .06:
		e.Outcome, e.Found = bot.PassedOn, bot.NotHoneyBees
	default:
		e.Outcome, e.Found = bot.Hived, triage.HoneyBeeSwarm
	}
	return e
}

// Every picture of a season, of one call and of none can be drawn, and is a picture.
func TestSeason(t *testing.T) {
	for _, row := range []struct{ calls, pictures int }{{240, 5}, {1, 5}, {0, 0}} {
		all, err := Season("Quillbrook Bees", inventedSeason(row.calls))
		if err != nil {
			t.Fatal(err)
		}
		if len(all) != row.pictures {
			t.Errorf("%d calls give %d pictures, want %d", row.calls, len(all), row.pictures)
		}
		for _, d := range all {
			checkPNG(t, d)
			checkSVG(t, d)
		}
	}
}

// checkPNG also writes the picture into the folder that SKEPLINE_TEST_PLOTS names, for eyes.
func checkPNG(t *testing.T, d Drawing) {
	t.Helper()
	var file bytes.Buffer
	if err := d.Write(&file, "png"); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("SKEPLINE_TEST_PLOTS"); dir != "" {
		path := filepath.Join(dir, fmt.Sprintf("%s_%d.png", d.Name, file.Len()))
		if err := os.WriteFile(path, file.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	picture, err := png.Decode(&file)
	if err != nil {
		t.Fatalf("%s: %v", d.Name, err)
	}
	white := 0
	size := picture.Bounds().Size()
	for y := range size.Y {
		for x := range size.X {
			if r, g, b, _ := picture.At(x, y).RGBA(); r&g&b == 0xffff {
				white++
			}
		}
	}
	if drawn := 1 - float64(white)/float64(size.X*size.Y); drawn < .01 || drawn > .6 {
		t.Errorf("%s: %.1f %% of the picture is drawn on", d.Name, 100*drawn)
	}
}

func checkSVG(t *testing.T, d Drawing) {
	t.Helper()
	var file bytes.Buffer
	if err := d.Write(&file, "svg"); err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(file.Bytes(), []byte("Quillbrook Bees")) {
		t.Errorf("%s.svg does not name the club", d.Name)
	}
	dec := xml.NewDecoder(&file)
	for {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%s.svg: %v", d.Name, err)
		}
	}
}

func TestWholeTicks(t *testing.T) {
	for _, high := range []float64{1, 3, 7, 30, 250, 10000} {
		ticks := whole{}.Ticks(0, high)
		if len(ticks) < 2 || len(ticks) > 8 {
			t.Errorf("%d ticks up to %g: %v", len(ticks), high, ticks)
		}
		for _, tick := range ticks {
			if tick.Value != math.Trunc(tick.Value) {
				t.Errorf("a tick at %g", tick.Value)
			}
		}
	}
}
