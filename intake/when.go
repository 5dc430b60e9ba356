package intake

import (
	"slices"
	"strings"
	"time"
)

// remindAt is the hour for a day that was named without one: people are home and it is light.
const remindAt = 18

// ReadWhen reads a time to come: "tomorrow", "tomorrow 18:00", "6:30 pm", "sunday 9am",
// "2h", "in 3 days". A day alone means six in the evening; a clock time alone is today, or
// tomorrow when it has passed.
func ReadWhen(text string, s Setting) (time.Time, bool) {
	l := listen(text, s)
	for len(l.words) > 0 && (l.words[0].text == "at" || l.words[0].text == "on" || l.words[0].text == "in" || l.words[0].text == "en") {
		l.words = l.words[1:]
	}
	if len(l.words) == 0 {
		return time.Time{}, false
	}
	if hours, to, ok := l.duration(0); ok && hours > 0 && hours <= 90*24 && onlyPolite(l.words[to:]) {
		return s.At.Add(time.Duration(hours * float64(time.Hour))), true
	}
	day, rest := -1, l.words
	if until := untilDay(l.words[0].text, s.At); until > 0 {
		day, rest = dayOffset(s.At, s.At.Add(until)), l.words[1:]
	} else if l.is(0, "today") {
		day, rest = 0, l.words[1:]
	}
	if len(rest) > 0 && (rest[0].text == "at" || rest[0].text == "a") {
		rest = rest[1:]
	}
	hour, minute, to, ok := clockAt(rest)
	switch {
	case ok && onlyPolite(rest[to:]):
	case day >= 0 && onlyPolite(rest):
		hour, minute = remindAt, 0
	default:
		return time.Time{}, false
	}
	at := func(days int) time.Time {
		return time.Date(s.At.Year(), s.At.Month(), s.At.Day()+days, hour, minute, 0, 0, s.At.Location())
	}
	if day >= 0 {
		return at(day), at(day).After(s.At)
	}
	if t := at(0); t.After(s.At) {
		return t, true
	}
	return at(1), true
}

// dayOffset counts the local calendar days between two moments.
func dayOffset(from, to time.Time) int {
	n := 0
	for midnight(from, n+1).Before(to) || midnight(from, n+1).Equal(to) {
		n++
	}
	return n
}

// clockAt reads "18:00", "6 pm", "6:30pm" at the start of ts.
func clockAt(ts []token) (hour, minute, to int, ok bool) {
	if len(ts) == 0 || ts[0].kind != aNumber || ts[0].number < 0 || ts[0].number >= 24 || ts[0].decimals != 0 {
		return 0, 0, 0, false
	}
	hour, to = int(ts[0].number), 1
	if len(ts) >= 3 && ts[1].text == ":" && ts[2].kind == aNumber && ts[2].number < 60 {
		minute, to, ok = int(ts[2].number), 3, true
	}
	if to < len(ts) && hour <= 12 && hour > 0 && (ts[to].text == "pm" || ts[to].text == "am") {
		hour %= 12
		if ts[to].text == "pm" {
			hour += 12
		}
		to, ok = to+1, true
	}
	return hour, minute, to, ok
}

// aboutTheDay reads the arguments of the words of a catcher's day and of the trap line.
func (c Command) aboutTheDay(rest string, s Setting) (Command, bool) {
	rest = strings.TrimSpace(rest)
	if c.Word == WordHours || c.Word == WordReach || c.Word == WordBox {
		c.Rest = rest
		first := listen(rest, s).words
		switch {
		case c.Word == WordReach:
			return c, len(first) > 0 && len(first) <= 3 && first[0].kind == aNumber
		case c.Word == WordHours:
			return c, strings.ContainsAny(rest, "0123456789") && len(rest) < 80 || rest == "" || strings.EqualFold(rest, "always") || strings.EqualFold(rest, "siempre")
		}
		return c, rest == "" || len(rest) < 120 && strings.ContainsAny(rest, "0123456789")
	}
	c.Reference, rest = cutReference(rest)
	l := listen(rest, s)
	switch c.Word {
	case WordTooHigh:
		m, to, ok := l.length(0)
		c.Metres = m
		return c, ok && m > 0 && m < 100 && onlyPolite(l.words[to:])
	case WordNotBees:
		c.Rest = rest
		return c, len(l.words) > 0 && len(l.words) <= 3 && slices.ContainsFunc(l.words, func(t token) bool {
			return t.in("wasps") || strings.HasPrefix(t.text, "bumble") || strings.HasPrefix(t.text, "abejorro") || t.text == "ground"
		})
	}
	c.Rest = rest
	if c.Word == WordTomorrow {
		rest = "tomorrow " + rest
	}
	_, ok := ReadWhen(rest, s)
	return c, ok
}

// Arrival reads whether a text opens with the news that somebody has come: "self" for "I'm
// here at the gate", "other" for "she is here" or "Ada just arrived", "" for anything else.
// name is the one who is expected.
func Arrival(text, name string) string {
	if end := strings.IndexAny(text, ",.;!?\n"); end >= 0 && text[end] == '?' {
		return ""
	}
	ts := tokens(text)
	if len(ts) > 0 && ts[0].text == "the" {
		ts = ts[1:] // "the beekeeper is here"
	}
	for i := range ts {
		if ts[i].text == strings.ToLower(name) {
			ts[i].rename("she")
		}
		ts[i].classes = grammar.words[ts[i].text]
	}
	for _, m := range grammar.opens("arrival", ts[:min(len(ts), 8)]) {
		return m.rule.value
	}
	return ""
}

// cutAbout takes "#queen" off the end.
func cutAbout(rest string) (before, about string) {
	i := strings.LastIndexByte(rest, '#')
	if i < 0 || i == len(rest)-1 || strings.Trim(rest[i+1:], "abcdefghijklmnopqrstuvwxyz_") != "" {
		return rest, ""
	}
	return strings.TrimSpace(rest[:i]), rest[i+1:]
}
