package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"skepline/bot"
)

func (p *Pages) desk(w http.ResponseWriter, r *http.Request) {
	since, _ := p.Look.DeskState(r.Context(), "") // without it the page is only less live
	v, err := p.Look.ViewDesk(r.Context())
	if err != nil {
		p.broken(w, err)
		return
	}
	data := p.deskPage(v)
	data.Did, data.Since = did(data, r), since
	p.show(w, http.StatusOK, "desk", data)
}

func (p *Pages) deskPage(v *bot.DeskView) page {
	data := p.page(p.Language, v.Hotline)
	data.V, data.Sketch, data.Area = v, deskSketch(v, data), areaSketch(v, data)
	data.Needed = slices.ContainsFunc(v.Calls, func(c bot.CallRow) bool { return c.Why != "" })
	return data
}

// callPage is a call's view with what its template asks.
type callPage struct {
	page
	V *bot.CallView
}

// Can reports whether an action fits.
func (c callPage) Can(does string) bool { return slices.Contains(c.V.Does, does) }

func (p *Pages) deskCall(w http.ResponseWriter, r *http.Request) {
	// Noted before it is shown: what cannot be noted is not shown.
	if _, err := p.Hear.Hear(r.Context(), bot.DeskSaw(r.PathValue("id"), p.sessionName(r), p.Now())); err != nil {
		p.broken(w, err)
		return
	}
	since, _ := p.Look.DeskState(r.Context(), r.PathValue("id"))
	v, ok := seen[bot.CallView](p, w)(p.Look.ViewCall(r.Context(), r.PathValue("id")))
	if !ok {
		return
	}
	p.Log.Info("desk", "looks at", v.ID)
	data := p.page(p.Language, v.Ref)
	data.Did, data.Since = did(data, r), since
	p.showAny(w, http.StatusOK, "call", callPage{data, v})
}

// deskDoes carries out a steward's action. Its event goes into the call's own story.
func (p *Pages) deskDoes(w http.ResponseWriter, r *http.Request) {
	id, nonce, does := r.PathValue("id"), r.PostFormValue("n"), r.PostFormValue("does")
	if !goodNonce(nonce) || !slices.Contains(bot.DeskActions, does) {
		http.Redirect(w, r, "/desk/", http.StatusSeeOther)
		return
	}
	e := bot.Desked{
		Event: bot.EventID("sw:" + does + ":" + nonce), Call: id, Does: does,
		Words: bot.Typed(r.PostFormValue("words")), Catcher: r.PostFormValue("catcher"), With: r.PostFormValue("with"), By: p.sessionName(r),
	}
	outcome, err := p.Hear.Hear(r.Context(), e)
	if err != nil {
		p.broken(w, err)
		return
	}
	p.Log.Info("desk", "does", does, "call", id, "outcome", string(outcome))
	http.Redirect(w, r, "/desk/call/"+id+"?did="+string(outcome), http.StatusSeeOther)
}

// sessionFor is how long a desk stays open without the password (OWASP ASVS 5.0, 7.3.2).
const sessionFor = 12 * time.Hour

// inside lets a request with a session in, and shows everybody else the way to one.
func (p *Pages) inside(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if p.Open || p.hasSession(r) {
			next(w, r)
			return
		}
		status := http.StatusUnauthorized
		if r.URL.Path == "/desk/" {
			status = http.StatusOK
		}
		p.showLogin(w, status, "")
	}
}

func (p *Pages) showLogin(w http.ResponseWriter, status int, why string) {
	data := p.page(p.Language, "")
	data.Title = data.T("page_desk")
	if why != "" {
		data.Did = data.T(why)
	}
	p.show(w, status, "login", data)
}

func (p *Pages) login(w http.ResponseWriter, r *http.Request) {
	if !p.tries.allow(host(r), p.Now()) {
		w.Header().Set("Retry-After", "60")
		p.showLogin(w, http.StatusTooManyRequests, "page_desk_wait")
		return
	}
	// Hashes are of one length, so that the comparison tells nothing about either.
	given, want := sha256.Sum256([]byte(r.PostFormValue("password"))), sha256.Sum256([]byte(p.Password.Reveal()))
	if subtle.ConstantTimeCompare(given[:], want[:]) != 1 || p.Password == "" {
		p.Log.Warn("desk: a wrong password")
		p.showLogin(w, http.StatusUnauthorized, "page_desk_wrong")
		return
	}
	p.tries.forget(host(r))
	p.Log.Info("desk: opened")
	http.SetCookie(w, p.cookie(p.session(p.Now().Add(sessionFor), rand.Text()), int(sessionFor.Seconds())))
	http.Redirect(w, r, "/desk/", http.StatusSeeOther)
}

