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
		if l.pastDuration(i, to) && !l.whenStung(i) {
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

// clock reads "since 2 pm", "desde las 10:30".
func (l *listener) clock() said {
	if l.setting.Waiting == AskAge {
		if h, _, certain, ok := l.hourOfDay(l.firstHour()); ok && certain {
			return l.sinceHour(h, 0, len(l.words))
		}
	}
	for i := 0; i+1 < len(l.words); i++ {
		switch l.words[i].text {
		case "since", "desde":
		case "quarter", "half", "cuarto":
			if hour, to, _, ok := l.quarters(i); ok {
				return l.sinceHour(hour, i, to)
			}
			continue
		case "at", "around", "about", "a", "como":
			if l.setting.Waiting != AskAge && !l.afterComing(i) {
				continue // "kids get out at 3"
			}
		default:
			continue
		}
		n := i + 1
		if l.words[n].text == "las" || l.words[n].text == "la" || l.words[n].text == "about" || l.words[n].text == "around" {
			n++
		}
		hour, to, certain, ok := l.hourOfDay(n)
		if !ok || !certain && !l.afterComing(i) && !(l.setting.Waiting == AskAge && l.clauseEnds(to)) {
			continue
		}
		return l.sinceHour(hour, i, to)
	}
	return said{}
}

// sinceHour is the age since the last time that the clock showed hour.
func (l *listener) sinceHour(hour float64, from, to int) said {
	at := l.setting.At
	age := float64(at.Hour()) + float64(at.Minute())/60 - hour
	if age < 0 {
		age += 24
	}
	return said{field: "age_h", value: formatNumber(age), weight: 6, from: from, to: to}
}

// firstHour is the first token that may be an hour.
func (l *listener) firstHour() int {
	return slices.IndexFunc(l.words, func(t token) bool { return t.kind == aNumber })
}

// atHour makes a day more exact by the hour or the part of the day that follows: "yesterday
// around 4", "Monday night", "anoche como a las 9".
func (l *listener) atHour(f *said) {
	day := strings.TrimPrefix(f.value, "since:")
	part := 0.0
	switch {
	case day == "yesterday" || day == "last_night" || dayNamed(day):
	case strings.HasPrefix(day, "yesterday_"):
		day = "yesterday"
	default:
		return
	}
	for i := f.to; i < len(l.words) && i < f.to+6; i++ {
		if hour, to, certain, ok := l.hourOfDay(i); ok {
			if !certain && (hour < 7 || day == "last_night") && hour <= 12 {
				hour = math.Mod(hour, 12) + 12
			}
			f.value, f.weight, f.to = formatNumber(sinceDay(day, hour, l.setting.At)), f.weight+2, to
			return
		}
		switch {
		case l.is(i, "nights"):
			part = 21
		case l.is(i, "mornings"):
			part = 8
		case l.is(i, "evenings"):
			part = 17
		case !l.is(i, "at_time") && !l.is(i, "articles"):
			i = len(l.words)
		}
	}
	if part > 0 && dayNamed(day) {
		f.value, f.weight = formatNumber(sinceDay(day, part, l.setting.At)), f.weight+2
	}
}

func dayNamed(day string) bool {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.EqualFold(d.String(), strings.TrimPrefix(day, "last_")) {
			return true
		}
	}
	return false
}

// sinceDay is the time from an hour of a named day to now.
func sinceDay(day string, hour float64, now time.Time) float64 {
	clock := float64(now.Hour()) + float64(now.Minute())/60
	back := math.Round((hoursSince(day, now) - clock + 12) / 24)
	if dayNamed(day) && int(now.Weekday()) == int(weekday(strings.TrimPrefix(day, "last_"))) && !strings.HasPrefix(day, "last_") {
		back = 0
	}
	if day == "yesterday" || day == "last_night" {
		back = 1
	}
	return math.Max(0.5, clock+24*back-hour)
}

func weekday(name string) time.Weekday {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.EqualFold(d.String(), name) {
			return d
		}
	}
	return time.Sunday
}

// afterComing reports whether a bare hour behind token i is one since when: "since 9",
// "came in around 11", "llegaron a las 10".
func (l *listener) afterComing(i int) bool {
	for j := i; j >= 0 && j >= i-3; j-- {
		if l.words[j].kind == anEnd {
			return false
		}
		if l.is(j, "coming") {
			return true
		}
	}
	return false
}

// hourOfDay reads a clock time at n; certain when it has minutes or am or pm. Without them
// the last such hour before now is meant.
func (l *listener) hourOfDay(n int) (hour float64, to int, certain, ok bool) {
	if l.is(n, "quarters") { // "quarter to ten", "half past 8"
		return l.quarters(n)
	}
	if n < 0 || n >= len(l.words) || l.words[n].kind != aNumber || l.words[n].number > 23 || l.words[n].decimals > 0 {
		return 0, n, false, false
	}
	hour, to = l.words[n].number, n+1
	if l.mark(to, ":") && to+1 < len(l.words) && l.words[to+1].kind == aNumber && l.words[to+1].number < 60 {
		hour, to, certain = hour+l.words[to+1].number/60, to+2, true
	}
	if to < len(l.words) {
		switch l.words[to].text {
		case "ish":
			to, certain = to+1, true
		case "am", "a":
			return math.Mod(hour, 12), to + 1, true, true
		case "pm", "p":
			return math.Mod(hour, 12) + 12, to + 1, true, true
		case "of":
			return 0, n, false, false
		}
		if half, after := l.partOfDay(to); half != "" {
			hour = math.Mod(hour, 12)
			if half == "pm" {
				hour += 12
			}
			return hour, after, true, true
		}
		for _, unit := range []string{"unit_min", "unit_h", "unit_day", "unit_week", "unit_ft", "unit_m", "bees", "wasps"} {
			if l.is(to, unit) {
				return 0, n, false, false // "started about 15 mins ago"
			}
		}
	}
	if now := float64(l.setting.At.Hour()); hour < 12 && hour+12 <= now {
		hour += 12
	}
	return hour, to, certain, true
}

// quarters reads "quarter to ten", "half past eight", at n.
func (l *listener) quarters(n int) (hour float64, to int, certain, ok bool) {
	minutes := 0.25
	if l.is(n, "half") {
		minutes = 0.5
	}
	switch l.word(n + 1) {
	case "to", "til", "till", "of":
		minutes = -minutes
	case "past", "after":
	default:
		return 0, n, false, false
	}
	v, to, ok := l.number(n + 2)
	if !ok || v < 1 || v > 12 {
		return 0, n, false, false
	}
	if half, after := l.partOfDay(to); half != "" {
		to = after
		if half == "pm" && v < 12 {
			v += 12
		}
	}
	return v + minutes, to, true, true
}

// partOfDay reads "in the morning", "de la tarde" at i: which half of the day, and the token
// behind it.
func (l *listener) partOfDay(i int) (half string, after int) {
	if l.word(i) != "in" && l.word(i) != "de" && l.word(i) != "this" && l.word(i) != "esta" {
		return "", i
	}
	for i++; l.is(i, "articles"); i++ {
	}
	switch {
	case l.is(i, "mornings"):
		return "am", i + 1
	case l.is(i, "evenings"):
		return "pm", i + 1
	}
	return "", i
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
