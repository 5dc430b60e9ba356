package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"skepline/bot"
	"skepline/intake"
)

// Looker shows what pages show; a *bot.Hotline is one. Looking changes nothing.
type Looker interface {
	ViewOffer(ctx context.Context, token string) (*bot.OfferView, error)
	ViewCaller(ctx context.Context, token string) (*bot.CallerView, error)
	ViewPhoto(ctx context.Context, token string, n int) (string, error)
	LinkState(ctx context.Context, token string) (string, error)
	ViewDesk(ctx context.Context) (*bot.DeskView, error)
	ViewCall(ctx context.Context, id string) (*bot.CallView, error)
	DeskState(ctx context.Context, call string) (string, error)
	DeskPhoto(ctx context.Context, id string, n int) (string, error)
	ViewNumbers(ctx context.Context) (*bot.NumbersView, error)
}

// Pages are the pages where a tap or a look beats a text. GET and HEAD change nothing on any
// of them (RFC 9110 section 9.2.1): whoever previews a link has only looked.
type Pages struct {
	Look Looker
	Hear Hearer
	// Kept asks whether the store cannot lose what it just took in; nil = it cannot.
	Kept      func(context.Context) (bool, error)
	PublicURL string // where people reach the pages
	Language  string // of pages that are nobody's
	Password  bot.Secret
	Secret    []byte // signs the desk's session
	Now       func() time.Time
	Photo     func(ctx context.Context, name string) (io.ReadCloser, error) // fetches a picture from its provider; nil = none shown
	Plots     func(title string, s bot.Summary) ([]Plot, error)             // draws a season; nil = no plots
	Log       *slog.Logger
	Privacy   Privacy
	NewsEvery time.Duration // how often a page that is open looks for news; 0 = every 2 s
	Open      bool          // the desk asks for no password: a rehearsal on this machine

	tries   tries
	lives   chan struct{}
	numbers numbers
}

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed pages/page.css
var styleSheet []byte

//go:embed pages/page.js
var script []byte

//go:embed pages/where.js
var whereScript []byte

var pages = template.Must(template.ParseFS(pageFiles, "pages/*.html"))

// Assets are named by their content, so that they may be kept for ever.
var (
	styleName  = nameOf(styleSheet)
	scriptName = nameOf(script)
	whereName  = nameOf(whereScript)
)

// StyleSheet is the pages' one style sheet; the rehearsal's phones use it too.
func StyleSheet() string { return string(styleSheet) }

func nameOf(asset []byte) string {
	sum := sha256.Sum256(asset)
	return hex.EncodeToString(sum[:6])
}

// policy is what a page of ours may do (OWASP ASVS 5.0, 3.4.3): nothing from elsewhere, no
// script in the page, no frame around it.
const policy = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Register adds the pages' routes to mux.
func (p *Pages) Register(mux *http.ServeMux) {
	const atOnce = 64 // pages that wait for news; more are told to look again by themselves
	p.lives = make(chan struct{}, atOnce)
	cross := http.NewCrossOriginProtection()
	if u, err := url.Parse(p.PublicURL); err == nil && u.Host != "" {
		_ = cross.AddTrustedOrigin(u.Scheme + "://" + u.Host) // made of a parsed address, so it is one
	}
	handle := func(pattern string, h http.HandlerFunc) {
		mux.Handle(pattern, p.headed(cross.Handler(h), longestForm))
	}
	handle("GET /page/{name}", p.asset)
	handle("GET /privacy", p.privacy)
	handle("GET /o/{token}", p.offer)
	handle("POST /o/{token}", p.offerDoes)
	handle("GET /o/{token}/live", p.linkLive)
	handle("GET /w/{token}", p.caller)
	mux.Handle("POST /w/{token}", p.headed(cross.Handler(http.HandlerFunc(p.callerDoes)), longestPhoto))
	handle("GET /w/{token}/live", p.linkLive)
	handle("GET /p/{token}", p.offerPhoto)
	if p.Password == "" && !p.Open {
		return
	}
	handle("GET /desk/{$}", p.inside(p.desk))
	handle("GET /desk/call/{id}", p.inside(p.deskCall))
	handle("POST /desk/call/{id}", p.inside(p.deskDoes))
	handle("GET /desk/call/{id}/photo/{n}", p.inside(p.deskPhoto))
	handle("GET /desk/live", p.inside(p.deskLive))
	handle("GET /desk/numbers", p.inside(p.deskNumbers))
	handle("GET /desk/plot/{name}", p.inside(p.deskPlot))
	handle("POST /desk/login", p.login)
	handle("POST /desk/logout", p.logout)
}

// Bounds of what a browser may send, in bytes.
const (
	longestForm  = 16 << 10
	longestPhoto = photoBytes + longestForm
)

// headed sets what every answer carries, and bounds what may be sent.
func (p *Pages) headed(next http.Handler, longest int64) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("Referrer-Policy", "no-referrer") // the address holds the token
		h.Set("Cache-Control", "no-store")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Robots-Tag", "noindex")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(self), camera=(), microphone=()")
		if p.https() {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		r.Body = http.MaxBytesReader(w, r.Body, longest)
		next.ServeHTTP(w, r)
	})
}

func (p *Pages) https() bool { return strings.HasPrefix(p.PublicURL, "https://") }

