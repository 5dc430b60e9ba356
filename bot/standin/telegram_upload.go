package standin

import (
	"bytes"
	"fmt"
	"image"
	_ "image/jpeg" // photos come as either
	_ "image/png"
	"io"
	"mime/multipart"
	"slices"
)

// Upload is a file that came with a call.
type Upload struct {
	Name   string
	Format string // "png", "jpeg"
	Bytes  []byte
}

// upload reads a file that came with a call and holds it to what the documentation says of
// photos: at most 10 MB, width and height at most 10000 together, neither more than 20 times
// the other.
func (s *Telegram) upload(method, name string, file *multipart.FileHeader) (any, error) {
	const mostBytes, mostTogether, mostRatio = 10 << 20, 10000, 20
	if !slices.ContainsFunc(s.spec.Methods[method].Fields, func(f telegramField) bool {
		return f.Name == name && slices.Contains(f.Types, "InputFile")
	}) {
		return nil, fmt.Errorf("%s takes no file", name)
	}
	in, err := file.Open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	body, err := io.ReadAll(in)
	if err != nil {
		return nil, err
	}
	about, format, err := image.DecodeConfig(bytes.NewReader(body))
	wide, high := about.Width, about.Height
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s is no picture: %w", name, err)
	case len(body) > mostBytes || wide+high > mostTogether || wide > mostRatio*high || high > mostRatio*wide:
		return nil, fmt.Errorf("%s has %d bytes, %d by %d; allowed is: %s", name, len(body), wide, high, s.spec.Limits[method+".photo"])
	}
	return Upload{file.Filename, format, body}, nil
}
