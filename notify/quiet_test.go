package notify

import (
	"testing"
	"time"
)

func newYork(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

func TestQuiet(t *testing.T) {
	const nine, seven, noon = 21 * 60, 7 * 60, 12 * 60
	for _, test := range []struct {
		clock    string
		from, to TimeOfDay
		want     bool
		why      string
	}{
		{"20:59", nine, seven, false, "the last minute of the evening"},
		{"21:00", nine, seven, true, "from the minute on"},
		{"00:00", nine, seven, true, "across midnight"},
		{"06:59", nine, seven, true, "the last minute of the night"},
		{"07:00", nine, seven, false, "the end is not quiet"},
		{"12:30", noon, nine, true, "within one day"},
		{"21:00", noon, nine, false, "within one day, at its end"},
		{"03:00", noon, noon, false, "equal ends: never quiet"},
	} {
		now, err := time.ParseInLocation("15:04", test.clock, newYork(t))
		if err != nil {
			t.Fatal(err)
		}
		if got := Quiet(now, test.from, test.to); got != test.want {
			t.Errorf("%s between %v and %v: %v, want %v (%s)", test.clock, test.from, test.to, got, test.want, test.why)
		}
	}
}

func TestTimeOfDayNext(t *testing.T) {
	zone := newYork(t)
	at := func(d, h, m int) time.Time { return time.Date(2026, 5, d, h, m, 0, 0, zone) }
	const seven = TimeOfDay(7 * 60)
	for _, test := range []struct{ now, want time.Time }{
		{at(12, 6, 59), at(12, 7, 0)},
		{at(12, 7, 0), at(13, 7, 0)},
		{at(12, 21, 0), at(13, 7, 0)},
		{at(31, 21, 0), at(32, 7, 0)},
	} {
		if got := seven.Next(test.now); !got.Equal(test.want) {
			t.Errorf("after %v: %v, want %v", test.now, got, test.want)
		}
	}
	// Clocks go forward on 8 March 2026: that night is an hour shorter.
	evening := time.Date(2026, 3, 7, 21, 0, 0, 0, zone)
	if got := seven.Next(evening).Sub(evening); got != 9*time.Hour {
		t.Errorf("the short night lasts %v, want 9h", got)
	}
}

func TestTimeOfDayText(t *testing.T) {
	var got TimeOfDay
	if err := got.UnmarshalText([]byte("21:05")); err != nil || got != 21*60+5 {
		t.Errorf("21:05 is %d, %v", got, err)
	}
	if text, _ := got.MarshalText(); string(text) != "21:05" {
		t.Errorf("written %q, want 21:05", text)
	}
	for _, bad := range []string{"", "9 pm", "24:00", "7", "07:60"} {
		if err := got.UnmarshalText([]byte(bad)); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
}
