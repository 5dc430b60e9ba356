package web

import (
	"context"
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
	return ReadPicture(body)
}
