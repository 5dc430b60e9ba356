package notify

import (
	"fmt"
	"time"
)

// TimeOfDay is a time on the wall clock in minutes after midnight, 0 to 1439. In settings
// it is written "21:00".
type TimeOfDay int

// UnmarshalText reads "21:00".
func (t *TimeOfDay) UnmarshalText(text []byte) error {
	clock, err := time.Parse("15:04", string(text))
	if err != nil {
		return fmt.Errorf("%q is not a time of day; write it like 21:00", text)
	}
	*t = TimeOfDay(clock.Hour()*60 + clock.Minute())
	return nil
}

// MarshalText writes "21:00".
func (t TimeOfDay) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// String returns "21:00".
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// Next returns the first moment after now at which the clock of now's zone shows t.
func (t TimeOfDay) Next(now time.Time) time.Time {
	at := t.on(now, 0)
	if !at.After(now) {
		at = t.on(now, 1)
	}
	return at
}

func (t TimeOfDay) on(day time.Time, later int) time.Time {
	y, m, d := day.Date()
	return time.Date(y, m, d+later, 0, int(t), 0, 0, day.Location())
}

// Quiet reports whether the clock of now's zone stands between from (at or after) and to
// (before). from may be later than to: then the quiet time spans midnight. When they are
// equal it is never quiet.
func Quiet(now time.Time, from, to TimeOfDay) bool {
	t := clockOf(now)
	if from <= to {
		return from <= t && t < to
	}
	return t >= from || t < to
}

func clockOf(t time.Time) TimeOfDay { return TimeOfDay(t.Hour()*60 + t.Minute()) }
