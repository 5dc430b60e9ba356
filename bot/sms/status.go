package sms

import (
	"context"
	"net/http"
	"net/url"

	"skepline/bot"
)

// ServeStatus takes Twilio's delivery reports (StatusCallback) for messages that Send gave
// it. They come in any order and more than once; merging them is the hotline's affair.
func (d *Door) ServeStatus(w http.ResponseWriter, r *http.Request) {
	form, ok := d.signedForm(w, r)
	if !ok {
		return
	}
	report := bot.DeliveryReport{
		// In the signed address, so nobody else can put it there.
		Message:    r.URL.Query().Get("m"),
		ProviderID: form.Get("MessageSid"),
		Status:     form.Get("MessageStatus"),
		Code:       form.Get("ErrorCode"),
	}
	if report.Message == "" || report.Status == "" {
		answer(w) // not about a message of ours
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), hearWithin)
	defer cancel()
	if err := d.Reports.Report(ctx, report, ReasonOf(report.Code)); err != nil {
		d.Log.Error("delivery report not kept", "message", report.Message, "error", err)
		refuse(w, http.StatusServiceUnavailable)
		return
	}
	answer(w)
}

// statusCallback returns where Twilio should report on message, "" when it cannot reach us.
func (d *Door) statusCallback(message string) string {
	if d.PublicURL == "" {
		return ""
	}
	return d.PublicURL + "/twilio/status?m=" + url.QueryEscape(message)
}
