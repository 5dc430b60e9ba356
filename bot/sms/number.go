package sms

import (
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// numberOf returns a phone number in E.164 form. Numbers without "+" are read as those of
// country. It reports false for a short code, a sender's name, an extension and whatever
// else cannot be called back.
func numberOf(s, country string) (string, bool) {
	s = strings.TrimSpace(s)
	if e164.MatchString(s) {
		return s, true
	}
	digits := 0
	for _, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case !strings.ContainsRune("+-.() /", r):
			return "", false
		}
	}
	// Short codes have 5 or 6 digits (https://www.usshortcodes.com); 40 keeps the parser
	// away from long rubbish.
	if digits <= 6 || len(s) > 40 {
		return "", false
	}
	n, err := phonenumbers.Parse(s, country)
	// Possible, not valid: the numbers set aside for fiction are not in use and count as
	// not valid. One without its area code is possible only for a neighbour.
	if err != nil || phonenumbers.IsPossibleNumberWithReason(n) != phonenumbers.IS_POSSIBLE {
		return "", false
	}
	number := phonenumbers.Format(n, phonenumbers.E164)
	return number, e164.MatchString(number)
}
