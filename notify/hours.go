package notify

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Hours is when a catcher wants to be asked: a subset of OpenStreetMap's opening_hours
// (wiki.openstreetmap.org/wiki/Key:opening_hours/specification). The zero value is always
// open. Times are those of the wall clock in the zone of the time that is asked about.
type Hours struct {
	limited bool      // false = always open
	week    [7][]span // by time.Weekday
}

// span is one open stretch in minutes after the midnight it starts from; to may lie beyond
// 1440 and reach into the next day.
type span struct{ from, to int }

const day = 24 * 60

var weekdays = []string{"su", "mo", "tu", "we", "th", "fr", "sa"}

// ParseHours reads texts like "Mo-Fr 17:00-21:00; Sa,Su 08:00-20:00", "22:00-02:00",
// "Sa-Su", "24/7" and "24/7; We off". Rules are separated by semicolons; a later rule
// replaces what earlier ones said of its days. An empty text is always open; one that is
// never open is refused, because "never" is what OUT is for.
func ParseHours(text string) (Hours, error) {
	var h Hours
	if strings.TrimSpace(text) == "" {
		return h, nil
	}
	for rule := range strings.SplitSeq(text, ";") {
		if strings.TrimSpace(rule) == "" {
			continue
		}
		days, spans, err := parseRule(strings.ToLower(strings.ReplaceAll(rule, "–", "-")))
		if err != nil {
			return Hours{}, err
		}
		h.limited = true
		for _, d := range days {
			h.week[d] = spans
		}
	}
	if h.limited && !slices.ContainsFunc(h.week[:], func(s []span) bool { return len(s) > 0 }) {
		return Hours{}, fmt.Errorf("hours %q are never open", text)
	}
	return h, nil
}

// read holds texts that were parsed before: every look at the roster reads them all.
var read sync.Map

type parsedHours struct {
	hours Hours
	err   error
}

// hoursOf is ParseHours for texts of the roster: few, and the same ones again and again.
func hoursOf(text string) (Hours, error) {
	if known, ok := read.Load(text); ok {
		p := known.(parsedHours)
		return p.hours, p.err
	}
	h, err := ParseHours(text)
	read.Store(text, parsedHours{h, err})
	return h, err
}

func parseRule(rule string) (days []int, spans []span, err error) {
	words := strings.Fields(rule)
	if words[0] == "24/7" && len(words) == 1 {
		return everyDay(), []span{{0, day}}, nil
	}
	days = everyDay()
	if words[0][0] >= 'a' && words[0] != "off" && words[0] != "closed" {
		if days, err = parseDays(words[0]); err != nil {
			return nil, nil, err
		}
		words = words[1:]
	}
	times := strings.Join(words, "")
	switch times {
	case "":
		return days, []span{{0, day}}, nil
	case "off", "closed":
		return days, nil, nil
	}
	for part := range strings.SplitSeq(times, ",") {
		s, err := parseSpan(part)
		if err != nil {
			return nil, nil, err
		}
		spans = append(spans, s)
	}
	return days, spans, nil
}

func everyDay() []int { return []int{0, 1, 2, 3, 4, 5, 6} }

// parseDays reads "mo", "mo-fr", "sa-mo" and lists of them: "mo-we,fr".
func parseDays(text string) (days []int, err error) {
	for part := range strings.SplitSeq(text, ",") {
		from, to, found := strings.Cut(part, "-")
		if !found {
			to = from
		}
		first, last := slices.Index(weekdays, from), slices.Index(weekdays, to)
		if first < 0 || last < 0 {
			return nil, fmt.Errorf("%q are not days; write Mo Tu We Th Fr Sa Su, Mo-Fr or Sa,Su", part)
		}
		for d := first; ; d = (d + 1) % 7 {
			days = append(days, d)
			if d == last {
				break
			}
		}
	}
	return days, nil
}

// parseSpan reads "17:00-21:00". An end at or before the start is on the next day.
func parseSpan(text string) (span, error) {
	start, end, _ := strings.Cut(text, "-")
	from, ok1 := parseClock(start)
	to, ok2 := parseClock(end)
	if !ok1 || !ok2 || from >= day {
		return span{}, fmt.Errorf("%q is not a stretch of time; write it like 17:00-21:00", text)
	}
	if to <= from {
		to += day
	}
	return span{from, to}, nil
}

// parseClock reads 0:00 to 24:00 as minutes.
func parseClock(text string) (minutes int, ok bool) {
	hour, minute, found := strings.Cut(text, ":")
	h, err1 := strconv.ParseUint(hour, 10, 8)
	m, err2 := strconv.ParseUint(minute, 10, 8)
	minutes = int(h)*60 + int(m)
	return minutes, found && err1 == nil && err2 == nil && len(minute) == 2 && m < 60 && minutes <= day
}

// Open reports whether h is open at t, by the clock of t's zone.
func (h Hours) Open(t time.Time) bool {
	if !h.limited {
		return true
	}
	minute := int(clockOf(t))
	within := func(d time.Weekday, minute int) bool {
		return slices.ContainsFunc(h.week[d], func(s span) bool { return s.from <= minute && minute < s.to })
	}
	yesterday := (t.Weekday() + 6) % 7
	return within(t.Weekday(), minute) || within(yesterday, minute+day)
}

// NextOpen returns t when h is open then, else the next moment at which it opens. On the
// night the clocks change it may name a moment up to an hour late.
func (h Hours) NextOpen(t time.Time) time.Time {
	if h.Open(t) {
		return t
	}
	for later := range 9 { // a week, and a day for each end of it
		var next time.Time
		date := TimeOfDay(0).on(t, later)
		for _, s := range h.week[date.Weekday()] {
			at := TimeOfDay(s.from).on(date, 0)
			if !h.Open(at) { // the hour that the clocks skip
				at = at.Add(time.Hour)
			}
			if at.After(t) && h.Open(at) && (next.IsZero() || at.Before(next)) {
				next = at
			}
		}
		if !next.IsZero() {
			return next
		}
	}
	return t
}
