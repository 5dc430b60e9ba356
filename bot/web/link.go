package web

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"skepline/bot"
)

// goodToken keeps look-ups to what can be a token: 22 letters of base64url.
func goodToken(r *http.Request) (string, bool) {
	token := r.PathValue("token")
	ok := len(token) == 22 && strings.Trim(token, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") == ""
	return token, ok
}

// did is the words for what came of a press, as the address tells it after the redirect.
func did(data page, r *http.Request) string {
	switch o := r.URL.Query().Get("did"); o {
	case "noted", "won", "yours", "late", "no_offer", "full", "stale", "stopped", "quiet", "cannot", "enough", "no_picture", "busy":
		return data.T("page_did_" + o)
	}
	return ""
}

// seen answers for a page whose view could not be read or does not exist, and reports whether
// there is one to show.
func seen[V any](p *Pages, w http.ResponseWriter) func(*V, error) (*V, bool) {
	return func(v *V, err error) (*V, bool) {
		switch {
		case err != nil:
			p.broken(w, err)
		case v == nil:
			p.nothing(w)
		}
		return v, v != nil && err == nil
	}
}

func (p *Pages) offer(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	if !ok {
		p.nothing(w)
		return
	}
	since, _ := p.Look.LinkState(r.Context(), token) // without it the page is only less live
	v, ok := seen[bot.OfferView](p, w)(p.Look.ViewOffer(r.Context(), token))
	if !ok {
		return
	}
	data := p.page(v.Language, "")
	if v.State == "yours" && !p.kept(r) {
		w.Header().Set("Refresh", "2")
		http.Error(w, data.T("tap_settling"), http.StatusServiceUnavailable)
		return
	}
	data.Title = data.T("page_swarm", "Ref", v.Ref)
	data.Token, data.V, data.Did, data.Since = token, v, did(data, r), since
	data.Minutes, data.Reasons = []string{"15", "30", "45", "60"}, bot.PassReasons
	data.Sketch, data.SunsetIn = homeSketch(v, data), span(v.SunsetIn)
	p.show(w, http.StatusOK, "offer", data)
}

// kept reports whether "yours" may be said: no failover of the store can take it back.
func (p *Pages) kept(r *http.Request) bool {
	if p.Kept == nil {
		return true
	}
	kept, err := p.Kept(r.Context())
	return kept && err == nil
}

func (p *Pages) offerDoes(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	if !ok {
		p.nothing(w)
		return
	}
	does, more, _ := strings.Cut(r.PostFormValue("does"), ":")
	e := bot.Paged{Does: does}
	switch does {
	case "eta":
		e.Minutes, _ = strconv.Atoi(more)
	case "pass":
		e.Reason = more
	case "says":
		e.Text = bot.Typed(r.PostFormValue("text"))
	}
	p.press(w, r, "/o/", token, r.PostFormValue("n"), e)
}

func (p *Pages) caller(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	if !ok {
		p.nothing(w)
		return
	}
	since, _ := p.Look.LinkState(r.Context(), token)
	v, ok := seen[bot.CallerView](p, w)(p.Look.ViewCaller(r.Context(), token))
	if !ok {
		return
	}
	data := p.page(v.Language, "")
	data.Title, data.Status = data.T("page_w_title"), standing(data, v)
	data.Token, data.V, data.Did, data.Squares = token, v, did(data, r), squares
	data.Scripts, data.Since = append(data.Scripts, whereName), since
	if origin := originOf(v.Tiles); origin != "" {
		w.Header().Set("Content-Security-Policy", strings.Replace(policy, "img-src 'self'", "img-src 'self' "+origin, 1))
	}
	p.show(w, http.StatusOK, "caller", data)
}

// originOf returns scheme and host of a tile pattern, "" when there is none.
func originOf(tiles string) string {
	scheme, rest, ok := strings.Cut(tiles, "://")
	if !ok {
		return ""
	}
	host, _, _ := strings.Cut(rest, "/")
	return scheme + "://" + host
}

// standing says in one sentence how the caller's swarm stands.
func standing(data page, v *bot.CallerView) string {
	key := "page_w_" + v.Stage
	switch {
	case v.Over && v.Stage != string(bot.Hived) && v.Stage != string(bot.Flown) && v.Stage != string(bot.Lifted):
		key = "page_w_over"
	case v.Held != "" && !v.Over:
		key = "page_w_held"
	case v.Stage == string(bot.Looking) && v.Fallback != "":
		return data.T("page_w_kept", "Holder", v.Fallback, "At", v.Arrives)
	case v.Stage == string(bot.Taken) && v.ETA != "":
		key = "page_w_eta"
	}
	return data.T(key, "Holder", v.Holder, "At", v.ETA, "Sunset", v.Sunset)
}

func (p *Pages) callerDoes(w http.ResponseWriter, r *http.Request) {
	token, ok := goodToken(r)
	if !ok {
		p.nothing(w)
		return
	}
	if uploads(r) {
		p.addsPhoto(w, r, token)
		return
	}
	e := bot.Paged{Does: r.PostFormValue("does")}
	switch e.Does {
	case "here":
		if e.Pin = readPoint(r); e.Pin == nil {
			http.Redirect(w, r, "/w/"+token, http.StatusSeeOther)
			return
		}
	case "place", "says":
		// One way to take words in: the hotline reads a place out of them when it waits for one.
		e.Does, e.Text = "says", bot.Typed(r.PostFormValue("text"))
	}
	p.press(w, r, "/w/", token, r.PostFormValue("n"), e)
}

// readPoint reads the point that the form's script found, nil when there is none.
func readPoint(r *http.Request) *bot.Point {
	lat, err1 := strconv.ParseFloat(r.PostFormValue("lat"), 64)
	lon, err2 := strconv.ParseFloat(r.PostFormValue("lon"), 64)
	within, err3 := strconv.ParseFloat(r.PostFormValue("within"), 64)
	if err1 != nil || err2 != nil || !(math.Abs(lat) <= 90) || !(math.Abs(lon) <= 180) || lat == 0 && lon == 0 {
		return nil
	}
	if err3 != nil || !(within > 0) {
		within = 0
	}
	return &bot.Point{Lat: lat, Lon: lon, PrecisionM: min(within, 2000)}
}

// press hears a press and sends the browser back to look. The form's nonce names the event,
// so a double tap and a reload come to what the first one came to.
func (p *Pages) press(w http.ResponseWriter, r *http.Request, path, token, nonce string, e bot.Paged) {
	if !goodNonce(nonce) {
		http.Redirect(w, r, path+token, http.StatusSeeOther)
		return
	}
	e.Token = bot.LinkHash(token)
	e.Event = bot.EventID("web:" + e.Token[:16] + ":" + e.Does + ":" + nonce)
	if len(e.Does) > 12 || e.Does == "photo" && e.Photo == nil || slices.ContainsFunc([]rune(e.Does), func(r rune) bool { return r != '_' && (r < 'a' || r > 'z') }) {
		http.Redirect(w, r, path+token, http.StatusSeeOther)
		return
	}
	outcome, err := p.Hear.Hear(r.Context(), e)
	if err != nil {
		p.broken(w, err)
		return
	}
	http.Redirect(w, r, path+token+"?did="+string(outcome), http.StatusSeeOther)
}
