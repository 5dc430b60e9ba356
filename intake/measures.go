package intake

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// quantity is a number that stands in the text: 8, 2.5, "10-12", "two and a half".
type quantity struct {
	value    float64
	from, to int // tokens
}

func (l *listener) is(i int, set string) bool {
	return i >= 0 && i < len(l.words) && grammar.sets[set][l.words[i].text]
}

func (l *listener) mark(i int, m string) bool {
	return i >= 0 && i < len(l.words) && l.words[i].kind == aMark && l.words[i].text == m
}

// number reads one number at i: digits, a fraction, or a word; "a" is one before a unit.
func (l *listener) number(i int) (float64, int, bool) {
	if i >= len(l.words) {
		return 0, i, false
	}
	t := &l.words[i]
	if t.kind == aNumber {
		return l.withFraction(t.number, i+1)
	}
	if t.kind != aWord {
		return 0, i, false
	}
	v, known := l.numbers[t.text]
	if !known {
		return 0, i, false
	}
	next := i + 1
	if l.is(i, "approx") && next < len(l.words) && (l.words[next].kind == aNumber || l.numbers[l.words[next].text] > 0) {
		return l.number(next) // "unas veinte"
	}
	if v >= 20 && v < 100 && next < len(l.words) {
		if ones, ok := l.numbers[l.words[next].text]; ok && ones < 10 && ones >= 1 {
			v, next = v+ones, next+1
		}
	}
	if l.is(next, "hundredfold") {
		v, next = v*100, next+1
	} else if l.is(next, "thousandfold") {
		v, next = v*1000, next+1
	}
	if next < len(l.words) && (l.words[next].text == "of" || l.words[next].text == "de") {
		next++ // "a couple of hours", "un par de horas"
	}
	return v, next, true
}

// withFraction adds what may follow digits: "½", "1/2".
func (l *listener) withFraction(v float64, next int) (float64, int, bool) {
	if next < len(l.words) && l.words[next].kind == aNumber {
		t := &l.words[next]
		if t.number < 1 && t.number > 0 && t.decimals == 0 {
			return v + t.number, next + 1, true
		}
		if t.number == 1 && l.mark(next+1, "/") && next+2 < len(l.words) && l.words[next+2].text == "2" {
			return v + 0.5, next + 3, true
		}
	}
	if v == 1 && l.mark(next, "/") && next+1 < len(l.words) && l.words[next+1].text == "2" {
		return 0.5, next + 2, true
	}
	return v, next, true
}

// quantity reads a number or a range at i, whose value is the middle.
func (l *listener) quantity(i int) (quantity, bool) {
	v, next, ok := l.number(i)
	if !ok {
		return quantity{}, false
	}
	q := quantity{value: v, from: i, to: next}
	between := i > 0 && (l.words[i-1].text == "between" || l.words[i-1].text == "entre")
	joined := l.mark(next, "-") || l.is(next, "ranging") || between && (l.is(next, "but") || l.words[min(next, len(l.words)-1)].text == "and")
	if joined {
		if high, after, ok := l.number(next + 1); ok && high > v {
			q.value, q.to = (v+high)/2, after
		}
	}
	return q, true
}

// length units in metres.
var lengths = []struct {
	set    string
	metres float64
}{{"unit_ft", 0.3048}, {"unit_m", 1}, {"unit_cm", 0.01}, {"unit_in", 0.0254}, {"unit_yd", 0.9144}}

// heights reads lengths that are heights: not "20 ft away", not "2 feet wide".
func (l *listener) heights() []said {
	var out []said
	for i := 0; i < len(l.words); i++ {
		m, to, ok := l.length(i)
		if !ok {
			continue
		}
		if weight, isHeight := l.heightWeight(i, to); isHeight && m <= 100 {
			out = append(out, said{field: "height_m", value: formatNumber(m), weight: weight, from: i, to: to})
		}
		i = to - 1
	}
	return out
}

