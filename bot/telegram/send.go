package telegram

import (
	"bytes"
	"context"
	"fmt"
	"image"
	_ "image/jpeg" // what phones send
	_ "image/png"  // what we draw
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"

	tgbot "github.com/go-telegram/bot"
	"github.com/go-telegram/bot/models"

	"skepline/notify"
)

// Limits of the Bot API. Telegram counts characters; UTF-16 units are never fewer.
const (
	maxText    = 4096     // UTF-16 units of a message
	maxCaption = 1024     // UTF-16 units under a picture
	maxSays    = 64       // bytes behind a button
	maxPhoto   = 10 << 20 // bytes of a picture that is uploaded
)

// pictureWithin bounds the fetching or drawing of a picture, so that there is time left to send.
const pictureWithin = 5 * time.Second

// Send hands one message to Telegram, in one request, so that one message has one end:
//
//	Edits           editMessageText, buttons included; editMessageCaption under a picture
//	a picture       sendPhoto with the text below it; the first one only, uploaded when
//	                Telegram does not have it
//	a pin, no text  sendVenue
//	else            sendMessage; a pin becomes a map link in the last line
//
// A picture is left out when the text does not fit under it. Texts are sent as they are,
// with no markup, so no character of them can mean anything.
func (d *Door) Send(ctx context.Context, out notify.Outgoing) notify.Result {
	chat, err := strconv.ParseInt(out.To.Number(), 10, 64)
	if err != nil {
		return refused("bad_number")
	}
	keyboard, err := keyboardOf(out.Buttons)
	if err != nil {
		d.Log.Error("button that Telegram would refuse", "message", out.ID, "error", err)
		return refused("bad_button")
	}
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	photo := d.pictureOf(ctx, out) // before the call: fetching it would count as Telegram's answer
	c := d.call(ctx)
	made, err := d.request(c.ctx, chat, out, photo, keyboard)
	end := d.endOf(c, made, err)
	if end.Reason == reasonAuth {
		d.Log.Error("telegram refuses the token; nothing goes out: check TELEGRAM_BOT_TOKEN")
	}
	return end
}

// request picks the method and calls it.
func (d *Door) request(ctx context.Context, chat int64, out notify.Outgoing, photo models.InputFile, keyboard models.ReplyMarkup) (*models.Message, error) {
	text := out.Text
	if out.Pin != nil && (text != "" || photo != nil || out.Edits != "") {
		text = strings.TrimSpace(text + "\n" + mapLink(out.Pin))
	}
	// What tells the way to somebody's garden is not to be passed on.
	protect := out.Class == notify.Claim
	switch {
	case out.Edits != "":
		return d.edit(ctx, chat, out, cut(text, maxText), keyboard)
	case out.Pin != nil && text == "":
		return d.bot.SendVenue(ctx, &tgbot.SendVenueParams{
			ChatID: chat, Latitude: out.Pin.Lat, Longitude: out.Pin.Lon,
			Title: orDot(out.Pin.Title), Address: orDot(out.Pin.Address),
			DisableNotification: out.Silent, ProtectContent: protect, ReplyMarkup: keyboard,
		})
	case photo != nil:
		return d.bot.SendPhoto(ctx, &tgbot.SendPhotoParams{
			ChatID: chat, Photo: photo, Caption: cut(text, maxCaption),
			DisableNotification: out.Silent, ProtectContent: protect, ReplyMarkup: keyboard,
		})
	}
	return d.bot.SendMessage(ctx, &tgbot.SendMessageParams{
		ChatID: chat, Text: cut(text, maxText), LinkPreviewOptions: noPreview,
		DisableNotification: out.Silent, ProtectContent: protect, ReplyMarkup: keyboard,
	})
}

// noPreview keeps Telegram from fetching the links we send.
var noPreview = &models.LinkPreviewOptions{IsDisabled: tgbot.True()}

