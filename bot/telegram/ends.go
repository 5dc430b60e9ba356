package telegram

import (
	"context"
	"errors"
	"net/http/httptrace"
	"strings"
	"time"

	tgbot "github.com/go-telegram/bot"

	"skepline/notify"
)

// Reasons that the code asks for by name.
const (
	reasonAuth        = "auth"
	reasonUnreachable = "provider_unreachable"
	reasonRate        = "rate"
)

// call is the context of one API call, with a note of whether the request can have arrived.
type call struct {
	ctx     context.Context
	reached *bool
}

func (d *Door) call(ctx context.Context) call {
	c := call{reached: new(bool)}
	// Dialling and the TLS handshake are over when a connection is handed out.
	c.ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{
		GotConn: func(httptrace.GotConnInfo) { *c.reached = true },
	})
	return c
}

// ended says how a call that returned err ended.
//
//	403                     refused: the person blocked the bot, is gone, or never wrote
//	400                     refused, with the reason that Telegram's words name
//	429                     later, after retry_after, and so does everything else: one chat's rate is
//	                        kept by the outbox, so this is the whole bot's
//	401, 404                later: the token is wrong, nothing is the message's fault
//	no connection           later: nothing was sent
//	5xx, no answer          ambiguous: it may have been taken
func (c call) ended(err error) notify.Result {
	var slow *tgbot.TooManyRequestsError
	var moved *tgbot.MigrateError
	switch {
	case errors.As(err, &slow):
		after := max(time.Duration(slow.RetryAfter)*time.Second, time.Second)
		return later(reasonRate, after)
	case errors.Is(err, tgbot.ErrorForbidden):
		return refused("blocked")
	case errors.Is(err, tgbot.ErrorUnauthorized), errors.Is(err, tgbot.ErrorNotFound):
		return later(reasonAuth, time.Minute)
	case errors.Is(err, tgbot.ErrorBadRequest), errors.As(err, &moved):
		return refused(reasonOf(err.Error()))
	case !*c.reached:
		return later(reasonUnreachable, 5*time.Second)
	}
	return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
}

// reasonOf reads the words of a 400; Telegram gives no finer code. From memory.
func reasonOf(words string) string {
	words = strings.ToLower(words)
	for _, known := range []struct{ words, reason string }{
		{"chat not found", "unreachable"},
		{"message to edit not found", "nothing_to_edit"},
		{"message can't be edited", "nothing_to_edit"},
		{"there is no text in the message to edit", "nothing_to_edit"},
		{"message is too long", "too_long"},
		{"message text is empty", "empty"},
		{"wrong file identifier", "bad_photo"},
		{"wrong remote file", "bad_photo"},
	} {
		if strings.Contains(words, known.words) {
			return known.reason
		}
	}
	return "telegram_400"
}

func refused(reason string) notify.Result {
	return notify.Result{End: notify.Refused, Reason: reason}
}

func later(reason string, after time.Duration) notify.Result {
	return notify.Result{End: notify.RetryLater, Reason: reason, After: after, Pause: true, Down: reason == reasonUnreachable || reason == reasonAuth}
}
