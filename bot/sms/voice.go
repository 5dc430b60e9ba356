package sms

import (
	"context"
	"encoding/xml"
	"io"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"time"

	"skepline/bot"
)

// ServeVoice takes a phone call to the hotline's number: the caller hears one sentence in
// each language and then gets the first question by text.
//
// The sentence is said even when the event cannot be committed. Twilio does not repeat a
// call's webhook, and a failed one plays "an application error has occurred" to somebody
// who may need the emergency number.
func (d *Door) ServeVoice(w http.ResponseWriter, r *http.Request) {
	form, ok := d.signedForm(w, r)
	if !ok {
		return
	}
	sid := form.Get("CallSid")
	if from, ok := d.addressOf(form.Get("From")); ok && callSID.MatchString(sid) && !slices.Contains(withheld, from.Number()) {
		ctx, cancel := context.WithTimeout(r.Context(), ringWithin)
		defer cancel()
		d.hear(ctx, bot.Rang{Event: bot.EventID("tw:" + sid), From: from})
	}
	w.Header().Set("Content-Type", "text/xml")
	io.WriteString(w, xml.Header+d.sentences())
}

// ringWithin is how long a person on the phone waits for the sentence at most. Judgement.
const ringWithin = 3 * time.Second

var callSID = regexp.MustCompile(`^CA[0-9a-fA-F]{32}$`)

// withheld are what Twilio gives as the number of a caller who shows none: words spelled on
// the keypad. From memory.
var withheld = []string{
	"+266696687",   // ANONYMOUS
	"+7378742833",  // RESTRICTED
	"+86282452253", // UNAVAILABLE
	"+8656696",     // UNKNOWN
	"+2562533",     // BLOCKED
}

// sentences returns the TwiML that says VoiceWords, in the order of the languages' names.
func (d *Door) sentences() string {
	var b strings.Builder
	b.WriteString("<Response>")
	for _, language := range slices.Sorted(maps.Keys(d.VoiceWords)) {
		b.WriteString(`<Say language="` + voiceOf(language) + `">`)
		xml.EscapeText(&b, []byte(d.VoiceWords[language]))
		b.WriteString("</Say>")
	}
	b.WriteString("<Hangup/></Response>")
	return b.String()
}

// voiceOf returns the tag by which Twilio's <Say> knows a language's voice: it wants a
// region (https://www.twilio.com/docs/voice/twiml/say).
func voiceOf(language string) string {
	switch language {
	case "es":
		return "es-US"
	case "fr":
		return "fr-CA"
	}
	return "en-US"
}
