package notify

// MaxText is the longest text a message may hold, in characters: the most that one send of
// the SMS provider takes (Twilio's Body: 1600; Telegram would take 4096).
const MaxText = 1600

// One SMS carries 140 octets: 160 septets or 70 UTF-16 units. Each part of a longer text
// gives 6 octets away to the header that puts the parts together (3GPP TS 23.040 section
// 9.2.3.24.1, from memory), which leaves 153 or 67.
const (
	septetsAlone, septetsInPart = 160, 153
	unitsAlone, unitsInPart     = 70, 67
)

// The GSM 7-bit default alphabet and its extension table, 3GPP TS 23.038 sections 6.2.1 and
// 6.2.1.1. A letter of the extension table costs two septets.
const (
	gsmBasic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
		"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	gsmExtension = "\f^{}\\[]~|€"
)

var gsmCost = func() map[rune]int {
	cost := map[rune]int{}
	for _, r := range gsmBasic {
		cost[r] = 1
	}
	for _, r := range gsmExtension {
		cost[r] = 2
	}
	return cost
}()

// Septets returns what s costs by SMS. With gsm, every letter is in the GSM alphabet and n
// counts septets; else the whole text goes out as UCS-2 and n counts its 16-bit units.
func Septets(s string) (n int, gsm bool) {
	for _, r := range s {
		cost, ok := gsmCost[r]
		if !ok {
			return units(s), false
		}
		n += cost
	}
	return n, true
}

// Segments returns how many SMS s takes, and is paid for: 1 for the empty text.
func Segments(s string) int { return len(parts(s)) }

// parts returns how much of each SMS s fills. Neither the two septets of an extension
// letter nor the two halves of a surrogate pair are ever torn apart, so a part may stay one
// short. A joined emoji may be cut between its members, as networks do.
func parts(s string) []int {
	total, gsm := Septets(s)
	alone, inPart, cost := septetsAlone, septetsInPart, func(r rune) int { return gsmCost[r] }
	if !gsm {
		alone, inPart, cost = unitsAlone, unitsInPart, utf16Cost
	}
	if total <= alone {
		return []int{total}
	}
	filled := []int{0}
	for _, r := range s {
		last := len(filled) - 1
		if filled[last]+cost(r) > inPart {
			filled = append(filled, cost(r))
			continue
		}
		filled[last] += cost(r)
	}
	return filled
}

func units(s string) int {
	n := 0
	for _, r := range s {
		n += utf16Cost(r)
	}
	return n
}

func utf16Cost(r rune) int {
	if r > 0xFFFF {
		return 2
	}
	return 1
}
