package sms

import (
	"fmt"
	"testing"
	"time"

	"skepline/bot/standin"
	"skepline/notify"
)

// TestResolve holds that Twilio's log tells apart what was taken and what was not.
func TestResolve(t *testing.T) {
	lost := standin.Trouble{Status: 503, Accept: true}
	for _, c := range []struct {
		why   string
		meet  standin.Trouble
		log   *standin.Trouble
		since time.Duration // from now
		words string        // "" = those that were sent
		want  notify.End
	}{
		{"taken, and the answer lost", standin.ReplyLost, nil, 0, "", notify.Accepted},
		{"taken, and answered 503", lost, nil, 0, "", notify.Accepted},
		{"not taken", standin.Trouble{Cut: true}, nil, 0, "", notify.RetryLater},
		{"503 and not taken", standin.Broken(503), nil, 0, "", notify.RetryLater},
		{"taken long before this attempt", standin.ReplyLost, nil, 2 * time.Minute, "", notify.RetryLater},
		{"other words to the same number", standin.ReplyLost, nil, 0, "Swarm 5 km away.", notify.RetryLater},
		{"the log cannot be read", standin.ReplyLost, &standin.Trouble{Status: 500, HTML: true}, 0, "", notify.Ambiguous},
	} {
		t.Run(c.why, func(t *testing.T) {
			h := open(t)
			h.twilio.Next(standin.TwilioCreate, 1, c.meet)
			out := offer("sms:" + gwen)
			if got := h.Send(t.Context(), out); got.End != notify.Ambiguous {
				t.Fatalf("the send ended %s; this test is about doubt", got.End)
			}
			if c.log != nil {
				h.twilio.Next(standin.TwilioList, 1, *c.log)
			}
			if c.words != "" {
				out.Text = c.words
			}
			got := h.Resolve(t.Context(), out, time.Now().Add(c.since))
			if got.End != c.want {
				t.Errorf("resolved as %+v, want %s", got, c.want)
			}
			if sent := h.twilio.Sent(); got.End == notify.Accepted && got.ProviderID != sent[0].SID {
				t.Errorf("found %s, sent was %s", got.ProviderID, sent[0].SID)
			}
		})
	}
}

// TestResolvePages holds that the message is found behind newer ones of the same number,
// and that a caller's own words are not taken for ours.
func TestResolvePages(t *testing.T) {
	h := open(t)
	out := offer("sms:" + gwen)
	h.twilio.Text(ours, gwen, out.Text) // a receiver's log never shows that, but if it did
	if got := h.Resolve(t.Context(), out, time.Now()); got.End != notify.RetryLater {
		t.Fatalf("an incoming message was taken for ours: %+v", got)
	}
	h.twilio.Next(standin.TwilioCreate, 1, standin.ReplyLost)
	h.Send(t.Context(), out)
	for n := range sweepPage + 20 {
		later := out
		later.Text = fmt.Sprint("Text ", n)
		h.Send(t.Context(), later)
	}
	if got := h.Resolve(t.Context(), out, time.Now().Add(-time.Second)); got.End != notify.Accepted {
		t.Errorf("not found behind %d newer ones: %+v", sweepPage+20, got)
	}
}
