package sms

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	openapi "github.com/twilio/twilio-go/rest/api/v2010"
)

// How Twilio's message log is read. Judgement, but for the grace.
const (
	sweepEvery   = time.Minute      // with webhooks: for what they lost
	pollEvery    = 10 * time.Second // without: the log is how texts arrive
	sweepGrace   = 15 * time.Second // a webhook, which tells more than the log, comes within that (errors/11205)
	sweepOverlap = 15 * time.Minute // read again behind the mark; a repeated event changes nothing
	sweepBack    = 24 * time.Hour   // never further back than this
	sweepPage    = 200              // messages a request, at most 1000 (Message resource)
)

const (
	sweepLease = "sms-sweep"
	sweepMark  = "sms-sweep" // RFC 3339 time up to which every incoming message was heard
)

// Poll reads Twilio's log again and again until ctx ends: every 10 s when Twilio cannot
// reach us, every minute for lost webhooks otherwise.
func (d *Door) Poll(ctx context.Context) error {
	defer func() {
		// ctx has ended; the lease must not outlive us for a minute.
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		d.Holder.Release(ctx, sweepLease, d.Owner)
	}()
	for ctx.Err() == nil {
		if err := d.SweepStep(ctx, d.Clock.Now()); err != nil && ctx.Err() == nil {
			d.Log.Error("reading twilio's log", "error", err)
		}
		if err := d.Clock.Sleep(ctx, d.every()); err != nil {
			break
		}
	}
	return ctx.Err()
}

func (d *Door) every() time.Duration {
	if d.PublicURL == "" {
		return cmp.Or(d.SweepEvery, pollEvery)
	}
	return cmp.Or(d.SweepEvery, sweepEvery)
}

// SweepStep reads the log once, if this replica has the lease: from a little before the
// mark, which then moves up to the last message before which all were heard.
func (d *Door) SweepStep(ctx context.Context, now time.Time) error {
	held, err := d.Holder.Hold(ctx, sweepLease, d.Owner, 3*d.every())
	if err != nil || !held {
		return err
	}
	noted, err := d.Marks.Mark(ctx, sweepMark)
	if err != nil {
		return err
	}
	mark, err := time.Parse(time.RFC3339, noted)
	if err != nil {
		mark = now // the first time: what is older than the overlap was not meant for us
	}
	since := mark.Add(-sweepOverlap)
	if oldest := now.Add(-sweepBack); since.Before(oldest) {
		since = oldest
	}
	until := now
	if d.PublicURL != "" {
		until = now.Add(-sweepGrace)
	}
	heard, sweepErr := d.Sweep(ctx, since, until)
	if heard.Before(mark) {
		heard = mark
	}
	if next := heard.UTC().Format(time.RFC3339); next != noted {
		if err := d.Marks.SetMark(ctx, sweepMark, next); err != nil {
			return errors.Join(sweepErr, err)
		}
	}
	return sweepErr
}

// Sweep hears every incoming message that Twilio has logged from since to until, oldest
// first, and returns the time of the last one before which all were heard, the zero time
// when there is none. One that cannot be heard does not keep those behind it waiting; it
// keeps the mark, so that it comes again.
func (d *Door) Sweep(ctx context.Context, since, until time.Time) (heard time.Time, err error) {
	incoming, err := d.logged(ctx, since)
	if err != nil {
		return time.Time{}, err
	}
	for _, m := range incoming {
		if ctx.Err() != nil {
			return heard, errors.Join(err, ctx.Err())
		}
		if sentAt(m).After(until) {
			break
		}
		if failed := d.hearLogged(ctx, m); failed != nil {
			err = errors.Join(err, failed)
		} else if err == nil {
			heard = sentAt(m)
		}
	}
	return heard, err
}

