package web

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"regexp"
	"slices"

	"skepline/bot"
)

//go:embed pages/phones.css
var phonesStyle []byte

//go:embed pages/phones.js
var phonesScript []byte

// Phones is a rehearsal as a page: simulated phones side by side, and the desk. It is one
// document that needs nothing else, so that a recorded run can be shown without a server.
type Phones struct {
	Language string
	Hotline  string
	Frames   any    // each with Clock, Comment, Phones and Desk, as rehearsal.Frame has them
	Count    int    // of frames
	Live     bool   // one frame that goes on by hand
	Server   bool   // there is a server to go on by hand with
	LinkBase string // links of texts that begin with it can be pressed; "" = none
	Wrong    string // what could not be done
}

// phonesPage is what the template gets.
type phonesPage struct {
	page
	Phones
	Policy string
	CSS    template.CSS
	JS     template.JS
	Waits  []string
	Last   int
}

// Piece is a part of a text: words, or a link.
type Piece struct{ Text, Link string }

var address = regexp.MustCompile(`https?://[^\s]+[^\s.,;:!?]`)

// Pieces cuts a text at the links that can be pressed.
func (p phonesPage) Pieces(text string) []Piece {
	var pieces []Piece
	for _, at := range address.FindAllStringIndex(text, -1) {
		link := text[at[0]:at[1]]
		if p.LinkBase == "" || len(link) <= len(p.LinkBase) || link[:len(p.LinkBase)] != p.LinkBase {
			continue
		}
		before := text[:at[0]]
		return append(append(pieces, Piece{Text: before}, Piece{Text: link, Link: link[len(p.LinkBase):]}), p.Pieces(text[at[1]:])...)
	}
	return append(pieces, Piece{Text: text})
}

// Board is the desk beside the phones.
func (p phonesPage) Board(v *bot.DeskView) page {
	board := p.page
	board.V, board.Sketch, board.Area, board.Base = v, deskSketch(v, p.page), areaSketch(v, p.page), "/desk/"
	if !p.Live {
		board.Base = "#"
	}
	board.Needed = slices.ContainsFunc(v.Calls, func(c bot.CallRow) bool { return c.Why != "" })
	return board
}

// Write writes the page and returns the policy under which a server should send it.
func (p Phones) Write(w io.Writer) (policy string, err error) {
	data := phonesPage{page: page{Lang: p.Language, Did: p.Wrong}, Phones: p, Last: p.Count - 1, Waits: []string{"5m", "30m", "2h", "8h"}}
	data.Title = data.T("page_ph_title", "Hotline", p.Hotline)
	style := append(append([]byte{}, styleSheet...), phonesStyle...)
	data.CSS = template.CSS(style)
	scripts := "'none'"
	if !p.Live {
		data.JS = template.JS(phonesScript)
		scripts = hashOf(phonesScript)
	}
	data.Policy = fmt.Sprintf("default-src 'none'; style-src %s; script-src %s; form-action 'self'; base-uri 'none'", hashOf(style), scripts)
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "phones", data); err != nil {
		return "", fmt.Errorf("write the phones: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return data.Policy + "; frame-ancestors 'none'", err
}

// hashOf names a script or style in a policy (W3C Content Security Policy Level 3, 2.3.1).
func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
