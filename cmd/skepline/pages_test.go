package main

import (
	"bufio"
	"context"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/rehearsal"
	"skepline/bot/web"
)

const somePages = `clock 2026-05-12 14:05
phone gwen sms +16075550142
catcher ada sms +16075550143 42.451,-76.482 reach 15 height 4 skills ladder
catcher bram sms +16075550144 42.437,-76.514 reach 20 height 3
gwen > There's a ball of bees on my apple tree, about 8 feet up
gwen > nobody got stung
gwen > 14 Mill Lane
`

// site is a hotline in a rehearsal with its real pages.
type site struct {
	*testing.T
	live   *rehearsal.Live
	base   string     // "https://bees.example.org"
	mu     sync.Mutex // held while the rehearsal moves; a browser's requests come when they like
	mux    *http.ServeMux
	hidden *web.Pages
	cookie string
}

func newSite(t *testing.T, text string, steps int) *site {
	t.Helper()
	return newSiteAt(t, exampleURL, text, steps)
}

// served puts a site on a server of this machine, for a browser.
func served(t *testing.T, text string, steps int, languages ...string) *site {
	t.Helper()
	server := httptest.NewUnstartedServer(nil)
	s := newSiteAt(t, "http://"+server.Listener.Addr().String(), text, steps, languages...)
	server.Config.Handler = s.mux
	server.Start()
	t.Cleanup(server.CloseClientConnections) // what waits for news would hold the end up
	t.Cleanup(server.Close)
	return s
}

func newSiteAt(t *testing.T, base, text string, steps int, languages ...string) *site {
	t.Helper()
	transcript, err := rehearsal.Parse("pages", text)
	if err != nil {
		t.Fatal(err)
	}
	settings := bot.DefaultSettings()
	settings.PublicURL = base
	if len(languages) > 0 {
		settings.Languages = languages
	}
	live, err := rehearsal.Player{Settings: settings}.Open(t.Context(), transcript)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = live.Close() })
	for range steps {
		if more, err := live.Step(t.Context()); err != nil || !more {
			t.Fatalf("the transcript ended early (%v)", err)
		}
	}
	s := &site{T: t, live: live, base: base, mux: http.NewServeMux()}
	s.hidden = &web.Pages{
		Look: live.Hotline(), Hear: s, PublicURL: base, Language: settings.DefaultLanguage(), Password: "plum tree", Secret: []byte(strings.Repeat("s", 32)),
		Now: func() time.Time { return time.Unix(1_780_000_000, 0) }, Log: slog.New(slog.DiscardHandler), Privacy: privacy(settings, true, false),
		NewsEvery: 100 * time.Millisecond, Photo: (&service{hotline: live.Hotline()}).photo, Plots: drawn,
	}
	s.hidden.Register(s.mux)
	return s
}

// Hear hears a press on a page.
func (s *site) Hear(ctx context.Context, e bot.Event) (bot.Outcome, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.live.Hear(ctx, e)
}

// plays performs a line of a transcript.
func (s *site) plays(line string) {
	s.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.live.Do(context.Background(), line); err != nil {
		s.Fatal(err)
	}
}

// frame is how everybody's phone looks now.
func (s *site) frame() rehearsal.Frame {
	s.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	frame, err := s.live.Frame(context.Background())
	if err != nil {
		s.Fatal(err)
	}
	return frame
}

// link returns the newest link to page that name was sent.
func (s *site) link(name, page string) string {
	s.Helper()
	found := ""
	for _, p := range s.frame().Phones {
		for _, b := range p.Bubbles {
			if m := regexp.MustCompile(regexp.QuoteMeta(s.base) + `(/` + page + `/[\w-]{22})`).FindStringSubmatch(b.Text); p.Key == name && m != nil {
				found = m[1]
			}
		}
	}
	if found == "" {
		s.Fatalf("%s was sent no link to /%s/", name, page)
	}
	return found
}

// screen returns everything that name was sent.
func (s *site) screen(name string) string {
	s.Helper()
	var all strings.Builder
	for _, p := range s.frame().Phones {
		for _, b := range p.Bubbles {
			if p.Key == name && !b.Mine {
				all.WriteString(b.Text + "\n")
			}
		}
	}
	return all.String()
}