// length reads a number with its unit at i, in metres.
func (l *listener) length(i int) (float64, int, bool) {
	q, ok := l.quantity(i)
	if !ok {
		if m, to, ok := l.oneUnit(i); ok {
			return m, to, ok
		}
		return 0, i, false
	}
	n := q.to
	if l.mark(n, "-") { // "8-ft"
		n++
	}
	if l.mark(n, "'") || l.is(n, "unit_ft") {
		m, to := q.value*0.3048, n+1
		if l.is(to, "and_half") || l.is(to+1, "and_half") {
			return l.andHalf(m, 0.3048, to)
		}
		if inch, after, ok := l.number(to); ok && inch < 12 && (l.mark(after, `"`) || l.is(after, "unit_in") || l.mark(n, "'")) {
			to = after
			if l.mark(after, `"`) || l.is(after, "unit_in") {
				to++
			}
			return m + inch*0.0254, to, true
		}
		return m, to, true
	}
	if l.mark(n, `"`) {
		return q.value * 0.0254, n + 1, true
	}
	for _, u := range lengths {
		if l.is(n, u.set) && (u.set != "unit_in" || l.words[n].text != "in") {
			return l.andHalf(q.value*u.metres, u.metres, n+1)
		}
	}
	if l.is(n, "unit_story") && q.value >= 1 {
		return 3*q.value - 1, n + 1, true // a storey is about 3 m; the spot is inside the top one
	}
	// "dos y medio metros", "two and a half feet"
	if j := n + 1; n < len(l.words) && (l.words[n].text == "and" || l.words[n].text == "y") {
		if l.is(j, "unit_one") {
			j++
		}
		if l.is(j, "half") {
			for _, u := range lengths {
				if l.is(j+1, u.set) {
					return (q.value + 0.5) * u.metres, j + 2, true
				}
			}
		}
	}
	return 0, i, false
}

// oneUnit reads "a metre", "half a metre", "medio metro", "metro y medio".
func (l *listener) oneUnit(i int) (float64, int, bool) {
	factor, n := 1.0, i
	if l.is(n, "half") {
		factor, n = 0.5, n+1
	}
	if l.is(n, "unit_one") {
		n++
	}
	for _, u := range lengths[:2] {
		if !l.is(n, u.set) || len(l.words[n].text) < 3 {
			continue
		}
		m, to, _ := l.andHalf(factor*u.metres, u.metres, n+1)
		if n == i && to == n+1 {
			return 0, i, false // "metres" alone says nothing
		}
		return m, to, true
	}
	return 0, i, false
}

// andHalf adds "and a half", "y medio" behind a unit.
func (l *listener) andHalf(m, unit float64, to int) (float64, int, bool) {
	j := to
	if j < len(l.words) && (l.words[j].text == "and" || l.words[j].text == "y") {
		j++
		if l.is(j, "unit_one") {
			j++
		}
		if l.is(j, "and_half") {
			return m + unit/2, j + 1, true
		}
	}
	return m, to, true
}

// heightWeight tells a height from a distance by the words after it.
func (l *listener) heightWeight(from, to int) (int, bool) {
	weight := 7 // more than a vague "way up high"
	for i := to; i < len(l.words) && i < to+3; i++ {
		t := &l.words[i]
		if t.kind == anEnd {
			break
		}
		if l.is(i, "upward") {
			return 8, true
		}
		if l.is(i, "from") {
			return 6, l.is(i+1, "high_from") || l.is(i+2, "high_from")
		}
		if l.is(i, "not_height") {
			return 0, false
		}
		if l.is(i, "nearby") {
			return 0, false
		}
		if t.kind == aPause || !grammar.sets["articles"][t.text] && i > to {
			break
		}
	}
	if l.is(to, "bees") || l.is(to, "clump") || l.is(from-1, "measured") || l.is(from-2, "measured") {
		return 0, false // "a two foot cluster"
	}
	return weight, true
}

// metres is the height that a statement tells.
func (l *listener) metres(f said) (*float64, string) {
	v, err := strconv.ParseFloat(f.value, 64)
	if err != nil || v < 0 || v > 100 {
		return nil, ""
	}
	v = math.Round(v*100) / 100
	return &v, formatNumber(v)
}

func formatNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}

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
		if !slices.ContainsFunc(clause, func(t token) bool { return t.kind == anEnd || t.kind == aPause || grammar.sets["but"][t.text] }) {
			return true
		}
	}
	return false
}

