package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"skepline/bot"
	"skepline/intake"
	"skepline/triage"
)

type weighCmd struct {
	Text    string `help:"What somebody might text." xor:"what" required:""`
	Answers string `help:"A file of answers as JSON; - for standard input." placeholder:"FILE" xor:"what" required:""`
	At      string `help:"Local time of the report, such as 2026-05-12T14:00. Without it the present." placeholder:"TIME"`
	Lang    string `help:"Language of the talk. Without it the hotline's first."`
	Why     bool   `help:"Show besides which words of the text said each answer."`
}

// weighed is what the command prints.
type weighed struct {
	Answers    intake.Answers    `json:"answers"`
	Assessment triage.Assessment `json:"assessment"`
	Read       []wordsRead       `json:"read,omitempty"` // with --why
}

// wordsRead is one thing that was read, and the words that said it.
type wordsRead struct {
	Field string `json:"field"`
	Value string `json:"value"`
	Said  string `json:"said"`
	At    [2]int `json:"at"` // bytes of the text
}

// Run prints what would be understood and how it would be weighed.
func (w weighCmd) Run(t *terminal, c *commands) error {
	settings, err := t.settings(c.Hotline)
	if err != nil {
		return err
	}
	at, err := w.time(settings.Zone())
	if err != nil {
		return err
	}
	heard, err := w.heard(settings, at, t.in)
	if err != nil {
		return err
	}
	answers := heard.Answers
	if answers.Month == 0 {
		answers.Month = int(at.Month())
	}
	if answers.Latitude == nil {
		answers.Latitude = &settings.Latitude
	}
	scene := settings.Scene(at)
	out := json.NewEncoder(t.out)
	out.SetIndent("", "  ")
	said := weighed{Answers: answers, Assessment: triage.Assess(answers, scene)}
	if w.Why {
		for _, r := range heard.Readings {
			said.Read = append(said.Read, wordsRead{r.Field, r.Value, w.Text[r.Start:r.End], [2]int{r.Start, r.End}})
		}
	}
	return out.Encode(said)
}

// time reads --at as the local time of zone.
func (w weighCmd) time(zone *time.Location) (time.Time, error) {
	if w.At == "" {
		return time.Now().In(zone), nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04"} {
		if at, err := time.ParseInLocation(layout, w.At, zone); err == nil {
			return at, nil
		}
	}
	if at, err := time.Parse(time.RFC3339, w.At); err == nil {
		return at.In(zone), nil
	}
	return time.Time{}, fmt.Errorf("--at %q is not a time; write one such as 2026-05-12T14:00", w.At)
}

// heard reads the text, or takes the answers of a file.
func (w weighCmd) heard(s *bot.Settings, at time.Time, in io.Reader) (intake.Heard, error) {
	switch w.Answers {
	case "":
		language := w.Lang
		if language == "" {
			language = s.DefaultLanguage()
		}
		if !slices.Contains(intake.Languages(), language) {
			return intake.Heard{}, fmt.Errorf("--lang %q has no words; allowed are %s", language, strings.Join(intake.Languages(), ", "))
		}
		return intake.Understand(w.Text, intake.Setting{
			Language: language, At: at, RadiusKm: s.RadiusKm, Metric: s.Metric(),
			Center: intake.Place{Lat: s.Latitude, Lon: s.Longitude, PrecisionM: s.RadiusKm * 1000},
		}), nil
	case "-":
		answers, err := intake.ReadAnswers(in)
		return intake.Heard{Answers: answers}, err
	}
	file, err := os.Open(w.Answers)
	if err != nil {
		return intake.Heard{}, fmt.Errorf("read the answers: %w", err)
	}
	answers, err := intake.ReadAnswers(file)
	return intake.Heard{Answers: answers}, errors.Join(err, file.Close())
}
