package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"skepline/bot"
	"skepline/intake"
)

type placesCmd struct {
	Import placesImport `cmd:"" help:"Keep the places of GeoNames files, instead of those before."`
	Find   placesFind   `cmd:"" help:"Show what a place in words would be found as."`
}

type placesImport struct {
	Files []string `arg:"" name:"file" help:"Files in GeoNames' place or postal code format (download.geonames.org/export), unpacked."`
}

// Run keeps what lies in and around the area served.
func (p placesImport) Run(ctx context.Context, t *terminal, c *commands) error {
	return t.atOffice(ctx, c, func(o *office) error {
		center := intake.Place{Lat: o.settings.Latitude, Lon: o.settings.Longitude}
		var rows []byte
		kept := 0
		for _, name := range p.Files {
			file, err := os.Open(name)
			if err != nil {
				return fmt.Errorf("read the places: %w", err)
			}
			g, err := intake.ReadGazetteer(file, center, o.settings.KeepWithin())
			if err := errors.Join(err, file.Close()); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			rows, kept = append(rows, g.Rows()...), kept+g.Len()
		}
		if kept > intake.MostPlaces {
			return fmt.Errorf("%d places are too many; %d can be kept", kept, intake.MostPlaces)
		}
		if err := o.hotline.Store.SetGazetteer(ctx, rows); err != nil {
			return err
		}
		o.print("Places kept: %d, all within %.0f km.", kept, o.settings.KeepWithin())
		return nil
	})
}

type placesFind struct {
	Words []string `arg:"" help:"The place as a caller might say it."`
}

// Run prints the candidates with point and precision.
func (p placesFind) Run(ctx context.Context, t *terminal, c *commands) error {
	return t.atOffice(ctx, c, func(o *office) error {
		g, err := o.hotline.Store.Gazetteer(ctx)
		if err != nil {
			return err
		}
		if g == nil {
			g = bot.BuiltInPlaces(o.settings)
		}
		setting := intake.Setting{Center: intake.Place{Lat: o.settings.Latitude, Lon: o.settings.Longitude}, RadiusKm: o.settings.RadiusKm}
		found := g.Find(strings.Join(p.Words, " "), setting)
		for _, s := range found {
			where := ""
			if setting.Outside(s.Place) {
				where = ", outside the area served"
			}
			o.print("%s: %.5f,%.5f within %.0f m%s", s.Name, s.Place.Lat, s.Place.Lon, s.Place.PrecisionM, where)
		}
		if len(found) == 0 {
			o.print("Not among the %d places known: it stays as the words are.", g.Len())
		}
		return nil
	})
}
