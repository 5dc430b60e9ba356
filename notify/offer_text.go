package notify

import (
	"math"
	"unicode"
	"unicode/utf8"

	"skepline/intake"
)

// OfferText puts job j to a catcher who is far away from it, with so many others asked at
// the same time. By SMS it is one segment: the facts are ranked and the least important ones
// left out until it fits. In chat it is one fact a line. It never holds the address, only
// distance and wind, and the street where that is plain. Sunset is told by the 24-hour clock
// where units are metric.
func OfferText(w intake.Words, j Job, far Far, others int, metric bool) string {
	if w.Chat {
		return offerLines(w, j, far, others, metric)
	}
	about := offerFacts(w, j, far, metric)
	after := offerSentences(w, j, others, metric)
	return shorten(w, append(about, after...), 1, func(facts []fact) string {
		var list, sentences []fact
		for _, f := range facts {
			if f.apart {
				sentences = append(sentences, f)
			} else {
				list = append(list, f)
			}
		}
		opening := w.Say(offerOpening(j), map[string]any{"Reference": j.Reference, "Facts": joined(list, ", ")})
		return joined(append([]fact{{text: opening}}, sentences...), " ")
	})
}

func offerOpening(j Job) string {
	if j.Again && !j.InBox {
		return "brief_offer_again"
	}
	return "brief_offer"
}

// offerFacts are what is known of the swarm, in reading order.
func offerFacts(w intake.Words, j Job, far Far, metric bool) []fact {
	var facts []fact
	say := func(rank int, key string, data map[string]any) {
		facts = append(facts, fact{text: w.Say(key, data), rank: rank})
	}
	a := j.Answers
	if j.Shown > 0 {
		say(0, "brief_offer_percent", map[string]any{"Percent": j.Shown})
	}
	if j.InBox {
		say(0, "brief_offer_in_box", nil)
	}
	if a.Has("power_line") {
		say(0, "word_hazard_power_line", nil)
	}
	if a.Surface != "" {
		say(4, "word_surface_"+a.Surface, nil)
	}
	if a.HeightM != nil {
		say(2, "brief_offer_up", map[string]any{"Height": HeightWords(w, *a.HeightM, metric)})
	} else {
		say(6, "word_height_unknown", nil)
	}
	if a.Crowd != "" {
		say(5, "word_crowd_"+a.Crowd, nil)
	}
	if far.Km < 0 {
		say(1, "word_distance_unknown", nil)
	} else {
		near := "brief_offer_near"
		if far.Out {
			near += "_out"
		}
		say(1, near, map[string]any{"Distance": DistanceWords(w, far, metric)})
	}
	if area := offerArea(w, a); area != "" {
		say(8, "brief_offer_area", map[string]any{"Area": area})
	}
	return facts
}

// offerSentences are what stands after the facts; each is a sentence.
func offerSentences(w intake.Words, j Job, others int, metric bool) []fact {
	var facts []fact
	say := func(rank int, key string, data map[string]any) {
		facts = append(facts, fact{text: w.Say(key, data), rank: rank, apart: true})
	}
	if j.Against != "" {
		say(9, "brief_offer_against", map[string]any{"Against": quoted(w, j.Against, 40)})
	}
	if !j.Sunset.IsZero() {
		say(6, "brief_offer_sunset", map[string]any{"Sunset": ClockWords(j.Sunset, metric)})
	}
	if !w.Chat && j.StillThere > 0 && !j.InBox {
		say(3, "brief_offer_still", map[string]any{"Percent": stillPercent(j)})
	}
	if others > 0 {
		say(3, "brief_offer_others", map[string]any{"Count": others})
	}
	if j.OnAJob {
		say(1, "brief_offer_next", map[string]any{"Reference": j.Reference, "Several": j.Several})
	}
	reply := "brief_offer_reply"
	if j.Several {
		reply = "brief_offer_reply_one"
	}
	say(0, reply, map[string]any{"Reference": j.Reference})
	if !w.Chat && !j.OnAJob && !j.InBox { // in chat there is a button
		say(7, "brief_offer_later", map[string]any{"Reference": j.Reference, "Several": j.Several})
	}
	if j.Link != "" {
		say(1, "brief_offer_link", map[string]any{"Link": j.Link})
	}
	return facts
}

func offerLines(w intake.Words, j Job, far Far, others int, metric bool) string {
	about := offerFacts(w, j, far, metric)
	opening := w.Say(offerOpening(j), map[string]any{"Reference": j.Reference, "Facts": about[0].text})
	lines := []fact{{text: opening}, {text: capital(joined(about[1:], ", "))}}
	for _, h := range intake.HazardValues {
		if h != "power_line" && j.Answers.Has(h) {
			lines = append(lines, fact{text: capital(w.Say("word_hazard_"+h, nil))})
		}
	}
	if j.StillThere > 0 && !j.InBox {
		lines = append(lines, fact{text: w.Say("brief_offer_still", map[string]any{"Percent": stillPercent(j)})})
	}
	return joined(append(lines, offerSentences(w, j, others, metric)...), "\n")
}

// stillPercent is never more than it is known: nobody knows when a swarm leaves.
func stillPercent(j Job) int { return min(int(math.Round(j.StillThere*100)), 95) }

func offerArea(w intake.Words, a intake.Answers) string {
	if a.Place == nil {
		return ""
	}
	return quoted(w, AreaWords(a.Place.Text), 30)
}

func capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}
