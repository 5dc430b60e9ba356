package telegram

import (
	"context"
	"crypto/subtle"
	"errors"
	"io"
	"net/http"
	"time"

	tgbot "github.com/go-telegram/bot"

	"skepline/bot"
)

const (
	maxWebhook = 256 << 10       // bytes of an update: 4096 characters, and a message it answers. Judgement
	hearWithin = 8 * time.Second // how long a webhook may wait for its commit. Judgement
	tapWithin  = 3 * time.Second // how long the answer to a tap may take
	tapsAtOnce = 32              // answers to taps under way; more are left unanswered
)

// ServeHTTP takes Telegram's webhook: 200 after the event is committed, 503 when it cannot
// be, so that Telegram brings the update again.
func (d *Door) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		refuse(w, http.StatusMethodNotAllowed)
		return
	}
	if !d.knows(r.Header.Get("X-Telegram-Bot-Api-Secret-Token")) {
		if untold, ok := d.refusals.Tell(d.Clock.Now()); ok {
			d.Log.Warn("telegram webhook with a bad secret: refused", "more_untold", untold)
		}
		refuse(w, http.StatusUnauthorized)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxWebhook))
	if err != nil {
		refuse(w, bodyStatus(err))
		return
	}
	u, err := readUpdate(body)
	if err != nil {
		d.Log.Error("telegram webhook that is no update: refused", "bytes", len(body))
		refuse(w, http.StatusBadRequest)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), hearWithin)
	defer cancel()
	if err := d.hear(ctx, u); err != nil {
		d.Log.Error("event not committed", "event", string(d.eventID(u.ID)), "error", d.scrub(err))
		refuse(w, http.StatusServiceUnavailable)
	}
}

// knows compares a webhook's secret in constant time. Without a secret nobody is let in.
func (d *Door) knows(secret string) bool {
	return d.Secret != "" && subtle.ConstantTimeCompare([]byte(secret), []byte(d.Secret)) == 1
}

// hear takes one update through the hotline. It returns nil when the update is done with:
// committed, or no affair of ours.
func (d *Door) hear(ctx context.Context, u update) error {
	event, ok := d.eventOf(u)
	if !ok {
		return nil
	}
	outcome, err := d.Hearer.Hear(ctx, event)
	if err != nil {
		return err
	}
	if tapped, ok := event.(bot.Tapped); ok {
		d.answerTap(u.CallbackQuery.ID, outcome, tapped.Language)
	}
	return nil
}

// answerTap stops the waiting mark on the button that was pressed and shows a few words. It
// does not keep the acknowledgement waiting, and losing it harms nobody: what matters
// comes as a message.
func (d *Door) answerTap(query string, outcome bot.Outcome, language string) {
	select {
	case d.taps <- struct{}{}:
	default:
		return
	}
	words := ""
	if d.TapWords != nil {
		words = d.TapWords(outcome, language)
	}
	d.tapping.Go(func() {
		defer func() { <-d.taps }()
		ctx, cancel := context.WithTimeout(context.Background(), tapWithin)
		defer cancel()
		c := d.call(ctx)
		_, err := d.bot.AnswerCallbackQuery(c.ctx, &tgbot.AnswerCallbackQueryParams{CallbackQueryID: query, Text: cut(words, maxTapWords)})
		if err != nil {
			d.Log.Info("tap not answered", "reason", c.ended(err).Reason)
		}
	})
}

// maxTapWords is how much the answer to a tap may show (Bot API, answerCallbackQuery).
const maxTapWords = 200

func bodyStatus(err error) int {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return http.StatusRequestEntityTooLarge
	}
	return http.StatusBadRequest
}

func refuse(w http.ResponseWriter, status int) { http.Error(w, http.StatusText(status), status) }
