package intake

import (
	"slices"
	"strconv"
	"strings"
	"time"
)

// Word is a command word, named by its English form whatever language it was typed in.
type Word string

// The command words: a catcher's, then those that anybody may use, then a steward's.
const (
	WordTake      Word = "TAKE" // Minutes: from when on
	WordNext      Word = "NEXT" // take it, after the one under way
	WordPass      Word = "PASS"
	WordETA       Word = "ETA"
	WordThere     Word = "THERE"
	WordBoxed     Word = "BOXED"
	WordLifted    Word = "LIFTED"
	WordLiftedAll Word = "LIFTED ALL"
	WordHived     Word = "HIVED"
	WordFlown     Word = "FLOWN"
	WordNotBees   Word = "NOT BEES"
	WordDrop      Word = "DROP"
	WordOut       Word = "OUT"
	WordIn        Word = "IN"
	WordMine      Word = "MINE"

	WordTooHigh     Word = "TOO HIGH" // Metres: how high it is, if told
	WordUnsafe      Word = "UNSAFE"
	WordColony      Word = "COLONY"       // a nest in a structure: for somebody who does removals
	WordRetry       Word = "RETRY"        // they came out again
	WordTomorrow    Word = "TOMORROW"     // a box or a reminder; Rest may hold a clock time
	WordSomeoneElse Word = "SOMEONE ELSE" // please fetch my box
	WordDone        Word = "DONE"         // a reminder
	WordLater       Word = "LATER"        // a reminder; Rest says when
	WordSkip        Word = "SKIP"         // a reminder
	WordSkipAll     Word = "SKIP ALL"     // every reminder about that hive
	WordLeft        Word = "LEFT"         // the bees left their hive
	WordHours       Word = "HOURS"        // Rest: opening hours
	WordReach       Word = "REACH"        // Rest: a number
	WordShare       Word = "SHARE"        // my number with the caller
	WordBox         Word = "BOX"          // a bait box; Rest says which and what
	WordKit         Word = "KIT"          // what a catcher owns; Rest: the list
	WordSize        Word = "SIZE"         // how big the swarm was; Rest: "small", "3 lb"
	WordFrames      Word = "FRAMES"       // the box has frames
	WordNoFrames    Word = "NO FRAMES"

	WordMenu  Word = "MENU"
	WordBack  Word = "BACK"
	WordAgain Word = "AGAIN"
	WordGone  Word = "GONE"
	WordJoin  Word = "JOIN" // "JOIN <token>", "/start <token>": the token is Rest

	WordDelete Word = "DELETE" // erase what is kept of me

	WordSay   Word = "SAY"
	WordOffer Word = "OFFER"
	WordClose Word = "CLOSE"
	WordNew   Word = "NEW"
	WordOpen  Word = "OPEN"
	WordWhy   Word = "WHY" // why these catchers; Rest may name one

	WordSeason Word = "SEASON" // the year in numbers: the club's for a steward, their own for a catcher
)

// Command is a command word with what followed it.
type Command struct {
	Word      Word
	Reference string        // four letters and digits, upper case; "" if none followed
	Rest      string        // what followed, as typed; a number from a list, a token, a message, "14:30"
	Minutes   int           // of ETA, or of TAKE: from now; 0 if it was not told in minutes
	Until     time.Duration // of OUT: for how long; 0 = until IN
	Metres    float64       // of TOO HIGH: how high; 0 = not told
	About     string        // of DONE, LATER, SKIP and LEFT from a button: which reminder, "#queen" at the end
}

// ReadCommand reads a command word at the start of text, exact but in any case, in any
// language. A word that can begin a sentence counts only alone, before a reference, a
// number or its own argument, so that "Take a look at these bees" stays a report.
func ReadCommand(text string, s Setting) (Command, bool) {
	text = strings.TrimSpace(text)
	if c, ok := slashed(&text); ok {
		return c, true
	}
	ts := tokens(text)
	for i := range ts {
		ts[i].classes = grammar.words[ts[i].text]
	}
	for len(ts) > 0 && ts[0].kind >= aMark {
		ts = ts[1:]
	}
	best := match{}
	for _, m := range grammar.opens("command", ts[:min(len(ts), 6)]) {
		if m.to > best.to {
			best = m
		}
	}
	if best.to == 0 {
		return Command{}, false
	}
	c := Command{Word: Word(strings.ReplaceAll(best.rule.value, "_", " "))}
	between := " \t\r\n:#.,!-"
	if c.Word == WordJoin {
		between = " \t\r\n:#.,!" // a token may begin with a dash
	}
	rest := strings.TrimLeft(text[ts[best.to-1].end:], between)
	if c, ok := c.withArgument(rest, text, s); ok {
		return c, true
	}
	return Command{}, false
}

