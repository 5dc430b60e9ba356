// Package telegram is the door to Telegram: it turns updates into events, by webhook or by
// polling, and sends messages by the Bot API (https://core.telegram.org/bots/api). Start
// at New.
//
//	POST /telegram -> ServeHTTP -> Hearer      with a public address
//	getUpdates     -> Poll      -> Hearer      without one
//	Send           -> Telegram                 fills notify.Sender
//
// An update is acknowledged only after its event is committed: the webhook answers 200 then
// and 503 before, and the poll asks for the next updates only when all before them were
// heard. The library go-telegram/bot is used as a typed sender; its own webhook and poll
// acknowledge updates before any handler has run, so both are written here.
package telegram
