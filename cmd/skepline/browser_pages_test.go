package main

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestInBrowser tries the pages in a real browser, and looks at every one of them.
func TestInBrowser(t *testing.T) {
	chromium := newBrowser(t)
	for _, part := range []struct {
		name string
		try  func(*testing.T, context.Context)
	}{
		{"take", tryTake}, {"over", tryOver}, {"location", tryLocation}, {"denied", tryDenied}, {"tiles", tryTiles}, {"photo", tryPhoto}, {"desk", tryDesk}, {"desk end", tryDeskEnd}, {"phones", tryPhones}, {"bots", tryBots}, {"plain", tryPlain}, {"spanish", trySpanish},
	} {
		t.Run(part.name, func(t *testing.T) {
			t.Parallel()
			part.try(t, chromium)
		})
	}
}

// tryTake is two catchers at one offer, and the day of the one who got it.
func tryTake(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	ada, bram := tabAt(t, chromium, s), tabAt(t, chromium, s)
	ada.open(s.link("ada", "o"))
	bram.open(s.link("bram", "o"))
	ada.looksWell("offer-open")
	ada.press(`button[value="take"]`)
	ada.reads("who took it", "It is yours", "14 Mill Lane", "When will you be there?")
	bram.until("the page of the other one refreshes itself", `document.body.innerText.includes("Ada has it")`)
	bram.reads("taken meanwhile", "No need to go")
	if strings.Contains(bram.text(), "14 Mill") {
		t.Error("who did not get it can read the address")
	}
	bram.looksWell("offer-taken")
	ada.looksWell("offer-mine")
	ada.press(`button[value="eta:30"]`)
	ada.reads("after a time", "Expected there about 2:35 pm")
	ada.press(`button[value="there"]`)
	ada.press(`button[value="boxed"]`)
	ada.reads("in the box", "Box lifted")
	s.plays("gwen > is there honey in it?")
	ada.until("what the caller says comes by itself", `document.body.innerText.includes("honey in it")`)
	ada.looksWell("offer-boxed")
}