// slashed reads chat commands: it answers "/start <token>" itself and strips the slash and
// the bot's name from any other.
func slashed(text *string) (Command, bool) {
	bare, ok := strings.CutPrefix(*text, "/")
	if !ok {
		return Command{}, false
	}
	word, rest, _ := strings.Cut(bare, " ")
	word, _, _ = strings.Cut(word, "@")
	if strings.EqualFold(word, "start") {
		token := strings.TrimSpace(rest)
		return Command{Word: WordJoin, Rest: token}, isToken(token) || token == ""
	}
	*text = strings.TrimSpace(word + " " + rest)
	return Command{}, false
}

// isToken reports whether s is one word of the letters that chat start links allow.
func isToken(s string) bool {
	return len(s) >= 6 && len(s) <= 64 && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-')
	})
}

// withArgument reads what follows the word and decides whether it is a command at all.
func (c Command) withArgument(rest, text string, s Setting) (Command, bool) {
	switch c.Word {
	case WordDone, WordLater, WordSkip, WordLeft:
		rest, c.About = cutAbout(rest)
	}
	switch c.Word {
	case WordOut:
		return c.away(rest, s)
	case WordJoin:
		c.Rest = strings.TrimSpace(rest)
		return c, isToken(c.Rest) || c.Rest == ""
	case WordETA:
		return c.arriving(rest)
	case WordTake:
		if later, ok := c.taking(rest, s); ok {
			return later, true
		}
	case WordTomorrow, WordLater, WordHours, WordReach, WordBox, WordTooHigh, WordNotBees:
		if c, ok := c.aboutTheDay(rest, s); ok {
			return c, true
		}
	case WordKit, WordSize:
		return c.aboutKit(rest, s)
	}
	if c.Word != WordMenu && c.Word != WordSeason && c.Word != WordIn && c.Word != WordMine && c.Word != WordNew && c.Word != WordBox {
		c.Reference, rest = cutReference(rest)
	}
	rest = strings.TrimSpace(rest)
	_, err := strconv.Atoi(strings.TrimRight(rest, ".!"))
	switch ts := tokens(rest); {
	case len(ts) == 0, onlyPolite(ts):
		return c, true
	case c.Reference != "", err == nil && len(rest) <= 3:
		c.Rest = rest
		return c, true
	case (c.Word == WordBoxed || c.Word == WordHived || c.Word == WordFlown || c.Word == WordLifted) && stopAfterWord(text, rest):
		c.Rest = rest
		return c, true
	}
	return Command{}, false
}

// stopAfterWord reports whether a comma or full stop parts the word from the rest.
func stopAfterWord(text, rest string) bool {
	before := strings.TrimRight(strings.TrimSuffix(text, rest), " \t\r\n")
	return strings.HasSuffix(before, ",") || strings.HasSuffix(before, ".") || strings.HasSuffix(before, "!") || strings.HasSuffix(before, ":")
}

func onlyPolite(ts []token) bool {
	for _, t := range ts {
		if t.kind <= aNumber && !t.in("pleading") {
			return false
		}
	}
	return true
}

// cutReference takes a reference off the front: four letters and digits, at least one of
// them a digit or none a vowel, so that "TAKE care" is none.
func cutReference(s string) (reference, rest string) {
	n := 0
	digits, vowels := 0, 0
	for n < len(s) && (s[n] >= '0' && s[n] <= '9' || s[n] >= 'a' && s[n] <= 'z' || s[n] >= 'A' && s[n] <= 'Z') {
		if s[n] <= '9' {
			digits++
		}
		if strings.IndexByte("aeiouAEIOU", s[n]) >= 0 {
			vowels++
		}
		n++
	}
	if n != 4 || digits == 4 || digits == 0 && vowels > 0 || n < len(s) && s[n] >= 0x80 {
		return "", s
	}
	return strings.ToUpper(s[:4]), strings.TrimLeft(s[4:], " \t\r\n:,.#")
}

// arriving reads what follows ETA: minutes, or a clock time left in Rest, with a reference
// before or after.
func (c Command) arriving(rest string) (Command, bool) {
	c.Reference, rest = cutReference(rest)
	if c.Reference == "" {
		if i := strings.LastIndexByte(strings.TrimSpace(rest), ' '); i > 0 {
			if ref, after := cutReference(strings.TrimSpace(rest)[i+1:]); ref != "" && after == "" {
				c.Reference, rest = ref, strings.TrimSpace(rest)[:i]
			}
		}
	}
	c.Rest = strings.Trim(rest, " ?!.")
	if minutes, ok := BareMinutes(c.Rest); ok {
		c.Minutes, c.Rest = minutes, ""
		return c, true
	}
	return c, c.Rest == "" || isClock(c.Rest) || onlyPolite(tokens(c.Rest))
}

// isClock reports whether s begins with a clock time: 14:30, 2:30 pm, 3pm.
func isClock(s string) bool {
	ts := tokens(strings.TrimPrefix(strings.ToLower(s), "at "))
	if len(ts) == 0 || ts[0].kind != aNumber || ts[0].number > 24 {
		return false
	}
	if len(ts) >= 3 && ts[1].text == ":" && ts[2].kind == aNumber && ts[2].number < 60 {
		return true
	}
	return len(ts) >= 2 && (ts[1].text == "pm" || ts[1].text == "am")
}

