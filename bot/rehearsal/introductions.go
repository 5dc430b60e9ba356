package rehearsal

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"skepline/notify"
)

// person is somebody with a phone.
type person struct {
	name     string // as the transcript calls them, lower case
	channel  notify.Channel
	number   string // "" on a telephone = one is invented; always invented for Telegram
	language string // of a Telegram profile
}

// introduces reads the lines "phone", "steward" and "catcher". A person may have several of
// them: they are then the same person with the same phone.
func (r reader) introduces() (act, error) {
	p, rest, err := r.person()
	if err != nil {
		return nil, err
	}
	var a act
	switch r.words[0] {
	case "catcher":
		c, err := readCatcher(p, rest)
		if err != nil {
			return nil, err
		}
		a = meetCatcher{r.line, p, c}
	default:
		if rest, err = readLanguage(&p, rest); err != nil {
			return nil, err
		}
		if len(rest) > 0 {
			return nil, fmt.Errorf("%q is not expected here; write \"%s NAME CHANNEL [NUMBER] [lang es]\"", strings.Join(rest, " "), r.words[0])
		}
		a = meetPhone{r.line, p}
		if r.words[0] == "steward" {
			a = meetSteward{r.line, p}
		}
	}
	r.known[p.name] = p
	return a, nil
}

func readLanguage(p *person, words []string) ([]string, error) {
	if len(words) < 2 || words[0] != "lang" {
		return words, nil
	}
	p.language = words[1]
	return words[2:], nil
}

var (
	personName = regexp.MustCompile(`^[a-z][a-z0-9_-]*$`)
	phone      = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)
	// occupied are words that begin lines of their own.
	occupied = []string{"clock", "phone", "catcher", "steward", "later", "map"}
)

// person reads "WORD NAME CHANNEL [NUMBER]" and returns the words behind it.
func (r reader) person() (person, []string, error) {
	form := fmt.Sprintf(`write one such as "%s gwen sms +16075550142"`, r.words[0])
	if len(r.words) < 3 {
		return person{}, nil, fmt.Errorf("a name and a channel are missing; %s", form)
	}
	p := person{name: r.words[1], channel: notify.Channel(r.words[2])}
	if !personName.MatchString(p.name) || slices.Contains(occupied, p.name) {
		return person{}, nil, fmt.Errorf("%q cannot be a name; allowed are small letters and digits, other than %s", p.name, strings.Join(occupied, ", "))
	}
	if !slices.Contains(notify.Channels, p.channel) {
		return person{}, nil, fmt.Errorf("%q is not a channel; allowed are sms, whatsapp and telegram", p.channel)
	}
	rest := r.words[3:]
	if len(rest) > 0 && strings.HasPrefix(rest[0], "+") {
		if !phone.MatchString(rest[0]) || p.channel == notify.Telegram {
			return person{}, nil, fmt.Errorf("a number is + and 7 to 15 digits, and people on telegram have none; %s", form)
		}
		p.number, rest = rest[0], rest[1:]
	}
	if before, met := r.known[p.name]; met {
		if before.channel != p.channel || p.number != "" && before.number != p.number {
			return person{}, nil, fmt.Errorf("%s has a phone on %s already; a person has one", p.name, before.channel)
		}
		p = before
	}
	return p, rest, nil
}

// readCatcher reads the place and the abilities of a catcher.
func readCatcher(p person, words []string) (notify.Catcher, error) {
	if len(words) == 0 {
		return notify.Catcher{}, errors.New(`a catcher needs a home; write one such as "catcher ada telegram 42.451,-76.482 reach 15 height 4 skills ladder"`)
	}
	home, err := parsePoint(words[0])
	if err != nil {
		return notify.Catcher{}, err
	}
	c := notify.Catcher{ID: p.name, Name: capitalised(p.name), Lat: home.Lat, Lon: home.Lon, ReachKm: 25, MaxHeightM: 3, JobsADay: 3}
	for words = words[1:]; len(words) > 0; words = words[2:] {
		if words[0] == "hours" { // the only one with blanks in it, so it comes last
			c.Hours = strings.Join(words[1:], " ")
			_, err := notify.ParseHours(c.Hours)
			return c, err
		}
		if len(words) < 2 {
			return c, fmt.Errorf("%q needs a value behind it", words[0])
		}
		if err := setAbility(&c, words[0], words[1]); err != nil {
			return c, err
		}
	}
	return c, nil
}

func setAbility(c *notify.Catcher, word, value string) error {
	n, numberErr := strconv.ParseFloat(value, 64)
	needsNumber := word == "reach" || word == "height" || word == "jobs"
	if needsNumber && (numberErr != nil || !(n > 0 && n < 1000)) {
		return fmt.Errorf("%q is not a number behind %q; write one such as \"%s 4\"", value, word, word)
	}
	switch word {
	case "reach":
		c.ReachKm = n
	case "height":
		c.MaxHeightM = n
	case "jobs":
		c.JobsADay = int(n)
	case "lang":
		c.Language = value
	case "skills":
		for s := range strings.SplitSeq(value, ";") {
			skill := notify.Skill(s)
			if skill != notify.Ladder && skill != notify.Cutout && skill != notify.Suit {
				return fmt.Errorf("%q is not a skill; allowed are ladder, cutout and suit, joined by ;", s)
			}
			c.Skills = append(c.Skills, skill)
		}
	default:
		return fmt.Errorf("a catcher has no %q; allowed are reach KM, height M, skills a;b, jobs N, lang es and, last, hours …", word)
	}
	return nil
}

// capitalised makes a first name of a transcript's word for a person.
func capitalised(name string) string { return strings.ToUpper(name[:1]) + name[1:] }
