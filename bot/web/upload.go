package web

import (
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"time"

	"skepline/bot"
)

// uploadWithin is how long a picture may take to arrive: three megabytes at the edge of a
// field's reception.
const uploadWithin = 90 * time.Second

// uploading bounds the pictures that arrive at once; each may hold photoBytes in memory.
var uploading = make(chan struct{}, 4)

// uploads reports whether a request brings a picture.
func uploads(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "multipart/form-data"
}

// addsPhoto takes a picture that the caller adds on their page. The link is looked at before
// a byte of it is read.
func (p *Pages) addsPhoto(w http.ResponseWriter, r *http.Request, token string) {
	back := func(did string) { http.Redirect(w, r, "/w/"+token+"?did="+did, http.StatusSeeOther) }
	v, ok := seen[bot.CallerView](p, w)(p.Look.ViewCaller(r.Context(), token))
	switch {
	case !ok:
		return
	case v.Over:
		back(string(bot.OutcomeStale))
		return
	case !v.MorePhotos:
		back(string(bot.OutcomeEnough))
		return
	}
	select {
	case uploading <- struct{}{}:
		defer func() { <-uploading }()
	default:
		back("busy")
		return
	}
	until := time.Now().Add(uploadWithin) // the server's own deadlines are for texts
	connection := http.NewResponseController(w)
	_ = connection.SetReadDeadline(until)
	_ = connection.SetWriteDeadline(until.Add(uploadWithin))
	ctx, cancel := context.WithTimeout(r.Context(), uploadWithin)
	defer cancel()
	nonce, picture, err := readUpload(r.WithContext(ctx))
	if err != nil {
		p.Log.Info("a picture was not taken", "why", err)
		back("no_picture")
		return
	}
	p.press(w, r, "/w/", token, nonce, bot.Paged{Does: "photo", Photo: picture})
}

// readUpload reads the form's nonce and its picture, which comes after it.
func readUpload(r *http.Request) (nonce string, picture []byte, err error) {
	form, err := r.MultipartReader()
	if err != nil {
		return "", nil, errors.New("not a form")
	}
	const parts = 6
	for range parts {
		part, err := form.NextPart()
		if err != nil {
			break
		}
		switch part.FormName() {
		case "n":
			nonce = readWord(part)
		case "photo":
			raw, err := io.ReadAll(io.LimitReader(part, photoBytes+1))
			if err != nil {
				return "", nil, errors.New("it broke off")
			}
			picture, err = smallJPEG(raw)
			return nonce, picture, err
		}
	}
	return "", nil, errors.New("there is none in the form")
}

func readWord(part *multipart.Part) string {
	const longest = 64
	b, err := io.ReadAll(io.LimitReader(part, longest))
	if err != nil {
		return ""
	}
	return string(b)
}
