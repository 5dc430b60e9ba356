package notify

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// 2026-05-11 is a Monday.
func monday(zone *time.Location, days, hour, minute int) time.Time {
	return time.Date(2026, 5, 11+days, hour, minute, 0, 0, zone)
}

func TestHoursOpen(t *testing.T) {
	zone := newYork(t)
	const mo, tu, we, fr, sa, su = 0, 1, 2, 4, 5, 6
	for _, test := range []struct {
		hours        string
		day          int
		hour, minute int
		want         bool
		why          string
	}{
		{"", mo, 3, 0, true, "nothing said is always"},
		{"24/7", su, 3, 0, true, "always"},
		{"Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00", mo, 16, 59, false, "before work is over"},
		{"Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00", mo, 17, 0, true, "the first minute counts"},
		{"Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00", mo, 21, 0, false, "the end does not"},
		{"Mo-Fr 17:00-21:00; Sa-Su 08:00-20:00", su, 8, 0, true, "weekend"},
		{"Fr 22:00-02:00", fr, 23, 0, true, "before midnight"},
		{"Fr 22:00-02:00", sa, 1, 59, true, "after midnight it is still Friday's stretch"},
		{"Fr 22:00-02:00", sa, 22, 0, false, "but Saturday has none"},
		{"Su 22:00-02:00", mo, 1, 0, true, "Sunday's night reaches into Monday"},
		{"10:00-12:00,14:00-16:00", we, 13, 0, false, "between two stretches"},
		{"10:00-12:00, 14:00-16:00", we, 15, 0, true, "a space after the comma"},
		{"Sa-Mo", su, 12, 0, true, "days wrap around the week, whole days"},
		{"Sa-Mo", tu, 12, 0, false, "and end"},
		{"mo,we 9:00-10:00", we, 9, 30, true, "lists, small letters, one digit"},
		{"Mo-Fr 08:00-20:00; We off", we, 12, 0, false, "a later rule replaces its day"},
		{"24/7; We off", tu, 12, 0, true, "the others stay"},
		{"Mo-Fr 08:00-20:00; Fr 12:00-13:00", fr, 9, 0, false, "replaced, not added"},
		{"00:00-24:00", su, 23, 59, true, "to the end of the day"},
		{"Mo–Fr 09:00–10:00;", mo, 9, 0, true, "typographic dashes, a last semicolon"},
	} {
		h, err := ParseHours(test.hours)
		if err != nil {
			t.Errorf("%q: %v", test.hours, err)
			continue
		}
		at := monday(zone, test.day, test.hour, test.minute)
		if got := h.Open(at); got != test.want {
			t.Errorf("%q at %s: %v, want %v (%s)", test.hours, at.Format("Mon 15:04"), got, test.want, test.why)
		}
	}
}

func TestParseHoursRefuses(t *testing.T) {
	for _, test := range []struct{ hours, says, why string }{
		{"evenings", "not days", "words"},
		{"Mo-Xx 10:00-12:00", "not days", "no such day"},
		{"Mo 5pm-9pm", "not a stretch", "the 12-hour clock"},
		{"Mo 17:00", "not a stretch", "no end"},
		{"Mo 17:00-25:00", "not a stretch", "no such hour"},
		{"Mo 24:00-02:00", "not a stretch", "24:00 is an end only"},
		{"Mo 10:0-12:00", "not a stretch", "minutes have two digits"},
		{"Mo off", "never open", "never: that is what OUT is for"},
		{"24/7 Mo", "not a stretch", "24/7 stands alone"},
	} {
		if _, err := ParseHours(test.hours); err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%q (%s): %v, want it to say %q", test.hours, test.why, err, test.says)
		}
	}
}

// NextOpen names a moment that is open, and nothing before it is. May has no night on
// which the clocks change.
func TestNextOpenIsTheFirst(t *testing.T) {
	zone := newYork(t)
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.SampledFrom([]string{"Mo-Fr", "Sa-Su", "We", "Fr,Su", "Su-Tu"})
		hours := rapid.IntRange(0, 23)
		text := fmt.Sprintf("%s %02d:30-%02d:15; %s %02d:00-%02d:00",
			days.Draw(t, "days"), hours.Draw(t, "from"), hours.Draw(t, "to"),
			days.Draw(t, "more days"), hours.Draw(t, "more from"), hours.Draw(t, "more to"))
		h, err := ParseHours(text)
		if err != nil {
			t.Fatal(err)
		}
		now := monday(zone, 0, 0, rapid.IntRange(0, 7*24*60).Draw(t, "minute"))
		next := h.NextOpen(now)
		if next.Before(now) || !h.Open(next) {
			t.Fatalf("%q at %v: opens at %v", text, now, next)
		}
		for at := now; at.Before(next); at = at.Add(5 * time.Minute) {
			if h.Open(at) {
				t.Fatalf("%q at %v: opens at %v, but was open at %v", text, now, next, at)
			}
		}
	})
}

// On the night the clocks go forward 02:30 does not exist.
func TestNextOpenInTheSkippedHour(t *testing.T) {
	zone := newYork(t)
	h, err := ParseHours("02:30-04:00")
	if err != nil {
		t.Fatal(err)
	}
	next := h.NextOpen(time.Date(2026, 3, 8, 0, 0, 0, 0, zone))
	if !h.Open(next) || next.Day() != 8 {
		t.Errorf("opens at %v, want some moment of that night", next)
	}
}
