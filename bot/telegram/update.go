package telegram

import (
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"

	"github.com/go-telegram/bot/models"

	"skepline/bot"
	"skepline/intake"
	"skepline/notify"
)

// update is what we read of a Telegram update
// (https://core.telegram.org/bots/api#update). It is not the library's type: that one
// refuses a whole update when it holds one value newer than the library (the origin of a
// forwarded message, a member's status), and a person's text would be lost for it.
type update struct {
	ID            int64    `json:"update_id"`
	Message       *message `json:"message"`
	EditedMessage *message `json:"edited_message"`
	CallbackQuery *struct {
		ID      string      `json:"id"`
		From    models.User `json:"from"`
		Data    string      `json:"data"`
		Message *struct {   // absent or a stub when it is old
			Chat models.Chat `json:"chat"`
		} `json:"message"`
	} `json:"callback_query"`
	MyChatMember *struct {
		Chat          models.Chat `json:"chat"`
		NewChatMember struct {
			Status string `json:"status"`
		} `json:"new_chat_member"`
	} `json:"my_chat_member"`
}

// message is what we read of a message.
type message struct {
	Chat     models.Chat        `json:"chat"`
	From     *models.User       `json:"from"`
	Text     string             `json:"text"`
	Caption  string             `json:"caption"`
	Photo    []models.PhotoSize `json:"photo"`
	Document *models.Document   `json:"document"`
	Location *models.Location   `json:"location"`
	Venue    *models.Venue      `json:"venue"`

	Voice     present `json:"voice"`
	Audio     present `json:"audio"`
	Video     present `json:"video"`
	VideoNote present `json:"video_note"`
	Animation present `json:"animation"`
	Sticker   present `json:"sticker"`
	Contact   *struct {
		VCard string `json:"vcard"` // up to 2048 bytes, when the sender's address book has more than a number
	} `json:"contact"`
	Dice      present `json:"dice"`
	Poll      present `json:"poll"`
	Story     present `json:"story"`
	Game      present `json:"game"`
	Checklist present `json:"checklist"`
	PaidMedia present `json:"paid_media"`
}

// present is a part of a message of which only its being there is read.
type present bool

// UnmarshalJSON notes that the part is there.
func (p *present) UnmarshalJSON(b []byte) error {
	*p = string(b) != "null"
	return nil
}

// eventOf reads an update. It reports false for what is no affair of ours: groups, other
// bots, service messages, kinds we did not ask for.
func (d *Door) eventOf(u update) (bot.Event, bool) {
	id := d.eventID(u.ID)
	switch {
	case u.Message != nil:
		return saidOf(id, u.Message)
	case u.EditedMessage != nil: // words put right, or a live location that moved
		return saidOf(id, u.EditedMessage)
	case u.CallbackQuery != nil:
		q := u.CallbackQuery
		if q.Data == "" || q.Message != nil && !private(q.Message.Chat) {
			return nil, false
		}
		// Who pressed it counts, not where it stood.
		return bot.Tapped{Event: id, From: address(q.From.ID), Says: bot.Typed(q.Data),
			Language: language(&q.From), Profile: firstName(&q.From)}, true
	case u.MyChatMember != nil:
		m := u.MyChatMember
		if !private(m.Chat) {
			return nil, false
		}
		return blockedOf(id, m.Chat.ID, m.NewChatMember.Status)
	}
	return nil, false
}

// blockedOf reads what became of us in a private chat: "kicked" is how Telegram tells that a
// person blocked the bot, "member" that they let it in (again).
func blockedOf(id bot.EventID, chat int64, status string) (bot.Event, bool) {
	if status != "kicked" && status != "member" {
		return nil, false
	}
	return bot.Blocked{Event: id, From: address(chat), Open: status == "member"}, true
}

// eventID names an update among those of all bots.
func (d *Door) eventID(update int64) bot.EventID {
	return bot.EventID("tg:" + d.botID + ":" + strconv.FormatInt(update, 10))
}

func private(c models.Chat) bool { return c.Type == models.ChatTypePrivate }

func address(chat int64) notify.Address {
	return notify.Address(string(notify.Telegram) + ":" + strconv.FormatInt(chat, 10))
}

