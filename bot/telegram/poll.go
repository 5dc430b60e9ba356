package telegram

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"runtime/debug"
	"sync"
	"time"
)

const (
	pollFor    = 20 * time.Second // how long Telegram holds a request that has nothing to tell
	pollLimit  = 50               // updates at a time, at most 100 (Bot API, getUpdates)
	pollLease  = "telegram-poll"
	leaseFor   = 30 * time.Second
	leaseRenew = leaseFor / 3
	setAside   = 10 * time.Minute // for so long an update that cannot be heard holds up the rest
	maxAnswer  = 32 << 20         // bytes of one answer
)

// Poll asks Telegram for updates until ctx ends, in turn with other replicas: one of them
// has the lease. It returns only when ctx ends.
func (d *Door) Poll(ctx context.Context) error {
	p := &poller{Door: d}
	for ctx.Err() == nil {
		if err := p.turn(ctx); err != nil && ctx.Err() == nil {
			d.Log.Error("telegram poll lease", "error", d.scrub(err))
		}
		d.Clock.Sleep(ctx, d.leaseFor()/3) // ends with ctx
	}
	return ctx.Err()
}

// leaseFor is how long the lease lasts; it is renewed three times in that.
func (d *Door) leaseFor() time.Duration { return cmp.Or(d.Lease, leaseFor) }

// poller is one replica's poll.
type poller struct {
	*Door
	cleared bool  // the webhook is gone, without which there are no updates
	offset  int64 // the first update not yet heard; 0 = whichever Telegram has
	fails   int   // steps that failed in a row

	stuck      int64 // the update that could not be heard
	stuckSince time.Time
}

// turn polls for as long as this replica has the lease.
func (p *poller) turn(ctx context.Context) error {
	held, err := p.Holder.Hold(ctx, pollLease, p.Owner, p.leaseFor())
	if err != nil || !held {
		return err
	}
	leased, stop := context.WithCancel(ctx)
	var renewing sync.WaitGroup
	renewing.Go(func() {
		defer stop() // a lost lease cuts the request that is under way
		p.renew(leased)
	})
	p.cleared = false
	for leased.Err() == nil {
		if err := p.step(leased); err != nil && leased.Err() == nil {
			p.Log.Warn("telegram poll", "error", p.scrub(err))
			p.Clock.Sleep(leased, p.pause(err))
		}
	}
	stop()
	renewing.Wait()
	release, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	return p.Holder.Release(release, pollLease, p.Owner)
}

// renew keeps the lease and returns when it is lost or ctx ends.
func (p *poller) renew(ctx context.Context) {
	for p.Clock.Sleep(ctx, p.leaseFor()/3) == nil {
		if held, err := p.Holder.Hold(ctx, pollLease, p.Owner, p.leaseFor()); err != nil || !held {
			p.Log.Warn("telegram poll: lease lost", "error", err)
			return
		}
	}
}

// step asks once and hears what comes. The offset of the next request, by which Telegram
// forgets what is before it, moves only past updates that were heard.
func (p *poller) step(ctx context.Context) (err error) {
	defer func() {
		p.fails++
		if err == nil {
			p.fails = 0
		}
	}()
	if !p.cleared {
		if err := p.post(ctx, "deleteWebhook", map[string]any{"drop_pending_updates": false}, nil); err != nil {
			return err
		}
		p.cleared = true
	}
	batch, err := p.getUpdates(ctx)
	if err != nil {
		return err
	}
	if len(batch) == 0 {
		// All are confirmed. After a quiet week Telegram starts anywhere with its numbers,
		// also below the old ones: an offset kept for so long would throw new texts away.
		p.offset = 0
		return nil
	}
	return p.hearAll(ctx, batch)
}

func (p *poller) getUpdates(ctx context.Context) ([]update, error) {
	ctx, cancel := context.WithTimeout(ctx, pollFor+sendWithin)
	defer cancel()
	ask := map[string]any{"timeout": int(pollFor.Seconds()), "limit": pollLimit, "allowed_updates": allowedUpdates}
	if p.offset != 0 {
		ask["offset"] = p.offset
	}
	var raw []json.RawMessage
	if err := p.post(ctx, "getUpdates", ask, &raw); err != nil {
		return nil, err
	}
	var batch []update
	for _, r := range raw {
		u, err := readUpdate(r)
		if err != nil {
			return nil, errors.New("getUpdates: an update without a number")
		}
		batch = append(batch, u)
	}
	return batch, nil
}

