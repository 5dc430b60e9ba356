package notify

import (
	"fmt"
	"strings"
)

// Channel is a way to reach a person.
type Channel string

// The channels.
const (
	SMS      Channel = "sms"
	WhatsApp Channel = "whatsapp"
	Telegram Channel = "telegram"
)

// Channels lists every channel.
var Channels = []Channel{SMS, WhatsApp, Telegram}

// Address is where one person is reached on one channel: "sms:+16075550142",
// "whatsapp:+16075550142" or "telegram:5550101" (a chat id). Doors make them; everybody
// else only compares them and asks for their channel.
type Address string

// Channel returns the part before the colon.
func (a Address) Channel() Channel {
	channel, _, _ := strings.Cut(string(a), ":")
	return Channel(channel)
}

// Number returns the part after the colon: an E.164 number or a chat id.
func (a Address) Number() string {
	_, number, _ := strings.Cut(string(a), ":")
	return number
}

// Hint returns a form of a that may stand in a log: the channel and the last two digits.
func (a Address) Hint() string {
	n := a.Number()
	if len(n) > 2 {
		n = n[len(n)-2:]
	}
	return string(a.Channel()) + ":…" + n
}

// ParseAddress reads an address as it stands in settings and roster files. It wants an
// E.164 number after sms: and whatsapp:, and a whole number after telegram:.
func ParseAddress(s string) (Address, error) {
	channel, number, found := strings.Cut(strings.TrimSpace(s), ":")
	digits := strings.TrimPrefix(number, "+")
	if channel == string(Telegram) {
		digits = strings.TrimPrefix(number, "-")
	}
	if !found || digits == "" || strings.Trim(digits, "0123456789") != "" {
		return "", badAddress(s)
	}
	switch Channel(channel) {
	case SMS, WhatsApp:
		if !strings.HasPrefix(number, "+") || len(digits) < 7 || len(digits) > 15 {
			return "", badAddress(s)
		}
	case Telegram:
	default:
		return "", badAddress(s)
	}
	return Address(channel + ":" + number), nil
}

func badAddress(s string) error {
	return fmt.Errorf("%q is not an address; write sms:+16075550142, whatsapp:+16075550142 or telegram:12345678", s)
}