// saidOf reads a message.
func saidOf(id bot.EventID, m *message) (bot.Event, bool) {
	if !private(m.Chat) || m.From != nil && m.From.IsBot {
		return nil, false
	}
	typed := m.Text + m.Caption // a message has one or the other
	said := bot.Said{
		Event: id, From: address(m.Chat.ID), Text: bot.Typed(typed),
		Pin: m.pin(), Photos: m.photos(), Other: m.other(),
		Language: language(m.From), Profile: firstName(m.From),
	}
	if m.Contact != nil {
		m.placeOfCard(&said)
	}
	if said.Text == "" && said.Pin == nil && said.Photos == nil && said.Other == "" {
		if typed == "" && m.Location == nil {
			return nil, false // a service message: "pinned", "timer changed"
		}
		said.Other = "garbled"
	}
	return said, true
}

// pin returns the place in a message, nil when there is none on earth.
func (m *message) pin() *bot.Point {
	p := bot.Point{}
	switch {
	case m.Venue != nil:
		p = bot.Point{Lat: m.Venue.Location.Latitude, Lon: m.Venue.Location.Longitude, Title: bot.Typed(m.Venue.Title)}
	case m.Location != nil:
		p = bot.Point{Lat: m.Location.Latitude, Lon: m.Location.Longitude, PrecisionM: max(m.Location.HorizontalAccuracy, 0)}
	default:
		return nil
	}
	// Nobody stands at 0, 0; it is what a field holds that could not be read.
	if math.Abs(p.Lat) > 90 || math.Abs(p.Lon) > 180 || p.Lat == 0 && p.Lon == 0 {
		return nil
	}
	return &p
}

// placeOfCard enters the place in a contact's card: a point like a pin, an address like a
// text. The rest of the card is not kept.
func (m *message) placeOfCard(s *bot.Said) {
	place, ok := intake.ReadCard(strings.NewReader(m.Contact.VCard), intake.Setting{})
	if !ok || s.Text != "" {
		return
	}
	s.Other = ""
	if place.PrecisionM < intake.InWordsOnly {
		s.Pin = &bot.Point{Lat: place.Lat, Lon: place.Lon, PrecisionM: place.PrecisionM, Title: bot.Typed(place.Text)}
		return
	}
	s.Text = bot.Typed(place.Text)
}

// photos returns the pictures of a message: the largest size of a photo, or a picture sent
// as a file.
func (m *message) photos() []string {
	if len(m.Photo) > 0 {
		best := m.Photo[0]
		for _, size := range m.Photo[1:] {
			if size.Width*size.Height > best.Width*best.Height {
				best = size
			}
		}
		return []string{"tg:" + best.FileID}
	}
	if m.pictureFile() {
		return []string{"tg:" + m.Document.FileID}
	}
	return nil
}

func (m *message) pictureFile() bool {
	return m.Document != nil && !bool(m.Animation) && strings.HasPrefix(strings.ToLower(m.Document.MimeType), "image/")
}

// other returns what else is in a message that we cannot read, "" when nothing is.
func (m *message) other() string {
	switch {
	case bool(m.Voice || m.Audio):
		return "voice"
	case bool(m.Video || m.VideoNote || m.Animation):
		return "video"
	case bool(m.Sticker):
		return "sticker"
	case m.Contact != nil:
		return "contact"
	case m.Document != nil && !m.pictureFile(),
		bool(m.Dice || m.Poll || m.Story || m.Game || m.Checklist || m.PaidMedia):
		return "document"
	}
	return ""
}

// language returns the language of a profile without its region ("es" of "es-MX", an IETF
// language tag), "" when the profile does not say.
func language(u *models.User) string {
	if u == nil {
		return ""
	}
	base, _, _ := strings.Cut(strings.ToLower(u.LanguageCode), "-")
	return base
}

func firstName(u *models.User) string {
	if u == nil {
		return ""
	}
	name := []rune(strings.Join(strings.Fields(bot.Typed(u.FirstName)), " "))
	return string(name[:min(len(name), 40)])
}

// readUpdate reads one update. A part of another shape than we know is passed over and the
// rest read; an error means that it is no update at all.
func readUpdate(raw []byte) (update, error) {
	var u update
	var shape *json.UnmarshalTypeError
	if err := json.Unmarshal(raw, &u); err != nil && !errors.As(err, &shape) {
		return update{}, err
	}
	if u.ID <= 0 {
		return update{}, errors.New("no update_id")
	}
	return u, nil
}
