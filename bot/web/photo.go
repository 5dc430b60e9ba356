package web

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	_ "image/png" // what phones send besides JPEG
	"io"
	"net/http"
	"strconv"
	"time"
)

// Bounds of a picture that is passed on.
const (
	photoWithin = 10 * time.Second
	photoBytes  = 10 << 20
	photoPixels = 40 << 20 // checked before a pixel is decoded
	photoWidest = 1280     // pixels; wider ones are made smaller
)

func (p *Pages) offerPhoto(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	n, err := strconv.Atoi(r.URL.Query().Get("n"))
	if !ok || err != nil {
		p.nothing(w)
		return
	}
	name, err := p.Look.ViewPhoto(r.Context(), token, n)
	p.photo(w, r, name, err)
}

func (p *Pages) deskPhoto(w http.ResponseWriter, r *http.Request) {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		p.nothing(w)
		return
	}
	name, err := p.Look.DeskPhoto(r.Context(), r.PathValue("id"), n)
	p.photo(w, r, name, err)
}

// photo fetches a picture from its provider and passes it on without keeping it. It is
// decoded and encoded again: what comes out is a plain JPEG, without the place and time that
// a phone writes into it (Exif), and nothing else that only calls itself a picture.
func (p *Pages) photo(w http.ResponseWriter, r *http.Request, name string, err error) {
	switch {
	case err != nil:
		p.broken(w, err)
		return
	case name == "" || p.Photo == nil:
		p.nothing(w)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), photoWithin)
	defer cancel()
	picture, err := p.fetch(ctx, name)
	if err != nil {
		p.Log.Warn("a picture cannot be shown", "error", err)
		http.Error(w, "no picture", http.StatusBadGateway)
		return
	}
	w.Header().Set("Content-Security-Policy", "default-src 'none'; sandbox")
	w.Header().Set("Content-Type", "image/jpeg")
	_, _ = w.Write(picture) // the reader may have gone
}

func (p *Pages) fetch(ctx context.Context, name string) ([]byte, error) {
	body, err := p.Photo(ctx, name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = body.Close() }() // everything was read
	raw, err := io.ReadAll(io.LimitReader(body, photoBytes+1))
	if err != nil {
		return nil, errors.New("the provider broke off")
	}
	return plainJPEG(raw)
}

// plainJPEG makes a picture of ours out of one of theirs.
func plainJPEG(raw []byte) ([]byte, error) {
	if len(raw) > photoBytes {
		return nil, errors.New("a picture of more than 10 MB")
	}
	size, _, err := image.DecodeConfig(bytes.NewReader(raw))
	if err != nil {
		return nil, errors.New("not a JPEG or PNG picture")
	}
	if size.Width < 1 || size.Height < 1 || size.Width > photoPixels/size.Height {
		return nil, errors.New("a picture of more than 40 megapixels")
	}
	decoded, _, err := image.Decode(bytes.NewReader(raw))
	if err != nil {
		return nil, errors.New("a picture that cannot be read")
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, smaller(decoded), &jpeg.Options{Quality: 80})
	return out.Bytes(), err
}

// smaller returns m at most photoWidest wide and high, each pixel the mean of those it
// stands for.
func smaller(m image.Image) image.Image {
	b := m.Bounds()
	step := (max(b.Dx(), b.Dy()) + photoWidest - 1) / photoWidest
	if step <= 1 {
		return m
	}
	out := image.NewRGBA(image.Rect(0, 0, b.Dx()/step, b.Dy()/step))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			var sum [3]uint32
			for dy := range step {
				for dx := range step {
					r, g, bl, _ := m.At(b.Min.X+x*step+dx, b.Min.Y+y*step+dy).RGBA()
					sum[0], sum[1], sum[2] = sum[0]+r>>8, sum[1]+g>>8, sum[2]+bl>>8
				}
			}
			i, n := out.PixOffset(x, y), uint32(step*step)
			out.Pix[i], out.Pix[i+1], out.Pix[i+2], out.Pix[i+3] = byte(sum[0]/n), byte(sum[1]/n), byte(sum[2]/n), 255
		}
	}
	return out
}
