package intake

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// time units in hours.
var spans = []struct {
	set   string
	hours float64
}{{"unit_min", 1.0 / 60}, {"unit_h", 1}, {"unit_day", 24}, {"unit_week", 168}, {"unit_month", 730}, {"unit_year", 8760}}

// ages reads how long ago: "20 minutes", "since yesterday" is a phrase's affair.
func (l *listener) ages() []said {
	var out []said
	for i := 0; i < len(l.words); i++ {
		h, to, ok := l.duration(i)
		if !ok {
			continue
		}
		q, _ := l.quantity(i)
		if l.pastDuration(i, to) && !l.whenStung(i) && !(q.to > 0 && q.value <= childUntil && l.yearsOld(q)) {
			out = append(out, said{field: "age_h", value: formatNumber(math.Min(h, 24*366)), weight: 5, from: i, to: to})
		}
		i = to - 1
	}
	if t := l.clock(); t.field != "" {
		out = append(out, t)
	}
	return out
}

// duration reads a number with a unit of time at i, in hours.
func (l *listener) duration(i int) (float64, int, bool) {
	v, n := 1.0, i
	switch q, ok := l.quantity(i); {
	case ok:
		v, n = q.value, q.to
	case l.is(i, "half"):
		v, n = 0.5, i+1
		if l.is(n, "unit_one") {
			n++
		}
	case l.is(i, "unit_one"):
		n = i + 1
		if half := l.is(n, "half"); half {
			v, n = 0.5, n+1
		}
	case l.is(i, "unit_h") && i+2 < len(l.words) && l.words[i+1].text == "y" && l.is(i+2, "and_half"): // "hora y media"
		return 1.5, i + 3, true
	default:
		return 0, i, false
	}
	if n+2 < len(l.words) && (l.words[n].text == "and" || l.words[n].text == "y") { // "one and a half hours"
		j := n + 1
		if l.is(j, "unit_one") {
			j++
		}
		if l.is(j, "half") {
			v, n = v+0.5, j+1
		}
	}
	if l.is(n, "counting") && l.is(n+1, "counting") { // "10 or so minutes"
		n += 2
	}
	if l.mark(n, "-") {
		n++
	}
	for _, u := range spans {
		if l.is(n, u.set) && !(u.set == "unit_year" && l.is(n+1, "not_age")) {
			h, to, _ := l.andHalf(v*u.hours, u.hours, n+1)
			return h, to, true
		}
	}
	return 0, i, false
}

// pastDuration leaves out what lies ahead or far away: "in 20 minutes", "10 minutes away",
// "my 6 year old".
func (l *listener) pastDuration(from, to int) bool {
	if l.is(from-1, "future") || l.is(to, "not_age") {
		return false
	}
	return !(from > 0 && (l.words[from-1].text == "tiene" || l.words[from-1].text == "every" || l.words[from-1].text == "cada"))
}

// whenStung reports whether a time that begins at i belongs to a sting: "I got stung this
// morning" does not tell how long the bees have been there.
func (l *listener) whenStung(i int) bool {
	for _, m := range l.matches {
		if m.rule.topic != "stung" || m.rule.value != "someone" || m.rule.asked != "" || m.to > i || i-m.to > 3 {
			continue
		}
		clause := l.words[m.to:i]
		if !slices.ContainsFunc(clause, func(t token) bool { return t.kind == anEnd || t.kind == aPause || t.in("but") }) {
			return true
		}
	}
	return false
}

// hours is the age that a statement tells, from a number or from "since:<when>".
func (l *listener) hours(f said) (*float64, string) {
	v, err := strconv.ParseFloat(f.value, 64)
	if err != nil {
		v = hoursSince(strings.TrimPrefix(f.value, "since:"), l.setting.At)
	}
	v = math.Max(0, math.Min(24*366, math.Round(v*100)/100))
	return &v, formatNumber(v)
}

// hoursSince is the time from a named moment to now. What clock time a word stands for is
// judgement: morning 8, noon 12, evening 18, "yesterday" about midday.
func hoursSince(when string, now time.Time) float64 {
	clock := float64(now.Hour()) + float64(now.Minute())/60
	today := func(hour float64) float64 { return math.Max(0.5, clock-hour) }
	switch when {
	case "now":
		return 0.25
	case "morning", "day":
		return today(8)
	case "noon":
		return today(12)
	case "afternoon":
		return today(13)
	case "evening":
		return today(18)
	case "last_night":
		return clock + 3
	case "yesterday":
		return clock + 12
	case "yesterday_morning":
		return clock + 15
	case "yesterday_afternoon":
		return clock + 9
	case "yesterday_evening":
		return clock + 5
	}
	if m, err := strconv.Atoi(strings.TrimPrefix(when, "month")); err == nil {
		return sinceMonth(time.Month(m), now)
	}
	if m, ok := lastSeasons[when]; ok {
		return sinceMonth(m, now.AddDate(0, -3, 0)) + now.Sub(now.AddDate(0, -3, 0)).Hours()
	}
	when, last := strings.CutPrefix(when, "last_")
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.EqualFold(d.String(), when) {
			back := (int(now.Weekday()) - int(d) + 7) % 7
			if back == 0 && last {
				back = 7 // "last Tuesday" on a Tuesday
			}
			if back == 0 {
				return today(8) // the weekday of today: this morning rather than a week ago
			}
			return clock + 24*float64(back) - 12
		}
	}
	return 24
}

// lastSeasons are the middles of the seasons of the northern half of the world; the last one
// is over, so that "last spring" in May is a year ago.
var lastSeasons = map[string]time.Month{"last_spring": time.April, "last_summer": time.July, "last_fall": time.October, "last_winter": time.January}

// sinceMonth counts from the middle of the last such month, of this one from its first.
func sinceMonth(m time.Month, now time.Time) float64 {
	day, year := 15, now.Year()
	if m == now.Month() {
		day = 1
	}
	if m > now.Month() {
		year--
	}
	return now.Sub(time.Date(year, m, day, 12, 0, 0, 0, now.Location())).Hours()
}
