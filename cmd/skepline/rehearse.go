package main

import (
	"context"
	"fmt"
	"os"

	"skepline/bot"
	"skepline/bot/rehearsal"
)

type rehearseCmd struct {
	File      string `arg:"" optional:"" help:"A transcript. Without it the built-in scenario is played."`
	Phones    bool   `help:"Show the phones side by side in the browser, with the steward's desk."`
	PhonesOut string `help:"Write the phones into one HTML file that needs no server." placeholder:"FILE"`
	Listen    string `help:"Where the browser finds the phones." default:"127.0.0.1:0" placeholder:"HOST:PORT"`
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
	if r.Phones || r.PhonesOut != "" {
		return r.phones(ctx, t, settings, transcript)
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

// phones shows the rehearsal, or writes it down to be shown.
func (r rehearseCmd) phones(ctx context.Context, t *terminal, settings *bot.Settings, transcript rehearsal.Transcript) error {
	frames, err := record(ctx, settings, transcript)
	if err != nil {
		return err
	}
	if r.PhonesOut != "" {
		if err := writePhones(r.PhonesOut, settings, frames); err != nil {
			return err
		}
		_, _ = fmt.Fprintf(t.out, "%s holds %d steps; open it in a browser.\n", r.PhonesOut, len(frames)-1)
	}
	if !r.Phones {
		return nil
	}
	return showPhones(ctx, t, r.Listen, settings, transcript, frames)
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
