package sms

import (
	"errors"
	"strconv"
	"time"

	"github.com/twilio/twilio-go/client"

	"skepline/notify"
)

// Reasons that the code below asks for by name.
const (
	reasonAuth        = "auth"
	reasonUnreachable = "provider_unreachable"
	reasonRate        = "rate"
)

// reasons are Twilio's error codes (https://www.twilio.com/docs/api/errors) in the words
// the hotline uses. What is not listed is "twilio_<code>".
var reasons = map[int]string{
	21211: "bad_number",     // invalid To
	21614: "landline",       // To cannot get SMS
	21635: "landline",       // To is a landline
	21610: "opted_out",      // recipient has texted STOP
	21408: "not_permitted",  // this country is switched off in the account
	21608: "unverified",     // trial account: To not verified
	14111: "unverified",     // the same, by another way
	21617: "too_long",       // body over 1600
	21602: "empty",          // no body
	14103: "empty",          // no body
	21612: "unreachable",    // no route from From to To
	21606: "bad_sender",     // From is not ours
	21603: "bad_sender",     // no From
	30003: "unreachable",    // handset off or out of reach
	30004: "blocked",        // message blocked
	30005: "bad_number",     // unknown handset
	30006: "landline",       // landline or unreachable carrier
	30036: "expired",        // waited longer than its ValidityPeriod
	63003: "bad_number",     // channel: no such To
	63014: "blocked",        // the user blocked the channel
	63016: "outside_window", // WhatsApp: more than 24 h after their last message
	63024: "bad_number",     // WhatsApp: invalid recipient
	20003: reasonAuth,       // authentication failed
	20005: reasonAuth,       // account not active
	20006: reasonAuth,       // access denied
	20404: reasonAuth,       // no such account
	21222: reasonAuth,       // twilio-go's own: the account SID has odd characters
	21224: reasonAuth,       // twilio-go's own: the token has odd characters
	20429: reasonRate,       // too many requests; not processed, safe to repeat
	14107: reasonRate,       // send rate exceeded
	21611: "queue_full",     // From has too many messages waiting
	30001: "queue_full",     // the same, of a messaging service
	63017: reasonRate,       // account over its rate
	63018: reasonRate,       // channel over its rate
}

// ReasonOf returns an error code of a delivery report in the hotline's words: "unreachable",
// "bad_number", "twilio_30007"; "" for none.
func ReasonOf(code string) string {
	n, err := strconv.Atoi(code)
	if err != nil || n == 0 {
		return ""
	}
	if reason, known := reasons[n]; known {
		return reason
	}
	return "twilio_" + strconv.Itoa(n)
}

// later are the reasons for which the whole channel waits, and for how long. Judgement:
// Twilio names no figures.
var later = map[string]time.Duration{
	reasonAuth:        time.Minute,
	reasonRate:        2 * time.Second,
	"queue_full":      time.Minute,
	reasonUnreachable: 5 * time.Second,
}

// ended says how a call that returned err ended.
//
//	Twilio said no with one of its codes    refused, or later when the reason passes
//	429                                     later: "requests that receive 429 aren't processed"
//	no connection (dial, TLS)               later: nothing was sent
//	5xx, not JSON, no answer                ambiguous: it may have been taken
func (c call) ended(err error) notify.Result {
	var no *client.TwilioRestError
	said := errors.As(err, &no)
	switch {
	case c.wire.status == 429:
		return wait(reasonRate, c.wire.retryAfter)
	case c.wire.status >= 500:
		return notify.Result{End: notify.Ambiguous, Reason: "twilio_http_" + strconv.Itoa(c.wire.status)}
	case said && no.Code != 0:
		return refusal(ReasonOf(strconv.Itoa(no.Code)))
	case c.wire.status == 401:
		return refusal(reasonAuth)
	case said && c.wire.status >= 400:
		return refusal("twilio_http_" + strconv.Itoa(c.wire.status))
	case !c.wire.reached:
		return wait(reasonUnreachable, "")
	}
	return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
}

func refusal(reason string) notify.Result {
	if _, passes := later[reason]; passes {
		return wait(reason, "")
	}
	return notify.Result{End: notify.Refused, Reason: reason}
}

// wait is a RetryLater that holds the channel: for as long as Twilio asks, in seconds, or
// as long as the reason deserves.
func wait(reason, retryAfter string) notify.Result {
	after := later[reason]
	if s, err := strconv.Atoi(retryAfter); err == nil && s > 0 && s <= 3600 {
		after = time.Duration(s) * time.Second
	}
	return notify.Result{End: notify.RetryLater, Reason: reason, After: after, Pause: true, Down: reason == reasonUnreachable || reason == reasonAuth}
}
