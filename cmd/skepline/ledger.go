package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"skepline/bot"
	"skepline/bot/plots"
	"skepline/triage"
)

type ledgerCmd struct {
	From    string `help:"First day by which a call ended, such as 2026-01-01. Without it this year's first." placeholder:"DATE"`
	To      string `help:"Last day. Without it today." placeholder:"DATE"`
	CSV     string `help:"Write one line a call here; - is the terminal." placeholder:"FILE"`
	GeoJSON string `name:"geojson" help:"Write the places here, rounded to about a kilometre; - is the terminal." placeholder:"FILE"`
	Plots   string `help:"Write the season's plots into this folder." placeholder:"DIR"`
	Format  string `default:"png" enum:"png,svg" help:"Format of the plots: ${enum}."`
	Learn   string `help:"Write what callers said about bees that somebody then saw, for the key learned of the settings." placeholder:"FILE"`
}

// ledgerSink takes entries as they come.
type ledgerSink interface {
	Add(bot.Entry) error
	Close() error
}

// Run reads every call that ended in the time asked for, once, and hands it to whatever was
// asked for. The summary is printed unless an export goes to the terminal.
func (l ledgerCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	return t.atOffice(ctx, c, func(o *office) error {
		zone := o.settings.Zone()
		from, to, err := l.span(o.hotline.Clock.Now().In(zone))
		if err != nil {
			return err
		}
		ledger, ok := o.hotline.Store.(bot.ClosedCalls)
		if !ok {
			return errors.New("this store keeps no ledger")
		}
		summing, learned := bot.NewSumming(o.settings), triage.NewLearned()
		out, err := l.open(t, zone)
		if err != nil {
			return err
		}
		err = bot.EachEntry(ctx, ledger, from, to, t.progress(), func(e bot.Entry) error {
			summing.Add(e)
			if lesson, known := e.Lesson(); known {
				learned.Add(lesson)
			}
			for _, sink := range out {
				if err := sink.Add(e); err != nil {
					return err
				}
			}
			return nil
		})
		for _, sink := range out {
			err = errors.Join(err, sink.Close())
		}
		if err != nil {
			return fmt.Errorf("ledger: %w", err)
		}
		return l.report(t, o.settings, summing.Summary(), learned)
	})
}

// span reads --from and --to as local days.
func (l ledgerCmd) span(now time.Time) (from, to time.Time, err error) {
	day := func(flag, text string, otherwise time.Time) time.Time {
		if text == "" {
			return otherwise
		}
		at, wrong := time.ParseInLocation(time.DateOnly, text, now.Location())
		if wrong != nil {
			err = errors.Join(err, fmt.Errorf("%s %q is not a day; write one such as 2026-05-12", flag, text))
		}
		return at
	}
	from = day("--from", l.From, time.Date(now.Year(), 1, 1, 0, 0, 0, 0, now.Location()))
	to = day("--to", l.To, time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location()))
	return from, to.AddDate(0, 0, 1).Add(-time.Millisecond), err
}

// open begins the exports.
func (l ledgerCmd) open(t *terminal, zone *time.Location) ([]ledgerSink, error) {
	var all []ledgerSink
	for _, export := range []struct {
		path  string
		begin func(io.Writer) (ledgerSink, error)
	}{
		{l.CSV, func(w io.Writer) (ledgerSink, error) { return bot.NewLedgerCSV(w, zone) }},
		{l.GeoJSON, func(w io.Writer) (ledgerSink, error) { return bot.NewLedgerGeoJSON(w, zone) }},
	} {
		if export.path == "" {
			continue
		}
		file := io.WriteCloser(toTerminal{t.out})
		if export.path != "-" {
			created, err := os.Create(export.path)
			if err != nil {
				return nil, fmt.Errorf("write the ledger: %w", err)
			}
			file = created
		}
		sink, err := export.begin(file)
		if err != nil {
			return nil, errors.Join(err, file.Close())
		}
		all = append(all, closing{sink, file})
	}
	return all, nil
}

// closing is an export that closes its file too.
type closing struct {
	ledgerSink
	file io.Closer
}

// Close ends the export and its file.
func (c closing) Close() error { return errors.Join(c.ledgerSink.Close(), c.file.Close()) }

// toTerminal is written to and never closed.
type toTerminal struct{ io.Writer }

// Close does nothing.
func (toTerminal) Close() error { return nil }

// progress draws a bar on the terminal for what takes a while.
func (t *terminal) progress() func(read, all int) {
	const worthIt, wide = 500, 40
	return func(read, all int) {
		if all < worthIt {
			return
		}
		done := wide * read / all
		_, _ = fmt.Fprintf(t.errs, "\r[%-*s] %d of %d calls", wide, bar[:done], read, all)
		if read == all {
			_, _ = fmt.Fprintln(t.errs)
		}
	}
}

const bar = "########################################"

// report prints the summary, draws the plots and writes what was learned.
func (l ledgerCmd) report(t *terminal, settings *bot.Settings, s bot.Summary, learned *triage.Learned) error {
	if l.CSV != "-" && l.GeoJSON != "-" {
		if err := s.Write(t.out, settings.Zone()); err != nil {
			return err
		}
	}
	if l.Plots != "" {
		if err := l.draw(t, settings.Name, s); err != nil {
			return err
		}
	}
	if l.Learn == "" {
		return nil
	}
	if err := writeFile(l.Learn, learned.Write); err != nil {
		return fmt.Errorf("write what was learned: %w", err)
	}
	return learned.Describe(t.out)
}

func (l ledgerCmd) draw(t *terminal, title string, s bot.Summary) error {
	if err := os.MkdirAll(l.Plots, 0o755); err != nil {
		return fmt.Errorf("write the plots: %w", err)
	}
	drawings, err := plots.Season(title, s)
	if err != nil {
		return err
	}
	for _, d := range drawings {
		path := filepath.Join(l.Plots, d.Name+"."+l.Format)
		if err := writeFile(path, func(w io.Writer) error { return d.Write(w, l.Format) }); err != nil {
			return err
		}
		_, _ = fmt.Fprintln(t.errs, path)
	}
	return nil
}

func writeFile(path string, write func(io.Writer) error) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(file), file.Close())
}
