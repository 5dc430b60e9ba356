package sms

import (
	"context"
	"strconv"
	"strings"
	"time"

	openapi "github.com/twilio/twilio-go/rest/api/v2010"

	"skepline/notify"
)

const (
	resolveSkew   = 30 * time.Second // by which Twilio's clock may be behind ours
	resolvePages  = 5                // of the newest messages to one number; older ones cannot be it
	resolveSafety = 2 * time.Second  // an emergency text does not wait longer for a look-up
)

var _ notify.Resolver = (*Door)(nil)

// Resolve looks in Twilio's log for a message with out's words to out's receiver, made at
// since or later; see notify.Resolver. The log is filtered by To only: DateSent is empty
// while a message waits in Twilio's queue (Message resource), and just those are in doubt.
// The same words sent to the same person a moment before by another message count as found:
// the person has read them then.
func (d *Door) Resolve(ctx context.Context, out notify.Outgoing, since time.Time) notify.Result {
	patience := sendWithin
	if out.Class == notify.Safety {
		patience = resolveSafety
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	params := &openapi.ListMessageParams{}
	params.SetTo(*d.params(out).To).SetPageSize(sweepPage)
	oldest := since.Add(-resolveSkew)
	token, number := "", ""
	for range resolvePages {
		got, err := d.page(ctx, params, token, number)
		if err != nil {
			return notify.Result{End: notify.Ambiguous, Reason: "log_unread"}
		}
		for _, m := range got.Messages {
			if made := madeAt(m); made.IsZero() || made.Before(oldest) || !sameWords(text(m.Body), out.Text) || text(m.Direction) == "inbound" {
				continue
			}
			return becameOf(m)
		}
		if token, number = nextPage(got); token == "" || len(got.Messages) > 0 && madeAt(got.Messages[len(got.Messages)-1]).Before(oldest) {
			break
		}
	}
	return notify.Result{End: notify.RetryLater, Reason: "not_taken"}
}

// becameOf reads a logged message that turned out to be ours.
func becameOf(m openapi.ApiV2010Message) notify.Result {
	switch text(m.Status) {
	case "failed", "undelivered", "canceled":
		reason := "unreachable"
		if m.ErrorCode != nil && *m.ErrorCode != 0 {
			reason = ReasonOf(strconv.Itoa(*m.ErrorCode))
		}
		return notify.Result{End: notify.Refused, ProviderID: text(m.Sid), Reason: reason}
	}
	return notify.Result{End: notify.Accepted, ProviderID: text(m.Sid)}
}

// sameWords compares what we sent with what Twilio logged. A trial account puts words of
// Twilio's in front (from memory); smart encoding may change the kind of spaces.
func sameWords(logged, ours string) bool {
	logged, ours = strings.Join(strings.Fields(logged), " "), strings.Join(strings.Fields(ours), " ")
	return logged == ours || strings.HasPrefix(logged, "Sent from your Twilio trial account") && strings.HasSuffix(logged, ours)
}

// madeAt returns when Twilio took the message.
func madeAt(m openapi.ApiV2010Message) time.Time {
	if t, err := time.Parse(time.RFC1123Z, text(m.DateCreated)); err == nil {
		return t
	}
	return sentAt(m)
}
