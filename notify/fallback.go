package notify

import (
	"time"

	"skepline/intake"
	"skepline/triage"
)

// FallbackHold is how long a yes that starts late is kept as the fallback while others are
// asked.
const FallbackHold = 20 * time.Minute

// startsLate is from when on a start is late.
const startsLate = 55 * time.Minute

// StartsLate reports whether a yes given at now that sets out at starts is too late to end
// the search: an hour or more, and bees may fly meanwhile. In the evening there is no hurry.
func StartsLate(place intake.Place, now, starts time.Time) bool {
	if starts.Sub(now) < startsLate {
		return false
	}
	return triage.ScoutingHours(now, starts, place.Lat, place.Lon) > startsLate.Hours()/2
}
