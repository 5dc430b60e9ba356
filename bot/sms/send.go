package sms

import (
	"context"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	openapi "github.com/twilio/twilio-go/rest/api/v2010"

	"skepline/notify"
)

// sendWithin bounds one call of Twilio's API.
const sendWithin = 10 * time.Second

// Limits of the Message resource (https://www.twilio.com/docs/messaging/api/message-resource).
const (
	maxBody     = 1600  // characters
	maxValidity = 36000 // seconds
)

// Send hands one message to Twilio. Buttons, pins and photos are left out: the text of an
// SMS already says what to answer and holds a map link, and a picture would need an
// address that anybody can fetch.
func (d *Door) Send(ctx context.Context, out notify.Outgoing) notify.Result {
	switch {
	case out.Edits != "":
		return notify.Result{End: notify.Refused, Reason: "cannot_edit"}
	case strings.TrimSpace(out.Text) == "":
		return notify.Result{End: notify.Refused, Reason: "empty"}
	case utf8.RuneCountInString(out.Text) > maxBody:
		return notify.Result{End: notify.Refused, Reason: "too_long"}
	}
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	call := d.call(ctx)
	made, err := call.api.CreateMessage(d.params(out))
	if err == nil && made.Sid != nil && *made.Sid != "" {
		return notify.Result{End: notify.Accepted, ProviderID: *made.Sid}
	}
	end := call.ended(err)
	if end.Reason == reasonAuth {
		d.Log.Error("twilio refuses the credentials; no SMS goes out: check TWILIO_ACCOUNT_SID and TWILIO_AUTH_TOKEN")
	}
	return end
}

func (d *Door) params(out notify.Outgoing) *openapi.CreateMessageParams {
	p := &openapi.CreateMessageParams{}
	p.SetBody(out.Text)
	p.SetTo(out.To.Number())
	from := d.From
	if out.To.Channel() == notify.WhatsApp {
		p.SetTo("whatsapp:" + out.To.Number())
		from = d.ourWhatsApp()
	}
	if from == "" || serviceSID.MatchString(from) {
		p.SetMessagingServiceSid(d.From)
	} else {
		p.SetFrom(from)
	}
	if !out.NotAfter.IsZero() {
		// So that Twilio's queue drops it too when it has gone stale.
		left := int(math.Ceil(out.NotAfter.Sub(d.Clock.Now()).Seconds()))
		p.SetValidityPeriod(min(max(left, 1), maxValidity))
	}
	if callback := d.statusCallback(out.ID); callback != "" {
		p.SetStatusCallback(callback)
	}
	return p
}
