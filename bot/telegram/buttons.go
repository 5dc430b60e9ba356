package telegram

import (
	"fmt"

	"github.com/go-telegram/bot/models"

	"skepline/notify"
)

// keyboard is an inline keyboard. The library's own type writes an empty "copy_text" into
// every button, and the Bot API wants exactly one kind of action in each.
type keyboard struct {
	Rows [][]button `json:"inline_keyboard"`
}

type button struct {
	Text string `json:"text"`
	Data string `json:"callback_data"`
}

// keyboardOf returns the keyboard of a message, nil when it has no buttons.
func keyboardOf(rows [][]notify.Button) (models.ReplyMarkup, error) {
	var k keyboard
	for _, row := range rows {
		var keys []button
		for _, b := range row {
			if b.Label == "" || b.Says == "" || len(b.Says) > maxSays {
				return nil, fmt.Errorf("button says %d bytes; 1 to %d are possible", len(b.Says), maxSays)
			}
			keys = append(keys, button{Text: b.Label, Data: b.Says})
		}
		if len(keys) > 0 {
			k.Rows = append(k.Rows, keys)
		}
	}
	if len(k.Rows) == 0 {
		return nil, nil
	}
	return k, nil
}
