package triage

import (
	"time"

	"pgregory.net/rapid"

	"skepline/intake"
)

// anyAnswers draws answers that Validate accepts, each field often not told.
func anyAnswers() *rapid.Generator[intake.Answers] {
	one := func(values []string) *rapid.Generator[string] {
		return rapid.OneOf(rapid.Just(""), rapid.SampledFrom(values))
	}
	number := func(t *rapid.T, name string, low, high float64) *float64 {
		if rapid.Bool().Draw(t, name+" told") {
			v := rapid.Float64Range(low, high).Draw(t, name)
			return &v
		}
		return nil
	}
	return rapid.Custom(func(t *rapid.T) intake.Answers {
		a := intake.Answers{
			Body:     one(intake.BodyValues).Draw(t, "body"),
			Shape:    one(intake.ShapeValues).Draw(t, "shape"),
			Surface:  one(intake.SurfaceValues).Draw(t, "surface"),
			Crowd:    one(intake.CrowdValues).Draw(t, "crowd"),
			Entry:    one(intake.EntryValues).Draw(t, "entry"),
			Stung:    one(intake.StungValues).Draw(t, "stung"),
			Allergic: one(intake.YesNoValues).Draw(t, "allergic"),
			Owner:    one(intake.YesNoValues).Draw(t, "owner"),
			HeightM:  number(t, "height", 0, 100),
			AgeH:     number(t, "age", 0, 24*366),
			Latitude: number(t, "latitude", -90, 90),
			Month:    rapid.IntRange(0, 12).Draw(t, "month"),
			Hazards:  rapid.SliceOfDistinct(rapid.SampledFrom(intake.HazardValues), rapid.ID[string]).Draw(t, "hazards"),
		}
		if rapid.Bool().Draw(t, "stings told") {
			n := rapid.IntRange(0, 100000).Draw(t, "stings")
			a.Stings = &n
		}
		if rapid.Bool().Draw(t, "place told") {
			a.Place = &intake.Place{
				Lat: rapid.Float64Range(-90, 90).Draw(t, "lat"),
				Lon: rapid.Float64Range(-180, 180).Draw(t, "lon"),
			}
		}
		return a
	})
}

// anyScene draws a moment of 2000 to 2060 and a place on earth.
func anyScene() *rapid.Generator[Scene] {
	return rapid.Custom(func(t *rapid.T) Scene {
		zone := time.FixedZone("", 3600*rapid.IntRange(-11, 13).Draw(t, "zone"))
		return Scene{
			At:        time.Unix(rapid.Int64Range(946684800, 2840140800).Draw(t, "at"), 0).In(zone),
			Latitude:  rapid.Float64Range(-90, 90).Draw(t, "latitude"),
			Longitude: rapid.Float64Range(-180, 180).Draw(t, "longitude"),
		}
	})
}
