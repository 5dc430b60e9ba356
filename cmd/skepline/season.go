package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"

	"skepline/bot"
	"skepline/notify"
)

type seasonCmd struct {
	Seeds       int     `default:"20" help:"How many seasons are played."`
	From        uint64  `default:"1" help:"Seed of the first."`
	JSON        bool    `name:"json" help:"Print the means as JSON."`
	Pace        string  `help:"gentle, normal or fast. Without it as the hotline's settings say." enum:",gentle,normal,fast" default:""`
	Roster      string  `placeholder:"FILE" help:"Play with the people of this roster (CSV, as 'roster import' reads it), in the area of the hotline's settings."`
	Catchers    int     `default:"40" help:"How many catchers are drawn, without a roster."`
	More        int     `help:"What if there were so many more catchers?"`
	Away        bool    `help:"What if everybody told the hotline when they are away?"`
	Declared    float64 `default:"0" help:"Share of absences that catchers tell the hotline of (OUT)."`
	Reports     int     `default:"300" help:"How many reports a season brings."`
	StayHours   float64 `default:"10" help:"How long swarms stay after the report, on average, in hours in which bees can fly."`
	Tiring      float64 `default:"0.03" help:"How much each fruitless ask a week, beyond two, takes from the chance of a yes."`
	Plot        string  `placeholder:"FILE" help:"Draw caught against asks, all paces, as .png or .svg."`
	Sensitivity bool    `help:"Change one assumption at a time instead, and print a line for each."`
}

// Run plays seasons of the hotline's own dispatch against what a club would do without it.
func (s seasonCmd) Run(ctx context.Context, t *terminal, c *commands) error {
	settings, err := t.settings(c.Hotline)
	if err != nil {
		return err
	}
	d := settings.AsksAround()
	if s.Pace != "" {
		d.Pace = notify.Pace(s.Pace)
	}
	now, err := s.world(settings)
	if err != nil {
		return err
	}
	w := s.whatIf(now)
	if s.Sensitivity {
		return s.sensitivity(ctx, t, w, d)
	}
	compared, err := s.compare(ctx, t, w, d, notify.SeasonPolicies)
	if err != nil {
		return err
	}
	if s.Plot != "" {
		if err := s.plot(ctx, t, w, d, compared); err != nil {
			return err
		}
	}
	if s.JSON {
		return printSeasonJSON(t, compared)
	}
	if err := printSeasonTable(t, w, compared); err != nil || s.More == 0 && !s.Away {
		return err
	}
	before, err := s.compare(ctx, t, now, d, []string{"skepline"})
	if err != nil {
		return err
	}
	return printWhatIf(t, before, compared)
}

// world is the club as it is.
func (s seasonCmd) world(settings *bot.Settings) (notify.World, error) {
	w := notify.DefaultWorld()
	w.Catchers, w.Reports, w.StayHours, w.Tiring, w.Declared = s.Catchers, s.Reports, s.StayHours, s.Tiring, s.Declared
	if err := s.check(w); err != nil || s.Roster == "" {
		return w, err
	}
	file, err := os.Open(s.Roster)
	if err != nil {
		return w, fmt.Errorf("open roster: %w", err)
	}
	defer func() { _ = file.Close() }()
	roster, err := notify.ReadRoster(file)
	if err != nil {
		return w, fmt.Errorf("%s: %w", s.Roster, err)
	}
	if len(roster) == 0 {
		return w, fmt.Errorf("%s: nobody is on the roster", s.Roster)
	}
	return w.ForClub(notify.OwnClub{Roster: roster, Lat: settings.Latitude, Lon: settings.Longitude}, settings.RadiusKm), nil
}

// whatIf is the club as it would be.
func (s seasonCmd) whatIf(w notify.World) notify.World {
	w.Catchers += s.More
	if s.Away {
		w.Declared = 1
	}
	return w
}

func (s seasonCmd) check(w notify.World) error {
	if ending := filepath.Ext(s.Plot); s.Plot != "" && ending != ".png" && ending != ".svg" {
		return fmt.Errorf("--plot %s: the file must end in .png or .svg", s.Plot)
	}
	for _, bound := range []struct {
		what      string
		value     float64
		low, high float64
	}{
		{"--seeds", float64(s.Seeds), 1, 100000}, {"--catchers", float64(w.Catchers), 1, 1000}, {"--reports", float64(w.Reports), 1, 100000},
		{"--stay-hours", w.StayHours, 0.1, 1000}, {"--tiring", w.Tiring, 0, 1}, {"--declared", w.Declared, 0, 1},
		{"--more", float64(s.More), 0, 1000},
	} {
		if !(bound.value >= bound.low && bound.value <= bound.high) {
			return fmt.Errorf("%s cannot be %g; allowed is %g to %g", bound.what, bound.value, bound.low, bound.high)
		}
	}
	return nil
}

// compare plays the seasons and shows how far it is, when a person watches.
func (s seasonCmd) compare(ctx context.Context, t *terminal, w notify.World, d notify.Dispatch, policies []string) (*notify.Comparison, error) {
	file, _ := t.errs.(*os.File)
	watched := false
	if file != nil {
		if info, err := file.Stat(); err == nil {
			watched = info.Mode()&os.ModeCharDevice != 0
		}
	}
	var done atomic.Int64
	all := int64(s.Seeds * len(policies))
	step := func() {
		if n := done.Add(1); watched && (n == all || n%max(1, all/100) == 0) {
			_, _ = fmt.Fprintf(file, "\r%3d %% of %d seasons", 100*n/all, all)
		}
	}
	c, err := notify.CompareSeasons(ctx, w, d, policies, s.From, s.Seeds, step)
	if watched {
		_, _ = fmt.Fprint(file, "\r                              \r")
	}
	return c, err
}