func (d *Door) edit(ctx context.Context, chat int64, out notify.Outgoing, text string, keyboard models.ReplyMarkup) (*models.Message, error) {
	message, err := strconv.Atoi(out.EditsProvider)
	if err != nil {
		return nil, errNothingToEdit
	}
	made, err := d.bot.EditMessageText(ctx, &tgbot.EditMessageTextParams{
		ChatID: chat, MessageID: message, Text: text, LinkPreviewOptions: noPreview, ReplyMarkup: keyboard,
	})
	if err == nil || !strings.Contains(err.Error(), "there is no text in the message to edit") {
		return made, err
	}
	// It went out under a picture. The first request was refused, so this is the only edit.
	return d.bot.EditMessageCaption(ctx, &tgbot.EditMessageCaptionParams{
		ChatID: chat, MessageID: message, Caption: cut(text, maxCaption), ReplyMarkup: keyboard,
	})
}

// errNothingToEdit is said in Telegram's words, as if it had said so.
var errNothingToEdit = fmt.Errorf("%w, message to edit not found", tgbot.ErrorBadRequest)

// endOf is how a send ended.
func (d *Door) endOf(c call, made *models.Message, err error) notify.Result {
	switch {
	case err == nil && made != nil && made.ID != 0:
		return notify.Result{End: notify.Accepted, ProviderID: strconv.Itoa(made.ID)}
	case err == nil:
		return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
	case strings.Contains(err.Error(), "message is not modified"):
		// An edit made twice: the message already reads like this. From memory.
		return notify.Result{End: notify.Accepted}
	}
	return c.ended(err)
}

// photoOf returns the first picture that Telegram knows, "" when there is none.
func photoOf(photos []string) string {
	for _, p := range photos {
		if id, ours := strings.CutPrefix(p, "tg:"); ours && id != "" {
			return id
		}
	}
	return ""
}

// pictureOf returns the picture of a message as Telegram takes it, nil when there is none, it
// cannot be had or the text has no room under it: then the text goes without.
func (d *Door) pictureOf(ctx context.Context, out notify.Outgoing) models.InputFile {
	if out.Edits != "" || units(out.Text) > maxCaption {
		return nil
	}
	if id := photoOf(out.Photos); id != "" {
		return &models.InputFileString{Data: id}
	}
	if len(out.Photos) == 0 || d.Picture == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, pictureWithin)
	defer cancel()
	from, err := d.Picture(ctx, out.Photos[0])
	if err != nil {
		d.Log.Warn("a picture cannot be had; its text goes without it", "message", out.ID, "error", err)
		return nil
	}
	defer func() { _ = from.Close() }() // it has been read, or is given up
	picture, err := io.ReadAll(io.LimitReader(from, maxPhoto+1))
	format, ok := takable(picture)
	if err != nil || !ok {
		d.Log.Warn("a picture is none that Telegram takes; its text goes without it", "message", out.ID, "bytes", len(picture), "error", err)
		return nil
	}
	return &models.InputFileUpload{Filename: "picture." + format, Data: bytes.NewReader(picture)}
}

// takable reports whether Telegram takes a picture as a photo, and its format: at most 10 MB,
// width and height at most 10000 together, neither more than 20 times the other
// (https://core.telegram.org/bots/api#sendphoto).
func takable(picture []byte) (format string, ok bool) {
	const mostTogether, mostRatio = 10000, 20
	about, format, err := image.DecodeConfig(bytes.NewReader(picture))
	wide, high := about.Width, about.Height
	return format, err == nil && len(picture) <= maxPhoto && wide+high <= mostTogether && wide <= mostRatio*high && high <= mostRatio*wide
}

// mapLink returns a link that any phone opens as a map
// (https://developers.google.com/maps/documentation/urls/get-started).
func mapLink(p *notify.Pin) string {
	return fmt.Sprintf("https://www.google.com/maps/search/?api=1&query=%.6f,%.6f", p.Lat, p.Lon)
}

// orDot returns s, or a dot where Telegram wants some text.
func orDot(s string) string {
	if strings.TrimSpace(s) == "" {
		return "·"
	}
	return s
}

// units counts as Telegram's clients do: in UTF-16 units.
func units(s string) int { return len(utf16.Encode([]rune(s))) }

// cut shortens s to at most max UTF-16 units.
func cut(s string, max int) string {
	if units(s) <= max {
		return s
	}
	room := max - 1 // for the dots
	for i, r := range s {
		room -= utf16.RuneLen(r)
		if room < 0 {
			return s[:i] + "…"
		}
	}
	return s
}