// logged returns the incoming messages to our numbers, oldest first.
func (d *Door) logged(ctx context.Context, since time.Time) ([]openapi.ApiV2010Message, error) {
	var all []openapi.ApiV2010Message
	for _, to := range d.ourNumbers() {
		params := &openapi.ListMessageParams{}
		params.SetDateSentAfter(since.UTC()).SetPageSize(sweepPage)
		if to != "" {
			params.SetTo(to)
		}
		found, err := d.pages(ctx, params)
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	all = slices.DeleteFunc(all, func(m openapi.ApiV2010Message) bool { return !d.isIncoming(m) })
	slices.SortStableFunc(all, func(a, b openapi.ApiV2010Message) int { return sentAt(a).Compare(sentAt(b)) })
	return all, nil
}

// ourNumbers returns the receivers to ask the log for; "" means all of the account's.
func (d *Door) ourNumbers() []string {
	if d.service() {
		return []string{""}
	}
	return []string{d.From, d.ourWhatsApp()}
}

func (d *Door) isIncoming(m openapi.ApiV2010Message) bool {
	if text(m.Direction) != "inbound" || text(m.Status) == "receiving" {
		return false
	}
	to := text(m.To)
	return to == d.From || to == d.ourWhatsApp() || d.service() && text(m.MessagingServiceSid) == d.From
}

// pages reads every page of a list.
func (d *Door) pages(ctx context.Context, params *openapi.ListMessageParams) ([]openapi.ApiV2010Message, error) {
	var all []openapi.ApiV2010Message
	token, page := "", ""
	for {
		got, err := d.page(ctx, params, token, page)
		if err != nil {
			return nil, err
		}
		all = append(all, got.Messages...)
		if token, page = nextPage(got); token == "" {
			return all, nil
		}
	}
}

// nextPage returns the token and the number of the page after this one, "" at the end.
func nextPage(got *openapi.ListMessageResponse) (token, page string) {
	next, err := url.Parse(text(got.NextPageUri))
	if err != nil {
		return "", ""
	}
	return next.Query().Get("PageToken"), next.Query().Get("Page")
}

func (d *Door) page(ctx context.Context, params *openapi.ListMessageParams, token, number string) (*openapi.ListMessageResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	call := d.call(ctx)
	got, err := call.api.PageMessage(params, token, number)
	if err != nil {
		return nil, fmt.Errorf("list messages: %s", call.ended(err).Reason)
	}
	return got, nil
}

// hearLogged hears one logged message as its webhook would have told it. The log has no
// pin, no button and no profile; those come by webhook only.
func (d *Door) hearLogged(ctx context.Context, m openapi.ApiV2010Message) (err error) {
	sid := text(m.Sid)
	defer func() { // a fault of ours over one message must not keep the others unheard
		if recover() != nil {
			d.Log.Error("reading a logged message broke", "message", sid, "stack", string(debug.Stack()))
			err = fmt.Errorf("message %s: a fault in the program", sid)
		}
	}()
	form := url.Values{"MessageSid": {sid}, "From": {text(m.From)}, "Body": {text(m.Body)}}
	if n := text(m.NumMedia); n != "" && n != "0" {
		if err := d.listMedia(ctx, sid, form); err != nil {
			return err
		}
	}
	event, ok := d.eventOf(form)
	if !ok {
		return nil
	}
	// What has begun is finished, also while we shut down.
	if !d.hear(context.WithoutCancel(ctx), event) {
		return fmt.Errorf("message %s was not heard", sid)
	}
	return nil
}

// listMedia asks for a message's attachments and enters them as a webhook names them.
func (d *Door) listMedia(ctx context.Context, sid string, form url.Values) error {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	call := d.call(ctx)
	got, err := call.api.PageMedia(sid, (&openapi.ListMediaParams{}).SetPageSize(maxMedia), "", "")
	if err != nil {
		return fmt.Errorf("list media of %s: %s", sid, call.ended(err).Reason)
	}
	form.Set("NumMedia", strconv.Itoa(len(got.MediaList)))
	for i, m := range got.MediaList {
		n := strconv.Itoa(i)
		form.Set("MediaContentType"+n, text(m.ContentType))
		form.Set("MediaUrl"+n, strings.TrimSuffix(text(m.Uri), ".json"))
	}
	return nil
}

// sentAt returns when Twilio logged the message, the zero time when that cannot be read.
func sentAt(m openapi.ApiV2010Message) time.Time {
	for _, s := range []string{text(m.DateSent), text(m.DateCreated)} {
		if t, err := time.Parse(time.RFC1123Z, s); err == nil {
			return t
		}
	}
	return time.Time{}
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}