// tryOver is a double tap, a tap on a page that has gone stale, and links that end.
func tryOver(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	ada := tabAt(t, chromium, s)
	path := s.link("ada", "o")
	ada.open(path)
	// Two presses of one page, as an impatient thumb makes them.
	both := ask1[[]string](ada, `Promise.all([1, 2].map(() => fetch(location.pathname, {method: "POST",
		body: new URLSearchParams({n: document.querySelector("[name=n]").value, does: "take"})}).then(r => new URL(r.url).searchParams.get("did"))))`)
	if strings.Join(both, " ") != "won won" {
		t.Errorf("a double tap came to %v, want won twice", both)
	}
	bram := tabAt(t, chromium, s)
	bram.open(s.link("bram", "o"))
	bram.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("main").insertAdjacentHTML("beforeend",
		'<form method="post"><input name="n" value="BBBBBBBBBBBBBBBB"><button id="late" name="does" value="take">late</button></form>')`))
	bram.press("#late")
	bram.reads("a tap too late", "Somebody was faster")
	s.plays("gwen > GONE")
	ada.open(path)
	ada.reads("after the end", "This one is over")
	ada.looksWell("offer-over")
	s.plays("later 25h")
	if status := ada.open(path); status != http.StatusNotFound {
		t.Errorf("a day after the end the link gave %d, want 404", status)
	}
	ada.reads("a link that has ended", "Nothing here")
	ada.looksWell("nothing")
	ada.press("footer a")
	ada.reads("what is kept", "What we keep of you", "A photo you add on your page", "Qué guardamos de usted")
	ada.looksWell("privacy")
}

// permits lets the tab's pages have a location, or not.
func (b *tab) permits(setting browser.PermissionSetting, lat, lon, within float64) {
	b.Helper()
	b.do(func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.CallBrowser(ctx, browser.SetPermission, browser.SetPermissionParams{
			Permission: &browser.PermissionDescriptor{Name: "geolocation"}, Setting: setting,
			BrowserContextID: chromedp.FromContext(ctx).BrowserContextID,
		})
		return chromedp.Void{}, err
	}, func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Call(ctx, emulation.SetGeolocationOverride, emulation.SetGeolocationOverrideParams{Latitude: &lat, Longitude: &lon, Accuracy: &within})
		return chromedp.Void{}, err
	})
}

// tryLocation shares a location, and moves the point by key and by thumb.
func tryLocation(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 2) // the place is not told yet
	gwen := tabAt(t, chromium, s)
	gwen.permits(browser.PermissionSettingGranted, 42.446, -76.49, 18)
	gwen.open(s.link("gwen", "w"))
	gwen.looksWell("where-asked")
	gwen.do(chromedp.EmulateViewport(390, 800, chromedp.EmulateMobile), chromedp.Click(chromedp.CSS("[data-locate]")))
	gwen.until("the sketch opens", `!document.querySelector("[data-adjust]").hidden`)
	gwen.looksWell("where-sketch")
	gwen.do(chromedp.KeyEvent(kb.ArrowUp), chromedp.KeyEvent(kb.ArrowUp), chromedp.Click(chromedp.CSS(`[data-step="ArrowRight"]`)))
	gwen.until("two steps north, one east", `document.querySelector("[data-off]").innerText === "35 ft north, 15 ft east"`)
	ask1[bool](gwen, `(() => { const svg = document.querySelector(".ground svg"), r = svg.getBoundingClientRect();
		svg.dispatchEvent(new PointerEvent("pointermove", {buttons: 1, clientX: r.left + r.width * .5, clientY: r.top + r.height * .25})); return true })()`)
	gwen.until("dragged north", `document.querySelector("[data-off]").innerText.startsWith("165 ft north")`)
	gwen.press(`button[value="here"]`)
	gwen.reads("the point is known", "On the map we have it to about 33 ft")
	if said := s.screen("ada"); !strings.Contains(said, "mi ") {
		t.Errorf("Ada was not asked with a distance:\n%s", said)
	}
	gwen.looksWell("where-looking")
	ada := tabAt(t, chromium, s)
	ada.open(s.link("ada", "o"))
	ada.press(`button[value="take"]`)
	gwen.until("the caller sees at once who comes", `document.body.innerText.includes("Ada, a volunteer, will come")`)
	ada.press(`button[value="eta:15"]`)
	gwen.until("and when", `document.body.innerText.includes("2:20 pm")`)
	gwen.looksWell("where-eta")
	ada.press(`button[value="there"]`)
	ada.press(`button[value="boxed"]`)
	gwen.until("and what then", `document.body.innerText.includes("The bees are in a box")`)
	gwen.looksWell("where-boxed")
}

// tryDenied is a phone that does not tell where it is.
func tryDenied(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 2)
	gwen := tabAt(t, chromium, s)
	gwen.permits(browser.PermissionSettingDenied, 0, 0, 0)
	gwen.open(s.link("gwen", "w"))
	gwen.do(chromedp.Click(chromedp.CSS("[data-locate]")))
	gwen.until("it says what to do instead", `document.querySelector("[data-said]").innerText.includes("write the place below")`)
	gwen.do(chromedp.SendKeys(chromedp.CSS("#words"), "14 Mill Lane"))
	gwen.press(`button[value="place"]`)
	gwen.reads("the place in words", "We have: 14 Mill Lane")
	gwen.press(`button[value="gone"]`)
	gwen.reads("the end", "The bees have left on their own")
	gwen.looksWell("where-over")
}

// tryTiles has a tile map under the sketch, and asks nobody else for anything.
func tryTiles(t *testing.T, chromium context.Context) {
	var asked atomic.Int64
	var told atomic.Value
	tiles := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		told.Store(r.Referer())
		if !regexp.MustCompile(`^/\d+/\d+/\d+\.png$`).MatchString(r.URL.Path) {
			t.Errorf("asked for the tile %s", r.URL.Path)
		}
		m := image.NewGray(image.Rect(0, 0, 256, 256))
		for i := range m.Pix {
			m.Pix[i] = uint8(200 + 30*(i/256/32%2) + 20*(i%256/32%2))
		}
		_ = png.Encode(w, m) // the browser may have gone
	}))
	defer tiles.Close()
	s := served(t, somePages, 2)
	s.live.Hotline().Settings.Map.Tiles, s.live.Hotline().Settings.Map.Attribution = tiles.URL+"/{z}/{x}/{y}.png", "© the people of Quillbrook"
	gwen := tabAt(t, chromium, s)
	gwen.open(s.link("gwen", "w"))
	gwen.do(chromedp.Click(chromedp.CSS("[data-known]")))
	gwen.until("tiles come", `document.querySelectorAll(".tiles img").length > 3 && [...document.querySelectorAll(".tiles img")].every(i => i.naturalWidth === 256)`)
	gwen.do(chromedp.Click(chromedp.CSS(`[data-step="in"]`)))
	gwen.reads("whose map it is", "the people of Quillbrook")
	gwen.looksWell("where-tiles")
	if from, _ := told.Load().(string); strings.Contains(from, "/w/") || asked.Load() == 0 {
		t.Errorf("the tile server was asked %d times and told %q", asked.Load(), from)
	}
}

// tryPhoto sends a picture that the browser makes small first.
func tryPhoto(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	file := filepath.Join(t.TempDir(), "IMG_0001.JPG")
	if err := os.WriteFile(file, aPhoto(t), 0o600); err != nil {
		t.Fatal(err)
	}
	gwen, ada := tabAt(t, chromium, s), tabAt(t, chromium, s)
	gwen.open(s.link("gwen", "w"))
	gwen.do(chromedp.SetUploadFiles(chromedp.CSS("#photo"), []string{file}))
	gwen.until("the browser makes it small", `document.querySelector("[data-photo] [data-said]").innerText.startsWith("Ready to send")`)
	if small := ask1[int64](gwen, `document.querySelector("#photo").files[0].size`); small > 700_000 {
		t.Errorf("the browser sends %d bytes", small)
	}
	gwen.press("[data-photo] button")
	gwen.reads("it came", "We have a photo")
	ada.open(s.link("ada", "o"))
	ada.do(chromedp.ScrollIntoView(chromedp.CSS(".photo")))
	ada.until("the catcher sees it", `document.querySelector(".photo").naturalHeight > document.querySelector(".photo").naturalWidth`)
	ada.looksWell("offer-photo")
}

// tryBots is whoever previews links in messages: they look, and nothing changes.
func tryBots(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	before, err := s.live.Hotline().DeskState(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	path := s.link("ada", "o")
	preview := tabAt(t, chromium, s)
	preview.do(func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Call(ctx, emulation.SetUserAgentOverride, emulation.SetUserAgentOverrideParams{UserAgent: "WhatsApp/2.23 (preview, runs scripts)"})
		return chromedp.Void{}, err
	})
	preview.open(path)
	preview.open(path + "?does=take&n=AAAAAAAAAAAAAAAA")
	ask1[int64](preview, `fetch(location.pathname, {method: "HEAD"}).then(r => r.status)`)
	ask1[int64](preview, `fetch(location.pathname + "?does=take&n=BBBBBBBBBBBBBBBB").then(r => r.status)`)
	after, err := s.live.Hotline().DeskState(t.Context(), "")
	if err != nil || after != before {
		t.Errorf("a preview changed something (%v)", err)
	}
	ada := tabAt(t, chromium, s)
	ada.open(path)
	ada.press(`button[value="take"]`)
	ada.reads("and it can still be taken", "It is yours")
}

// tryPlain is an old phone without JavaScript.
func tryPlain(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	gwen, ada := tabAt(t, chromium, s), tabAt(t, chromium, s)
	for _, b := range []*tab{gwen, ada} {
		b.do(func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
			_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
			return chromedp.Void{}, err
		})
	}
	ada.open(s.link("ada", "o"))
	ada.press(`button[value="take"]`)
	ada.reads("taken", "14 Mill Lane", "Refresh")
	file := filepath.Join(t.TempDir(), "bees.png")
	var small bytes.Buffer
	if err := png.Encode(&small, image.NewGray(image.Rect(0, 0, 40, 30))); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, small.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	gwen.open(s.link("gwen", "w"))
	gwen.reads("the status and what needs a script", "Ada, a volunteer, will come", "Sharing your location needs JavaScript")
	gwen.do(chromedp.SetUploadFiles(chromedp.CSS("#photo"), []string{file}))
	gwen.press("[data-photo] button")
	gwen.reads("a plain file", "We have a photo")
	gwen.do(chromedp.SendKeys(chromedp.CSS("#tell"), "the gate sticks"))
	gwen.press(`button[value="says"]`)
	ada.press("noscript a")
	ada.reads("after Refresh", "the gate sticks")
}

// trySpanish looks at the pages in the other language: its words are longer.
func trySpanish(t *testing.T, chromium context.Context) {
	text := strings.NewReplacer("There's a ball of bees on my apple tree, about 8 feet up", "Hay una bola de abejas colgada en mi manzano, a dos metros",
		"nobody got stung", "no, a nadie").Replace(somePages)
	s := served(t, text, 3, "es", "en")
	ada, gwen, sam := tabAt(t, chromium, s), tabAt(t, chromium, s), tabAt(t, chromium, s)
	ada.open(s.link("ada", "o"))
	ada.looksWell("es-offer-open")
	ada.press(`button[value="take"]`)
	ada.looksWell("es-offer-mine")
	gwen.open(s.link("gwen", "w"))
	gwen.looksWell("es-where")
	sam.open("/desk/")
	sam.do(chromedp.SendKeys(chromedp.CSS("#pw"), "plum tree"))
	sam.press("button.go")
	sam.looksWell("es-desk")
	sam.press("article h3 a")
	sam.looksWell("es-desk-call")
	for name, b := range map[string]*tab{"the offer": ada, "the caller's page": gwen, "the desk": sam} {
		if lang := ask1[string](b, `document.documentElement.lang`); lang != "es" {
			t.Errorf("%s is in %s", name, lang)
		}
	}
}
