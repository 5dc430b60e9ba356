package telegram

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	tgbot "github.com/go-telegram/bot"
)

// Photo fetches a picture by its file id: getFile, then the file from the same server. No
// redirect is followed. The caller closes it.
func (d *Door) Photo(ctx context.Context, id string) (io.ReadCloser, error) {
	file, err := d.bot.GetFile(ctx, &tgbot.GetFileParams{FileID: id})
	if err != nil {
		return nil, errors.New("the provider does not give the picture") // the error itself holds the token
	}
	if file.FilePath == "" || strings.Contains(file.FilePath, "..") || strings.ContainsAny(file.FilePath, "?#:") {
		return nil, errors.New("the provider names no file")
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, d.APIURL+"/file/bot"+d.Token+"/"+file.FilePath, nil)
	if err != nil {
		return nil, errors.New("the address of a picture cannot be made")
	}
	answer, err := d.http.Do(r)
	if err != nil {
		return nil, errors.New("the provider cannot be reached")
	}
	if answer.StatusCode != http.StatusOK {
		_ = answer.Body.Close() // nothing in it for us
		return nil, fmt.Errorf("the provider answers %d", answer.StatusCode)
	}
	return answer.Body, nil
}