// clock reads "since 2 pm", "desde las 10:30".
func (l *listener) clock() said {
	for i := 0; i+1 < len(l.words); i++ {
		switch l.words[i].text {
		case "since", "desde", "at", "around", "about", "a", "como":
		default:
			continue
		}
		n := i + 1
		if l.words[n].text == "las" || l.words[n].text == "la" || l.words[n].text == "about" || l.words[n].text == "around" {
			n++
		}
		hour, to, certain, ok := l.hourOfDay(n)
		if !ok || !certain && !l.afterComing(i) {
			continue
		}
		at := l.setting.At
		age := float64(at.Hour()) + float64(at.Minute())/60 - hour
		if age < 0 {
			age += 24
		}
		return said{field: "age_h", value: formatNumber(age), weight: 6, from: i, to: to}
	}
	return said{}
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
	if n >= len(l.words) || l.words[n].kind != aNumber || l.words[n].number > 23 || l.words[n].decimals > 0 {
		return 0, n, false, false
	}
	hour, to = l.words[n].number, n+1
	if l.mark(to, ":") && to+1 < len(l.words) && l.words[to+1].kind == aNumber && l.words[to+1].number < 60 {
		hour, to, certain = hour+l.words[to+1].number/60, to+2, true
	}
	if to < len(l.words) {
		switch l.words[to].text {
		case "am", "a":
			return math.Mod(hour, 12), to + 1, true, true
		case "pm", "p":
			return math.Mod(hour, 12) + 12, to + 1, true, true
		case "of":
			return 0, n, false, false
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
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.EqualFold(d.String(), when) {
			back := (int(now.Weekday()) - int(d) + 7) % 7
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

// counts reads how many bees and how many stings.
func (l *listener) counts() []said {
	stung := l.speaksOfStings()
	var out []said
	for i := 0; i < len(l.words); i++ {
		q, ok := l.quantity(i)
		if !ok {
			continue
		}
		n := q.to
		for l.is(n, "counting") {
			n++
		}
		switch {
		case l.is(n, "sting_nouns") && q.value >= 1 && q.value <= 100000 && l.denial(i) < 0:
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: n + 1})
		case stung && l.is(n, "unit_times") && q.value <= 100000:
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: n + 1})
		case l.is(i-1, "stinging") && l.clauseEnds(q.to) && q.value >= 1 && q.value <= 100000: // "le picaron tres"
			out = append(out, said{field: "stings", value: strconv.Itoa(int(q.value)), weight: 6, from: i, to: q.to})
		case l.is(i, "approx") && q.to == i+1: // "unas abejas" counts nothing
		case l.insects(n) || l.insects(n+1) && l.words[n].kind == aWord || l.ofThem(n) || l.ofThem(n-1):
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 5, from: i, to: min(n+1, len(l.words))})
		case l.setting.Waiting == AskCrowd:
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 1, from: i, to: q.to})
		case l.countedAlone(q):
			out = append(out, said{field: "crowd", value: crowdOf(q.value), weight: 1, from: i, to: q.to})
		case q.value >= 1 && q.value <= childUntil && l.yearsOld(q):
			out = append(out, said{field: "hazards", value: "children", weight: 4, from: i, to: n + 1})
		}
		i = q.to - 1
	}
	return out
}

// insects reports whether token i names insects one by one; a swarm is not counted in bees.
func (l *listener) insects(i int) bool {
	return (l.is(i, "bees") || l.is(i, "wasps")) && !l.is(i, "swarms")
}

// ofThem reports whether "of them" stands at i: "20 of them".
func (l *listener) ofThem(i int) bool {
	if i+1 >= len(l.words) || l.words[i].text != "of" && l.words[i].text != "de" {
		return false
	}
	return l.is(i+1, "swarms") || l.words[i+1].text == "ellas"
}

// countedAlone reports whether a number without a noun counts the bees: "I count maybe 15",
// and at the end of a text that speaks of them, "… on the window, about 20".
func (l *listener) countedAlone(q quantity) bool {
	if !l.clauseEnds(q.to) || q.value < 2 || l.afterComing(q.from) || l.words[q.from].decimals > 0 {
		return false
	}
	for j := q.from - 1; j >= 0 && j >= q.from-3; j-- {
		if l.is(j, "counted") {
			return true
		}
	}
	if l.is(q.from, "approx") || l.is(q.from-1, "approx") {
		return true
	}
	if !l.is(q.from-1, "counting") && !l.is(q.from-1, "hesitation") {
		return false
	}
	return slices.ContainsFunc(l.words, func(t token) bool {
		return grammar.sets["bees"][t.text] || grammar.sets["wasps"][t.text] || grammar.sets["thousandfold"][t.text] || grammar.sets["hundredfold"][t.text]
	})
}

func (l *listener) clauseEnds(i int) bool {
	return i >= len(l.words) || l.words[i].kind == anEnd || l.words[i].kind == aPause
}

// childUntil is the age in years up to which somebody is called a child here (judgement).
const childUntil = 12

// yearsOld reports whether a number is somebody's age: "my 4 year old", "de 5 años".
func (l *listener) yearsOld(q quantity) bool {
	n := q.to
	if l.mark(n, "-") {
		n++
	}
	if !l.is(n, "unit_year") {
		return false
	}
	after := n + 1
	if l.mark(after, "-") {
		after++
	}
	before := l.word(q.from - 1)
	return l.word(after) == "old" || l.word(after) == "olds" || before == "de" || before == "tiene"
}

// word is token i's text, "" outside the text.
func (l *listener) word(i int) string {
	if i < 0 || i >= len(l.words) {
		return ""
	}
	return l.words[i].text
}

func (l *listener) speaksOfStings() bool {
	for _, m := range l.matches {
		if m.rule.topic == "stung" && m.rule.value == "someone" && m.rule.asked == "" {
			return true
		}
	}
	return l.setting.Waiting == AskStung
}

func crowdOf(n float64) string {
	switch {
	case n < 10:
		return "under_10"
	case n < 100:
		return "tens"
	case n < 1000:
		return "hundreds"
	}
	return "thousands"
}