func (p *Pages) logout(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, p.cookie("", -1))
	http.Redirect(w, r, "/desk/", http.StatusSeeOther)
}

// cookie is the session's. A name that begins with __Host- is kept by browsers only over
// HTTPS and for this host alone (RFC 6265bis section 4.1.3.2).
func (p *Pages) cookie(value string, age int) *http.Cookie {
	return &http.Cookie{
		Name: p.cookieName(), Value: value, Path: "/", MaxAge: age, HttpOnly: true, Secure: p.https(), SameSite: http.SameSiteStrictMode,
	}
}

func (p *Pages) cookieName() string {
	if p.https() {
		return "__Host-desk"
	}
	return "desk"
}

// session makes a session that any replica can check: when it ends, a number of its own, and
// a signature over both and the password, so that a new password ends all sessions.
func (p *Pages) session(ends time.Time, own string) string {
	text := strconv.FormatInt(ends.Unix(), 10) + "." + own
	return text + "." + p.sign(text)
}

func (p *Pages) sign(text string) string {
	mac := hmac.New(sha256.New, p.Secret)
	fmt.Fprintf(mac, "desk session\x00%s\x00%s", text, p.Password.Reveal())
	return hex.EncodeToString(mac.Sum(nil))
}

func (p *Pages) hasSession(r *http.Request) bool {
	c, err := r.Cookie(p.cookieName())
	if err != nil {
		return false
	}
	i := strings.LastIndex(c.Value, ".")
	if i < 0 || !hmac.Equal([]byte(p.sign(c.Value[:i])), []byte(c.Value[i+1:])) {
		return false
	}
	until, _, _ := strings.Cut(c.Value, ".")
	ends, err := strconv.ParseInt(until, 10, 64)
	return err == nil && p.Now().Unix() < ends
}

// sessionName is four letters of the number that a session carries: enough to tell one steward's
// looks from another's, and no help to get in.
func (p *Pages) sessionName(r *http.Request) string {
	c, err := r.Cookie(p.cookieName())
	if err != nil || p.Open {
		return "open"
	}
	_, own, _ := strings.Cut(c.Value, ".")
	return strings.ToLower(own[:min(4, len(own))])
}

// host is where a request came from. A proxy on this machine is believed in what it adds
// itself, the last entry of X-Forwarded-For; the rest of it anybody may have written.
func host(r *http.Request) string {
	h, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		h = r.RemoteAddr
	}
	if at, err := netip.ParseAddr(h); err != nil || !at.IsLoopback() {
		return h
	}
	all := r.Header.Values("X-Forwarded-For")
	if len(all) == 0 {
		return h
	}
	said := all[len(all)-1]
	last, err := netip.ParseAddr(strings.TrimSpace(said[strings.LastIndexByte(said, ',')+1:]))
	if err != nil {
		return h
	}
	return last.String()
}

// tries slows down whoever tries passwords: five at once, then one in twenty seconds, from
// one host; six times that from all together.
type tries struct {
	mu    sync.Mutex
	spent map[string]time.Time // host -> when it will have paid for its tries
}

const (
	tryCosts = 20 * time.Second
	tryRoom  = 5
)

func (t *tries) allow(host string, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	const most = 1000
	if t.spent == nil || len(t.spent) > most {
		t.spent = map[string]time.Time{"": t.spent[""]} // what all together have spent stays
	}
	// The host first: one that tries without end must not use up what there is for all.
	return t.pay(host, now, tryCosts, tryRoom) && t.pay("", now, tryCosts/6, 6*tryRoom)
}

func (t *tries) pay(who string, now time.Time, costs time.Duration, room int) bool {
	paid := t.spent[who]
	if paid.Before(now) {
		paid = now
	}
	if paid.Sub(now) > time.Duration(room-1)*costs {
		return false
	}
	t.spent[who] = paid.Add(costs)
	return true
}

func (t *tries) forget(host string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.spent, host)
}