// hearAll hears a batch in order and stops at the first that cannot be heard.
func (p *poller) hearAll(ctx context.Context, batch []update) error {
	for i, u := range batch {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		err := p.hearOne(ctx, u)
		if err != nil && p.stuckFor(u.ID) > setAside && p.anyHeard(ctx, batch[i+1:]) {
			// The store is well, so the fault is in this one; it must not silence the rest.
			p.Log.Error("telegram update set aside: it cannot be heard", "event", string(p.eventID(u.ID)), "error", p.scrub(err))
			err = nil
		}
		if err != nil {
			return fmt.Errorf("hear %s: %w", p.eventID(u.ID), err)
		}
		p.offset = u.ID + 1
	}
	return nil
}

// hearOne finishes what it began, also while we shut down.
func (p *poller) hearOne(ctx context.Context, u update) (err error) {
	defer func() { // a fault of ours over one update is that update's trouble
		if recover() != nil {
			p.Log.Error("reading an update broke", "event", string(p.eventID(u.ID)), "stack", string(debug.Stack()))
			err = errors.New("a fault in the program")
		}
	}()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), hearWithin)
	defer cancel()
	return p.hear(ctx, u)
}

// anyHeard reports whether one of the updates can be heard. They come again in their turn,
// and a repeated event changes nothing.
func (p *poller) anyHeard(ctx context.Context, batch []update) bool {
	for _, u := range batch {
		if p.hearOne(ctx, u) == nil {
			return true
		}
	}
	return false
}

// stuckFor returns for how long the update has been failing.
func (p *poller) stuckFor(update int64) time.Duration {
	now := p.Clock.Now()
	if p.stuck != update {
		p.stuck, p.stuckSince = update, now
	}
	return now.Sub(p.stuckSince)
}

// pause returns how long to wait after a step that failed.
func (p *poller) pause(err error) time.Duration {
	var no *apiError
	if !errors.As(err, &no) {
		no = &apiError{}
	}
	switch no.status {
	case http.StatusTooManyRequests:
		return max(no.retryAfter, time.Second)
	case http.StatusConflict: // somebody else polls with this token, or set a webhook
		p.cleared = false
		return 10 * time.Second
	case http.StatusUnauthorized, http.StatusNotFound:
		p.Log.Error("telegram refuses the token; nothing comes in: check TELEGRAM_BOT_TOKEN")
		return time.Minute
	}
	return min(time.Second<<min(p.fails, 6), 30*time.Second)
}

// apiError is an answer of the Bot API that says no.
type apiError struct {
	method     string
	status     int
	words      string
	retryAfter time.Duration
}

func (e *apiError) Error() string { return fmt.Sprintf("%s: %d %s", e.method, e.status, e.words) }

// post calls a method of the Bot API and reads its result, if result is not nil.
func (d *Door) post(ctx context.Context, method string, params map[string]any, result any) error {
	body, err := json.Marshal(params)
	if err != nil {
		return fmt.Errorf("%s: %w", method, err)
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, d.APIURL+"/bot"+d.Token+"/"+method, bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("%s: the address of the Bot API is not one", method) // err holds the token
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := d.http.Do(r)
	if err != nil {
		var withURL *url.Error
		if errors.As(err, &withURL) {
			err = withURL.Err // the address holds the token
		}
		return fmt.Errorf("%s: %w", method, err)
	}
	defer answer.Body.Close()
	return readAnswer(method, answer, result)
}

func readAnswer(method string, answer *http.Response, result any) error {
	var said struct {
		OK          bool            `json:"ok"`
		Result      json.RawMessage `json:"result"`
		Code        int             `json:"error_code"`
		Description string          `json:"description"`
		Parameters  struct {
			RetryAfter int `json:"retry_after"`
		} `json:"parameters"`
	}
	if err := json.NewDecoder(io.LimitReader(answer.Body, maxAnswer)).Decode(&said); err != nil {
		return &apiError{method: method, status: answer.StatusCode, words: "not an answer of the Bot API"}
	}
	if !said.OK {
		return &apiError{method: method, status: said.Code, words: said.Description,
			retryAfter: time.Duration(said.Parameters.RetryAfter) * time.Second}
	}
	if result == nil {
		return nil
	}
	if err := json.Unmarshal(said.Result, result); err != nil {
		return fmt.Errorf("%s: read the result: %w", method, err)
	}
	return nil
}
