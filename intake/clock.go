package intake

import (
	"math"
	"slices"
	"strings"
	"time"
)

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
	if n >= 0 && n < len(l.words) && l.words[n].kind == aWord {
		return l.hourInWords(n)
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

// hourInWords reads "ten this morning", "las diez de la mañana" at n: an hour in words counts
// with its half of the day only.
func (l *listener) hourInWords(n int) (hour float64, to int, certain, ok bool) {
	hour, to, ok = l.number(n)
	if !ok || hour < 1 || hour > 12 || hour != math.Trunc(hour) {
		return 0, n, false, false
	}
	if l.word(to-1) == "de" {
		to-- // belongs to "de la mañana"
	}
	half, after := l.partOfDay(to)
	switch hour = math.Mod(hour, 12); {
	case half == "am", l.word(to) == "am":
	case half == "pm", l.word(to) == "pm":
		hour += 12
	default:
		return 0, n, false, false
	}
	return hour, max(after, to), true, true
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