func (p *Pages) asset(w http.ResponseWriter, r *http.Request) {
	asset, kind := styleSheet, "text/css; charset=utf-8"
	switch r.PathValue("name") {
	case styleName + ".css":
	case scriptName + ".js":
		asset, kind = script, "text/javascript; charset=utf-8"
	case whereName + ".js":
		asset, kind = whereScript, "text/javascript; charset=utf-8"
	default:
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(asset) // the reader may have gone
}

// page is what a template gets.
type page struct {
	Lang, Title  string
	Style        string
	Scripts      []string
	Token, Nonce string
	Did          string // what came of the last press
	Since        string // the state that the page shows
	V            any
	Sketch       template.HTML // drawn by us, of numbers only
	Squares      template.HTML
	Area         template.HTML
	Status       string
	SunsetIn     string
	Minutes      []string
	Reasons      []string
	Photos       bool
	Base         string // where the desk's links begin
	Needed       bool
}

// T says the words of key; pairs are what they name.
func (p page) T(key string, pairs ...any) string {
	data := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		data[fmt.Sprint(pairs[i])] = pairs[i+1]
	}
	return intake.Words{Language: p.Lang, Chat: true}.Say(key, data)
}

// Add returns a + b.
func (page) Add(a, b int) int { return a + b }

// Count returns n numbers from 0.
func (page) Count(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// With returns p about v.
func (p page) With(v any) page {
	p.V = v
	return p
}

// Dots returns n dots, ten at most.
func (page) Dots(n int) string { return strings.Repeat("•", min(n, 10)) }

// Stage returns the words for a stage or an end.
func (p page) Stage(stage string) string {
	w := intake.Words{Language: p.Lang, Chat: true}
	if w.Knows("page_end_" + stage) {
		return w.Say("page_end_"+stage, nil)
	}
	return w.Say("stage_"+stage, nil)
}

// Blocks cuts a text for chat into paragraphs and lists. A first line that only repeats the
// heading above it is left out.
func (p page) Blocks(text string) []Block {
	var blocks []Block
	for i, line := range strings.Split(strings.TrimSpace(text), "\n") {
		kind := "p"
		if item, ok := strings.CutPrefix(line, "- "); ok {
			kind, line = "ul", item
		} else if number, item, ok := strings.Cut(line, " "); ok && strings.Trim(number, "0123456789") == "" {
			kind, line = "ol", item
		}
		if line == "" || i == 0 && strings.HasSuffix(line, ":") && strings.TrimSuffix(line, ":") == p.T("page_bring") {
			continue
		}
		if n := len(blocks); n == 0 || blocks[n-1].Kind != kind {
			blocks = append(blocks, Block{Kind: kind})
		}
		last := &blocks[len(blocks)-1]
		last.Lines = append(last.Lines, line)
	}
	return blocks
}

// Block is a part of a text: "p", "ul" or "ol".
type Block struct {
	Kind  string
	Lines []string
}

// Percent writes a share, 0 to 1.
func (page) Percent(share float64) string { return fmt.Sprintf("%.0f%%", 100*share) }

// Span writes a duration as "35 min", "2 h 5 min", "3 d".
func (page) Span(d time.Duration) string { return span(d) }

func span(d time.Duration) string {
	switch m := int(d.Minutes()); {
	case m < 0:
		return ""
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m < 48*60:
		return fmt.Sprintf("%d h %d min", m/60, m%60)
	default:
		return fmt.Sprintf("%d d", m/60/24)
	}
}

func (p *Pages) page(lang, title string) page {
	return page{Lang: lang, Title: title, Style: styleName, Scripts: []string{scriptName}, Nonce: rand.Text()[:16], Photos: p.Photo != nil, Base: "/desk/"}
}

// show writes a page.
func (p *Pages) show(w http.ResponseWriter, status int, name string, data page) {
	p.showAny(w, status, name, data)
}

func (p *Pages) showAny(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, data); err != nil {
		p.Log.Error("a page cannot be written", "page", name, "error", err)
		http.Error(w, "internal error", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(tight(b.Bytes())) // the reader may have gone
}

// tight leaves out the empty lines of the templates.
func tight(html []byte) []byte {
	lines := bytes.Split(html, []byte("\n"))
	kept := lines[:0]
	for _, line := range lines {
		if line = bytes.TrimSpace(line); len(line) > 0 {
			kept = append(kept, line)
		}
	}
	return bytes.Join(kept, []byte("\n"))
}

// nothing answers for a link that opens nothing: the same for one that never was, that is
// over and that is somebody else's.
func (p *Pages) nothing(w http.ResponseWriter) {
	data := p.page(p.Language, "")
	data.Title = data.T("page_gone_title")
	p.show(w, http.StatusNotFound, "gone", data)
}

// broken answers when the store does not.
func (p *Pages) broken(w http.ResponseWriter, err error) {
	p.Log.Error("a page cannot be read", "error", err)
	w.Header().Set("Retry-After", "5")
	data := p.page(p.Language, "")
	data.Title = data.T("page_sorry_title")
	p.show(w, http.StatusServiceUnavailable, "sorry", data)
}

// goodNonce reports whether a form's nonce may name an event.
func goodNonce(n string) bool {
	return len(n) == 16 && strings.Trim(n, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") == ""
}
