package main

import (
	"context"
	"fmt"
	"os"

	"skepline/bot/rehearsal"
)

type rehearseCmd struct {
	File string `arg:"" optional:"" help:"A transcript. Without it the built-in scenario is played."`
}

// Run plays the transcript, prints the conversation, and fails when an expectation did.
func (r rehearseCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	transcript, err := r.transcript()
	if err != nil {
		return err
	}
	settings, err := t.settings(c.Hotline)
	if err != nil {
		return err
	}
	report, err := rehearsal.Player{Settings: settings}.Run(ctx, transcript)
	if err != nil {
		return err
	}
	if err := report.Print(t.out); err != nil {
		return err
	}
	if n := len(report.Failures); n > 0 {
		return fmt.Errorf("\n%sexpectations that did not hold: %d", report.Failed(transcript.Name), n)
	}
	return nil
}

func (r rehearseCmd) transcript() (rehearsal.Transcript, error) {
	if r.File == "" {
		return rehearsal.BuiltIn(), nil
	}
	text, err := os.ReadFile(r.File)
	if err != nil {
		return rehearsal.Transcript{}, fmt.Errorf("read the transcript: %w", err)
	}
	return rehearsal.Parse(r.File, string(text))
}
