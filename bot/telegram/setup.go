package telegram

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"

	tgbot "github.com/go-telegram/bot"
)

var (
	tokenShape  = regexp.MustCompile(`^[0-9]+:[A-Za-z0-9_-]+$`)
	secretShape = regexp.MustCompile(`^[A-Za-z0-9_-]{1,256}$`)
)

// Check proves settings and token by asking Telegram who we are. Its error is one sentence
// that says what to change.
func (d *Door) Check(ctx context.Context) error {
	switch {
	case !tokenShape.MatchString(d.Token):
		return errors.New("TELEGRAM_BOT_TOKEN must look like 5550100:AA…, as @BotFather gives it")
	case d.Secret != "" && !secretShape.MatchString(d.Secret):
		return errors.New("TELEGRAM_WEBHOOK_SECRET must be 1 to 256 letters, digits, _ or -")
	case d.Secret != "" && !strings.HasPrefix(d.PublicURL, "https://"):
		return errors.New("TELEGRAM_WEBHOOK_SECRET needs a SKEPLINE_PUBLIC_URL that begins with https://; without the secret the bot polls")
	}
	_, err := d.Username(ctx)
	return err
}

// Username returns the bot's name without "@", for links like t.me/<name>?start=<token>.
func (d *Door) Username(ctx context.Context) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	c := d.call(ctx)
	me, err := d.bot.GetMe(c.ctx)
	if err == nil {
		return me.Username, nil
	}
	switch end := c.ended(err); end.Reason {
	case reasonAuth:
		return "", errors.New("the token is refused by Telegram: check TELEGRAM_BOT_TOKEN")
	case reasonUnreachable:
		return "", fmt.Errorf("no way to Telegram at %s: check the network and TELEGRAM_API_URL", d.APIURL)
	default:
		return "", fmt.Errorf("the answer of Telegram is not what it should be (%s)", end.Reason)
	}
}

// allowedUpdates are the kinds of updates we want. Telegram remembers the last list it was
// given, so it is always given.
var allowedUpdates = []string{"message", "edited_message", "callback_query", "my_chat_member"}

// SetWebhook tells Telegram to bring updates to PublicURL/telegram.
func (d *Door) SetWebhook(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	c := d.call(ctx)
	_, err := d.bot.SetWebhook(c.ctx, &tgbot.SetWebhookParams{
		URL: d.PublicURL + "/telegram", SecretToken: d.Secret, AllowedUpdates: allowedUpdates,
		MaxConnections: 4, // few, so that one person's texts keep their order. Judgement.
	})
	if err != nil {
		return fmt.Errorf("set the Telegram webhook: %s", c.ended(err).Reason)
	}
	return nil
}
