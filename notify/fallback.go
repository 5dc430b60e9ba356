package notify

import (
	"time"

	"skepline/intake"
	"skepline/triage"
)

// How long a yes that starts late is kept as the fallback at least and at most (judgement).
const (
	holdAtLeast = 20 * time.Minute
	holdAtMost  = 2 * time.Hour
)

// FallbackHold returns how long a yes given at now that sets out at starts is kept as the
// fallback while others are asked: a third of the time until then. Who can come in an hour
// knows in 20 minutes; the later somebody can come, the more is to be won by somebody sooner.
func FallbackHold(now, starts time.Time) time.Duration {
	return min(max(holdAtLeast, starts.Sub(now)/3), holdAtMost)
}

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