func (s *site) ask(method, path string, form url.Values, headers ...string) *httptest.ResponseRecorder {
	s.Helper()
	r := httptest.NewRequest(method, s.base+path, strings.NewReader(form.Encode()))
	if method == "POST" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	if s.cookie != "" {
		r.Header.Set("Cookie", s.cookie)
	}
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, r)
	return w
}

func (s *site) page(path string) string {
	s.Helper()
	return s.ask("GET", path, nil).Body.String()
}

var nonceIn = regexp.MustCompile(`name="n" value="([A-Z2-7]{16})"`)

// press presses a button of a page as a browser would and returns what came of it.
func (s *site) press(path string, form url.Values) string {
	s.Helper()
	if form.Get("n") == "" {
		m := nonceIn.FindStringSubmatch(s.page(path))
		if m == nil {
			s.Fatalf("%s has no form", path)
		}
		form.Set("n", m[1])
	}
	w := s.ask("POST", path, form)
	if w.Code != http.StatusSeeOther {
		s.Fatalf("POST %s gave %d, want 303", path, w.Code)
	}
	to, err := url.Parse(w.Header().Get("Location"))
	if err != nil {
		s.Fatal(err)
	}
	return to.Query().Get("did")
}

func does(what string, more ...string) url.Values {
	v := url.Values{"does": {what}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

func (s *site) want(why, got, want string) {
	s.Helper()
	if got != want {
		s.Errorf("%s: got %q, want %q", why, got, want)
	}
}

func TestLookingAtALinkChangesNothing(t *testing.T) {
	s := newSite(t, somePages, 3)
	offer, where := s.link("ada", "o"), s.link("gwen", "w")
	before, err := s.live.Hotline().DeskState(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	for _, agent := range []string{"facebookexternalhit/1.1 Facebot Twitterbot/1.0", "WhatsApp/2.23", "TelegramBot (like TwitterBot)", "Mozilla/5.0"} {
		for range 25 {
			for _, path := range []string{offer, where, offer + "?does=take&n=AAAAAAAAAAAAAAAA"} {
				for _, method := range []string{"GET", "HEAD"} {
					if w := s.ask(method, path, nil, "User-Agent", agent); w.Code != 200 {
						t.Fatalf("%s gave %d", method, w.Code)
					}
				}
			}
		}
	}
	after, err := s.live.Hotline().DeskState(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	s.want("the board after 600 looks", after, before)
	s.want("and the offer can still be taken", s.press(offer, does("take")), "won")
}

func TestTakeByPage(t *testing.T) {
	s := newSite(t, somePages, 3)
	ada, bram := s.link("ada", "o"), s.link("bram", "o")
	if page := s.page(ada); strings.Contains(page, "14 Mill") || !strings.Contains(page, "Take it") {
		t.Error("the page of an open offer must not hold the address, and must have the button")
	}
	nonce := nonceIn.FindStringSubmatch(s.page(ada))[1]
	s.want("a tap", s.press(ada, does("take", "n", nonce)), "won")
	s.want("the same tap twice", s.press(ada, does("take", "n", nonce)), "won")
	s.want("another tap", s.press(ada, does("take")), "yours")
	s.want("somebody else, later", s.press(bram, does("take", "n", strings.Repeat("B", 16))), "late")
	if page := s.page(ada); !strings.Contains(page, "14 Mill") || strings.Contains(page, `value="hived"`) {
		t.Error("the holder's page must hold the address, and no button that skips the day")
	}
	if page := s.page(bram); strings.Contains(page, "14 Mill") || strings.Contains(page, "<form") {
		t.Error("the page of an offer that somebody else took must hold neither address nor buttons")
	}
	for _, step := range []struct{ does, did string }{{"eta:30", "noted"}, {"there", "noted"}, {"boxed", "noted"}, {"there", "stale"}, {"lifted", "noted"}, {"hived", "noted"}} {
		s.want(step.does, s.press(ada, does(step.does, "n", regexp.MustCompile(`[^A-Z]`).ReplaceAllString(strings.ToUpper(step.does+step.did+strings.Repeat("A", 16)), "")[:16])), step.did)
	}
	if !strings.Contains(s.screen("gwen"), "new hive") {
		t.Errorf("Gwen did not hear of the hive:\n%s", s.screen("gwen"))
	}
	if page := s.page(ada); strings.Contains(page, "14 Mill") || strings.Contains(page, "<form") {
		t.Error("after the end the page must hold neither address nor buttons")
	}
	s.plays("later 25h")
	if w := s.ask("GET", ada, nil); w.Code != http.StatusNotFound {
		t.Errorf("a day after the end the link gave %d, want 404", w.Code)
	}
}

func TestPassByPageAsksTheNext(t *testing.T) {
	s := newSite(t, somePages, 3)
	ada := s.link("ada", "o")
	s.want("pass", s.press(ada, does("pass:far")), "noted")
	if page := s.page(ada); !strings.Contains(page, "You passed") || !strings.Contains(page, "after all") {
		t.Error("who passed may change their mind on the page")
	}
	s.want("after all", s.press(ada, does("take")), "won")
	s.want("given back", s.press(ada, does("drop")), "noted")
	s.plays("later 1m")
	if page := s.page(ada); strings.Contains(page, "14 Mill") {
		t.Error("who gave a call back must not read the address any more")
	}
}

// What happened between the making of a page and its asking for news is news too.
func TestNewsSinceThePageWasMade(t *testing.T) {
	s := served(t, somePages, 3)
	bram := s.link("bram", "o")
	live := html.UnescapeString(regexp.MustCompile(`data-live="([^"]+)"`).FindStringSubmatch(s.page(bram))[1])
	s.want("meanwhile", s.press(s.link("ada", "o"), does("take")), "won")
	answer, err := http.Get(s.base + live)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	lines := bufio.NewScanner(answer.Body)
	for range 4 { // "retry: …", "", then the first look
		if lines.Scan() && lines.Text() == "event: changed" {
			return
		}
	}
	t.Errorf("the first thing heard is %q", lines.Text())
}

func TestHolderWritesByPage(t *testing.T) {
	s := newSite(t, somePages, 3)
	ada, bram := s.link("ada", "o"), s.link("bram", "o")
	s.want("who holds nothing", s.press(bram, does("says", "text", "hello there")), "stale")
	s.want("taken", s.press(ada, does("take")), "won")
	s.want("words", s.press(ada, does("says", "text", "I am in the red van")), "noted")
	if !strings.Contains(s.screen("gwen"), "Ada: I am in the red van") || strings.Contains(s.screen("gwen"), "hello there") {
		t.Errorf("Gwen reads:\n%s", s.screen("gwen"))
	}
	if !strings.Contains(s.page(ada), "I am in the red van") {
		t.Error("Ada does not see what she wrote")
	}
	s.want("an emergency", s.press(ada, does("says", "text", "I was stung and can't breathe")), "noted")
	if !strings.Contains(s.screen("ada"), "CALL 911 NOW") {
		t.Errorf("an emergency told by page must be answered like one told by text:\n%s", s.screen("ada"))
	}
}

func TestForeignLinksOpenNothing(t *testing.T) {
	s := newSite(t, somePages, 3)
	offer, where := s.link("ada", "o"), s.link("gwen", "w")
	none := s.ask("GET", "/o/AAAAAAAAAAAAAAAAAAAAAA", nil)
	for why, path := range map[string]string{
		"a caller's token at an offer": "/o/" + where[3:], "an offer's token at a caller's page": "/w/" + offer[3:],
		"too short": "/o/AAAA", "not of our letters": "/o/AAAAAAAAAAAAAAAAAAAAA%2F", "one letter off": offer[:24] + map[bool]string{true: "B", false: "A"}[offer[24] == 'A'],
		"its hash": "/o/" + bot.LinkHash(offer[3:])[:22],
	} {
		w := s.ask("GET", path, nil)
		if w.Code != http.StatusNotFound || w.Body.String() != none.Body.String() {
			t.Errorf("%s: got %d and another page than for a token that never was", why, w.Code)
		}
	}
	n := strings.Repeat("C", 16)
	s.want("a caller cannot take", s.press(where, does("take", "n", n)), "stale")
	s.want("a caller's token on the offer's form", s.press("/o/"+where[3:], does("take", "n", n)), "stale")
	s.want("the offer is untouched", s.press(offer, does("take")), "won")
}

func TestCallersPage(t *testing.T) {
	s := newSite(t, somePages, 2) // the place is not told yet
	where := s.link("gwen", "w")
	s.want("a point", s.press(where, does("here", "lat", "42.446", "lon", "-76.49", "within", "18")), "noted")
	if page := s.page(where); !strings.Contains(page, "about 59 ft") {
		t.Error("the page must say what it knows of the place")
	}
	if !strings.Contains(s.screen("ada"), "mi ") {
		t.Errorf("Ada was not asked with a distance:\n%s", s.screen("ada"))
	}
	s.want("no point", s.press(where, does("here", "lat", "NaN", "lon", "x")), "")
	s.want("words", s.press(where, does("says", "text", "my daughter can't breathe, she was stung")), "noted")
	if !strings.Contains(s.screen("gwen"), "CALL 911 NOW") {
		t.Errorf("an emergency told by page must be answered like one told by text:\n%s", s.screen("gwen"))
	}
	s.want("gone", s.press(where, does("gone")), "noted")
	if page := s.page(where); strings.Contains(page, "<form") || !strings.Contains(page, "left on their own") {
		t.Error("after the end the page only says how it ended")
	}
}

func TestDesk(t *testing.T) {
	s := newSite(t, somePages, 2)
	if page := s.page("/desk/"); strings.Contains(page, "Gwen") || !strings.Contains(page, `type="password"`) {
		t.Fatal("the desk shows itself without the password")
	}
	s.enter()
	page := s.page("/desk/")
	call := regexp.MustCompile(`/desk/call/[a-z2-7]+`).FindString(page)
	if call == "" {
		t.Fatal("the desk lists no call")
	}
	s.want("take over", s.press(call, does("take_over")), "noted")
	s.plays("gwen > the cat is called Otto")
	if story := s.page(call); !strings.Contains(story, "the cat is called Otto") || !strings.Contains(story, "Desk: Take over the conversation") {
		t.Error("the story must hold what the caller said and what the desk did")
	}
	if story := s.page(call); strings.Count(story, "address was shown to the desk ") != 1 {
		t.Error("the story must say, once, that this desk was shown the address")
	}
	if strings.Contains(s.page("/desk/"), "Nobody is needed") {
		t.Error("a conversation that was taken over needs a person")
	}
	s.want("say", s.press(call, does("say", "words", "Is Otto indoors?")), "noted")
	if !strings.Contains(s.screen("gwen"), "From the club: Is Otto indoors?") {
		t.Errorf("the caller did not hear the steward:\n%s", s.screen("gwen"))
	}
	s.want("hand back", s.press(call, does("hand_back")), "noted")
	s.want("nobody of that name", s.press(call, does("offer", "catcher", "zoe")), "cannot")
	s.want("offer to one", s.press(call, does("offer", "catcher", "bram")), "noted")
	bram := s.link("bram", "o")
	if strings.Contains(s.screen("ada"), "Swarm") {
		t.Error("only Bram was to be asked")
	}
	s.want("hold", s.press(call, does("hold")), "noted")
	s.want("hold twice", s.press(call, does("hold", "n", strings.Repeat("H", 16))), "cannot")
	s.want("hand back what was only held", s.press(call, does("hand_back", "n", strings.Repeat("J", 16))), "cannot")
	s.want("taken", s.press(bram, does("take")), "won")
	s.want("close", s.press(call, does("close")), "noted")
	if !strings.Contains(s.screen("bram"), "closed") || !strings.Contains(s.screen("gwen"), "closed") {
		t.Error("holder and caller must hear that the club has closed it")
	}
	s.want("after the end", s.press(call, does("close", "n", strings.Repeat("K", 16))), "stale")
}

// enter opens the desk with the password.
func (s *site) enter() {
	s.Helper()
	w := s.ask("POST", "/desk/login", url.Values{"password": {"plum tree"}})
	c := w.Result().Cookies()
	if w.Code != http.StatusSeeOther || len(c) != 1 {
		s.Fatalf("the password gave %d and %d cookies", w.Code, len(c))
	}
	if k := c[0]; k.Name != "__Host-desk" || !k.Secure || !k.HttpOnly || k.SameSite != http.SameSiteStrictMode || k.Path != "/" {
		s.Errorf("the session's cookie is %+v", k)
	}
	s.cookie = c[0].Name + "=" + c[0].Value
}

func TestPasswordIsNotGuessed(t *testing.T) {
	s := newSite(t, somePages, 1)
	now := time.Unix(1_780_000_000, 0)
	s.hidden.Now = func() time.Time { return now }
	var codes []int
	for range 8 {
		codes = append(codes, s.ask("POST", "/desk/login", url.Values{"password": {"plum"}}).Code)
	}
	for i, code := range codes {
		if want := map[bool]int{true: 401, false: 429}[i < 5]; code != want {
			t.Errorf("try %d gave %d, want %d", i+1, code, want)
		}
	}
	if code := s.ask("POST", "/desk/login", url.Values{"password": {"plum tree"}}).Code; code != 429 {
		t.Errorf("the right password in the wait gave %d, want 429: else one could go on guessing", code)
	}
	now = now.Add(25 * time.Second)
	s.enter()
	good := s.cookie
	if !strings.Contains(s.page("/desk/"), "Leave") {
		t.Fatal("the session does not open the desk")
	}
	s.cookie = good[:len(good)-1] + "x"
	if strings.Contains(s.page("/desk/"), "Leave") {
		t.Error("a forged session opens the desk")
	}
	s.cookie, now = good, now.Add(13*time.Hour)
	if strings.Contains(s.page("/desk/"), "Leave") {
		t.Error("a session of yesterday opens the desk")
	}
}

func TestOtherSitesCannotPress(t *testing.T) {
	s := newSite(t, somePages, 3)
	offer := s.link("ada", "o")
	s.enter()
	call := regexp.MustCompile(`/desk/call/[a-z2-7]+`).FindString(s.page("/desk/"))
	for _, path := range []string{offer, call, "/desk/login", "/desk/logout"} {
		for _, headers := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://evil.example"}} {
			if w := s.ask("POST", path, does("take", "n", strings.Repeat("D", 16), "password", "plum tree"), headers...); w.Code != http.StatusForbidden {
				t.Errorf("a form of another site at %s (%s) gave %d, want 403", path[:3], headers[1], w.Code)
			}
		}
	}
	s.want("it is still free", s.press(offer, does("take")), "won")
}

// TestHeaders holds the headers of every route (OWASP ASVS 5.0, 3.4).
func TestHeaders(t *testing.T) {
	s := newSite(t, somePages, 3)
	offer, where := s.link("ada", "o"), s.link("gwen", "w")
	css := regexp.MustCompile(`/page/[0-9a-f]+\.css`).FindString(s.page(offer))
	s.enter()
	call := regexp.MustCompile(`/desk/call/[a-z2-7]+`).FindString(s.page("/desk/"))
	want := map[string]string{
		"Content-Security-Policy":    "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
		"Referrer-Policy":            "no-referrer",
		"Cache-Control":              "no-store",
		"X-Content-Type-Options":     "nosniff",
		"X-Robots-Tag":               "noindex",
		"Cross-Origin-Opener-Policy": "same-origin",
		"Permissions-Policy":         "geolocation=(self), camera=(), microphone=()",
		"Strict-Transport-Security":  "max-age=31536000",
	}
	for _, path := range []string{offer, where, "/p/" + offer[3:] + "?n=0", "/o/AAAAAAAAAAAAAAAAAAAAAA", "/desk/", call, "/desk/call/none", "/privacy", css} {
		h := s.ask("GET", path, nil).Header()
		for name, value := range want {
			if path == css && name == "Cache-Control" {
				value = "public, max-age=31536000, immutable"
			}
			if got := h.Get(name); got != value {
				t.Errorf("%s: %s is %q, want %q", path[:3], name, got, value)
			}
		}
	}
	for _, path := range []string{offer, where, "/desk/", call} {
		page := s.page(path)
		for _, bad := range []string{" onclick", " style=", "<style", "javascript:", "http://"} {
			if strings.Contains(page, bad) {
				t.Errorf("the page at %s holds %q, which its policy forbids", path[:3], bad)
			}
		}
		if strings.Count(page, "<script") != strings.Count(page, `<script src="/page/`) || strings.Contains(page, "[page_") {
			t.Errorf("the page at %s holds a script of its own, or a text that is missing: %.40s", path[:3], page[max(0, strings.Index(page, "[page_")):])
		}
	}
}

// TestPagesAreLight holds that a page with its style and script is below 15 kB.
func TestPagesAreLight(t *testing.T) {
	s := newSite(t, somePages, 3)
	offer, where := s.link("ada", "o"), s.link("gwen", "w")
	whole := func(path string) (page, assets int) {
		text := s.page(path)
		for _, asset := range regexp.MustCompile(`/page/[0-9a-f]+\.(css|js)`).FindAllString(text, -1) {
			assets += len(s.page(asset))
		}
		return len(text), assets
	}
	check := func(what, path string, limit int) {
		if page, assets := whole(path); page+assets >= limit || page < 500 {
			t.Errorf("%s is %d bytes with %d of style and script, want below %d", what, page, assets, limit)
		}
	}
	check("an open offer", offer, 15_000)
	check("the caller's page", where, 25_000) // its script is kept by the browser
	s.press(offer, does("take"))
	check("a job", offer, 15_000)
}

func TestPhonesInOneFile(t *testing.T) {
	frames, err := record(t.Context(), bot.DefaultSettings(), rehearsal.BuiltIn())
	if err != nil {
		t.Fatal(err)
	}
	var page strings.Builder
	if _, err := (web.Phones{Language: "en", Hotline: "Quillbrook Bees", Frames: frames, Count: len(frames)}).Write(&page); err != nil {
		t.Fatal(err)
	}
	text := page.String()
	for _, want := range []string{`id="s0"`, "Take it", "new hive", "14 Mill Lane"} {
		if !strings.Contains(text, want) {
			t.Errorf("the recorded run does not hold %q", want)
		}
	}
	for _, bad := range []string{`src="`, `href="http`, "[page_", "<form"} {
		if strings.Contains(text, bad) {
			t.Errorf("the recorded run holds %q, so it needs more than itself", bad)
		}
	}
}

func TestPhonesByHand(t *testing.T) {
	settings := bot.DefaultSettings()
	frames, err := record(t.Context(), settings, rehearsal.BuiltIn())
	if err != nil {
		t.Fatal(err)
	}
	show := &phoneShow{settings: settings, transcript: rehearsal.BuiltIn(), frames: frames, base: "http://127.0.0.1:8080"}
	server := httptest.NewServer(show.handler())
	defer server.Close()
	post := func(form url.Values) string {
		answer, err := http.PostForm(server.URL+"/live", form)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	for _, act := range []struct {
		why, want string
		form      url.Values
	}{
		{"goes on from a step", "14 Mill Lane", url.Values{"do": {"from 3"}}},
		{"types as anybody", "Otto is a cat", url.Values{"who": {"gwen"}, "text": {"Otto is a cat"}}},
		{"pushes the clock", "Tue 14:10", url.Values{"do": {"later 5m"}}},
		{"presses a button", "is yours", url.Values{"do": {"ada taps Take it"}}},
		{"sends a picture", "a picture", url.Values{"do": {"gwen photo"}}},
		{"is told what cannot be", "nobody is called", url.Values{"who": {"zoe"}, "text": {"hello"}}},
	} {
		if page := post(act.form); !strings.Contains(page, act.want) {
			t.Errorf("one who %s does not see %q", act.why, act.want)
		}
	}
	r := httptest.NewRequest("GET", "http://evil.example/live", nil)
	w := httptest.NewRecorder()
	show.handler().ServeHTTP(w, r)
	if w.Code != http.StatusMisdirectedRequest {
		t.Errorf("a foreign name for this machine gave %d, want 421", w.Code)
	}
}
