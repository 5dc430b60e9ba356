package sms

import (
	"context"
	"encoding/xml"
	"io"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// hearWithin is how long a webhook may wait for its commit. Twilio hangs up after 15 s
// (https://www.twilio.com/docs/api/errors/11205).
const hearWithin = 8 * time.Second

// ServeMessage takes Twilio's webhook for an incoming SMS, MMS or WhatsApp message.
func (d *Door) ServeMessage(w http.ResponseWriter, r *http.Request) {
	form, ok := d.signedForm(w, r)
	if !ok {
		return
	}
	event, ok := d.eventOf(form)
	if !ok {
		answer(w)
		return
	}
	if !d.hear(r.Context(), event) {
		refuse(w, http.StatusServiceUnavailable)
		return
	}
	answer(w)
}

// hear reports whether the hotline committed the event.
func (d *Door) hear(ctx context.Context, e bot.Event) bool {
	ctx, cancel := context.WithTimeout(ctx, hearWithin)
	defer cancel()
	if _, err := d.Hearer.Hear(ctx, e); err != nil {
		d.Log.Error("event not committed", "event", string(e.ID()), "error", err)
		return false
	}
	return true
}

// answer acknowledges with an empty TwiML document. Replies go through the outbox: what is
// said here could not be observed, and would be said again when the webhook is repeated.
func answer(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/xml")
	io.WriteString(w, xml.Header+"<Response/>")
}

// eventOf reads a webhook's parameters. It reports false when there is nobody to answer: a
// short code, a name instead of a number, no message id.
func (d *Door) eventOf(form url.Values) (bot.Event, bool) {
	sid := form.Get("MessageSid")
	from, ok := d.addressOf(form.Get("From"))
	if !ok || !messageSID.MatchString(sid) {
		d.Log.Info("message from a sender that cannot be answered: ignored", "message", sid)
		return nil, false
	}
	id, profile := bot.EventID("tw:"+sid), firstWord(form.Get("ProfileName"))
	if says := bot.Typed(form.Get("ButtonPayload")); says != "" {
		return bot.Tapped{Event: id, From: from, Says: says, Profile: profile}, true
	}
	said := bot.Said{
		Event: id, From: from, Profile: profile,
		Text:   bot.Typed(form.Get("Body")),
		Pin:    pinOf(form),
		OptOut: optOut(form.Get("OptOutType")),
	}
	for _, m := range mediaOf(form) {
		m.addTo(&said)
	}
	return orGarbled(said), true
}

var messageSID = regexp.MustCompile(`^(SM|MM)[0-9a-fA-F]{32}$`)

// orGarbled marks a message of which nothing could be read, so that its sender is told.
func orGarbled(s bot.Said) bot.Said {
	if s.Text == "" && s.Pin == nil && len(s.Photos) == 0 && s.Card == "" && s.Other == "" {
		s.Other = "garbled"
	}
	return s
}

// optOut returns what Twilio's opt-out handling says it did, "" when it says nothing we
// know (https://www.twilio.com/docs/messaging/tutorials/advanced-opt-out).
func optOut(kind string) string {
	kind = strings.ToUpper(kind)
	if slices.Contains([]string{"STOP", "START", "HELP"}, kind) {
		return kind
	}
	return ""
}

// pinOf returns the location of a WhatsApp message, nil when there is none on earth.
func pinOf(form url.Values) *bot.Point {
	lat, err1 := strconv.ParseFloat(form.Get("Latitude"), 64)
	lon, err2 := strconv.ParseFloat(form.Get("Longitude"), 64)
	// Written so that NaN fails. Nobody stands at 0, 0: it is a phone that does not know.
	if err1 != nil || err2 != nil || !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) || lat == 0 && lon == 0 {
		return nil
	}
	title := form.Get("Label")
	if title == "" {
		title = form.Get("Address")
	}
	return &bot.Point{Lat: lat, Lon: lon, Title: bot.Typed(title)}
}

func firstWord(name string) string {
	words := strings.Fields(bot.Typed(name))
	if len(words) == 0 {
		return ""
	}
	if first := []rune(words[0]); len(first) > 40 {
		return string(first[:40])
	}
	return words[0]
}

// media is one attachment.
type media struct {
	message, sid, kind string // kind is the MIME type
}

// maxMedia is how many attachments Twilio passes on (Message resource: ten).
const maxMedia = 10

var mediaSID = regexp.MustCompile(`/Messages/((?:SM|MM)[0-9a-fA-F]{32})/Media/(ME[0-9a-fA-F]{32})$`)

func mediaOf(form url.Values) []media {
	count, err := strconv.Atoi(form.Get("NumMedia"))
	if err != nil {
		return nil
	}
	var all []media
	for i := range min(count, maxMedia) {
		n := strconv.Itoa(i)
		m := media{kind: form.Get("MediaContentType" + n)}
		// Only the ids are kept: an address is built from them when a picture is fetched,
		// so that no foreign address is ever called.
		if ids := mediaSID.FindStringSubmatch(form.Get("MediaUrl" + n)); ids != nil {
			m.message, m.sid = ids[1], ids[2]
		}
		all = append(all, m)
	}
	return all
}

// addTo enters the attachment: a picture by its name, anything else by what it is.
func (m media) addTo(s *bot.Said) {
	kind := strings.ToLower(m.kind)
	if strings.HasPrefix(kind, "image/") && m.sid != "" {
		s.Photos = append(s.Photos, "tw:"+m.message+"/"+m.sid)
		return
	}
	if strings.Contains(kind, "vcard") && m.sid != "" && s.Card == "" {
		// What a phone sends for a contact, and what some send for a shared location.
		s.Card = "tw:" + m.message + "/" + m.sid
		return
	}
	if s.Other != "" {
		return
	}
	switch {
	case strings.Contains(kind, "vcard"):
		s.Other = "contact"
	case strings.HasPrefix(kind, "audio/"):
		s.Other = "voice"
	case strings.HasPrefix(kind, "video/"):
		s.Other = "video"
	default:
		s.Other = "document"
	}
}

// addressOf reads a sender as Twilio writes it: "+16075550142", "whatsapp:+16075550142", or
// a number in another form. Short codes and names cannot be answered.
func (d *Door) addressOf(from string) (notify.Address, bool) {
	channel := notify.SMS
	if number, whatsapp := strings.CutPrefix(from, "whatsapp:"); whatsapp {
		channel, from = notify.WhatsApp, number
	}
	number, ok := numberOf(from, d.Country)
	if !ok {
		return "", false
	}
	return notify.Address(string(channel) + ":" + number), true
}