// away reads what follows OUT: nothing, a time ("3d", "5 hours"), or "until …" in Rest.
func (c Command) away(rest string, s Setting) (Command, bool) {
	l := listen(rest, s)
	i := 0
	for l.is(i, "lasting") {
		i++
	}
	if hours, to, ok := l.duration(i); ok && onlyPolite(l.words[to:]) {
		const longest = 366 * 24 // hours; who stays away longer has left
		c.Until = time.Duration(min(hours, longest) * float64(time.Hour))
		return c, hours > 0
	}
	if len(l.words) > 1 && l.is(0, "until") && len(l.words) <= 4 {
		c.Rest = strings.TrimSpace(rest[l.words[0].end:])
		c.Until = untilDay(l.words[1].text, s.At)
		return c, true
	}
	if len(l.words) == 1 && l.is(0, "today") {
		c.Until = midnight(s.At, 1).Sub(s.At)
		return c, true
	}
	return c, len(l.words) == 0 || onlyPolite(l.words)
}

func midnight(at time.Time, days int) time.Time {
	return time.Date(at.Year(), at.Month(), at.Day()+days, 0, 0, 0, 0, at.Location())
}

// untilDay is the time to the beginning of the next such weekday; 0 if word is none.
func untilDay(word string, at time.Time) time.Duration {
	if grammar.sets["tomorrow"][word] {
		return midnight(at, 1).Sub(at)
	}
	for _, m := range grammar.find("", seenKnown(word)) {
		name, ok := strings.CutPrefix(m.rule.value, "since:")
		if !ok {
			continue
		}
		for d := time.Sunday; d <= time.Saturday; d++ {
			if strings.EqualFold(d.String(), name) {
				days := (int(d)-int(at.Weekday())+6)%7 + 1
				return midnight(at, days).Sub(at)
			}
		}
	}
	return 0
}

// BareMinutes reads a text that is nothing but a time: "30", "about 20 minutes", "half an
// hour", "1h30". It returns whole minutes, 0 to 1440.
func BareMinutes(text string) (int, bool) {
	l := listen(text, Setting{Language: "en"})
	for len(l.words) > 0 && l.words[0].kind == aWord && (l.is(0, "arriving") || l.is(0, "counting")) {
		l.words = l.words[1:]
	}
	hours, to, ok := l.duration(0)
	if !ok {
		q, isNumber := l.quantity(0)
		if !isNumber {
			return 0, false
		}
		hours, to = q.value/60, q.to
	} else if to < len(l.words) && l.words[to].kind == aNumber { // "1h30", "1 hour 20 min"
		hours, to = hours+l.words[to].number/60, to+1
		if l.is(to, "unit_min") {
			to++
		}
	} else if more, after, ok := l.andMinutes(to); ok { // "an hour and 15 minutes"
		hours, to = hours+more, after
	}
	const longest = 24 // hours
	if hours > longest || !onlyPolite(l.words[to:]) {
		return 0, false
	}
	return int(hours*60 + 0.5), true
}

func (l *listener) andMinutes(i int) (float64, int, bool) {
	if i >= len(l.words) || l.words[i].text != "and" && l.words[i].text != "y" {
		return 0, i, false
	}
	return l.duration(i + 1)
}

// OptOut reads the words on which the carriers act, standing alone: stop for STOP and its
// kin (47 CFR 64.1200(a)(10) and common practice), start for START and UNSTOP. A sentence
// that holds one ("can you stop by?") is neither.
func OptOut(text string) (stop, start bool) {
	switch wholeText("optout", text) {
	case "stop":
		return true, false
	case "start":
		return false, true
	}
	return false, false
}

// AsksHelp reports whether text is HELP or INFO standing alone.
func AsksHelp(text string) bool { return wholeText("optout", text) == "help" }

// wholeText is the value of the phrase of a tree that is the whole of text, signs and
// spaced-out letters ("S T O P") aside; "" if there is none.
func wholeText(tree, text string) string {
	const longest = 60 // bytes; no such phrase is longer
	if len(text) > 4*longest || strings.HasPrefix(strings.TrimSpace(text), "/start") {
		return ""
	}
	all := seen(text)
	if first := slices.IndexFunc(all, func(t token) bool { return t.kind <= aNumber }); first < 0 || len(all[first].text) > 1 && !all[first].stretched && !grammar.mayOpen(tree, all[first].text) {
		return "" // most texts are none: this is asked of each a dozen times
	}
	ts, single := make([]token, 0, len(all)), true
	for _, t := range all {
		if t.kind > aNumber {
			continue
		}
		if t.stretched && grammar.words[t.text] == nil {
			t.rename(squeeze(t.text))
		}
		single = single && len(t.text) == 1
		ts = append(ts, t)
	}
	if single && len(ts) > 2 {
		ts = tokens(strings.ReplaceAll(plainWords(ts), " ", ""))
	}
	for i := range ts {
		ts[i].classes = grammar.words[ts[i].text]
	}
	for _, m := range grammar.opens(tree, ts) {
		if m.to == len(ts) {
			return m.rule.value
		}
	}
	return ""
}
