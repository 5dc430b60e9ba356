package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// newBrowser starts a browser without a window for one test, or skips the test where there is
// none. SKEPLINE_TEST_BROWSER names one that is not on PATH; "none" leaves the test out.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	path := ""
	if os.Getenv("SKEPLINE_TEST_BROWSER") == "none" {
		t.Skip("SKEPLINE_TEST_BROWSER leaves the browser out.")
	}
	for _, name := range []string{os.Getenv("SKEPLINE_TEST_BROWSER"), "chromium", "chromium-browser", "google-chrome", "chrome"} {
		if found, err := exec.LookPath(name); path == "" && err == nil {
			path = found
		}
	}
	if path == "" {
		t.Skip("There is no Chromium here, so the pages are not tried in a browser.")
	}
	options := []chromedp.ExecAllocatorOption{
		chromedp.ExecPath(path), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("hide-scrollbars", true),
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"), // nothing leaves this machine
	}
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox) // Chromium's sandbox refuses root
	}
	ctx, cancel := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(options...))
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("%s does not start: %v", path, err)
	}
	return ctx
}

// tab is one tab of a browser, with its own cookies, at a site.
type tab struct {
	*testing.T
	ctx  context.Context
	base string
}

// tabAt opens a new tab at a site that is served for real.
func tabAt(t *testing.T, browser context.Context, s *site) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil { // without a deadline: it would close the tab
		t.Fatal(err)
	}
	b := &tab{t, ctx, s.base}
	b.do(chromedp.EmulateViewport(390, 800, chromedp.EmulateMobile))
	return b
}

// within bounds one step, so that a page that never answers fails the test by itself.
const within = 20 * time.Second

func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, within)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		b.Fatal(err)
	}
}

// open goes to a page and returns its status.
func (b *tab) open(path string) int64 {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, within)
	defer cancel()
	answer, err := chromedp.Run(ctx, chromedp.NavigateResponse(b.base+path))
	if err != nil {
		b.Fatal(err)
	}
	return answer.Status
}

// text is what can be read on the page.
func (b *tab) text() string {
	b.Helper()
	return ask1[string](b, `document.body.innerText`)
}

// ask1 evaluates an expression in the page.
func ask1[T any](b *tab, expression string) T {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, within)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.Fatalf("%s: %v", expression[:min(len(expression), 80)], err)
	}
	return v
}

// press clicks what a selector names and waits for the page that follows.
func (b *tab) press(selector string) {
	b.Helper()
	b.does(chromedp.Click(chromedp.CSS(selector)))
}

// does what leads to another page, and waits for that.
func (b *tab) does(actions ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, within)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, actions...); err != nil {
		b.Fatalf("no page follows: %v; this one reads:\n%s", err, b.text())
	}
}

// until waits for an expression to come true in the page.
func (b *tab) until(why, expression string) {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, within)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingInterval(50*time.Millisecond))); err != nil {
		b.Fatalf("%s: %v; the page reads:\n%s", why, err, b.text())
	}
}

// reads fails unless every one of words can be read on the page.
func (b *tab) reads(why string, words ...string) {
	b.Helper()
	text := strings.ToLower(b.text())
	for _, w := range words {
		if !strings.Contains(text, strings.ToLower(w)) {
			b.Errorf("%s: %q cannot be read in:\n%s", why, w, text)
		}
	}
}

// looks are the widths and colours in which every page must be good.
var looks = []struct {
	width  int64
	scheme string
}{{360, "light"}, {360, "dark"}, {1280, "light"}, {1280, "dark"}}

// looksWell holds that the page that is open has no fault that axe-core finds, at any width
// and in any colours, and needs no scrolling sideways. It leaves pictures of it in
// SKEPLINE_TEST_SCREENS, when that names a folder.
func (b *tab) looksWell(name string) {
	b.Helper()
	axe := os.Getenv("SKEPLINE_TEST_AXE")
	if axe != "" {
		source, err := os.ReadFile(axe)
		if err != nil {
			b.Fatal(err)
		}
		ask1[bool](b, string(source)+"; true")
	}
	for _, look := range looks {
		b.as(look.width, look.scheme)
		what := fmt.Sprintf("%s at %d px, %s", name, look.width, look.scheme)
		if wide := ask1[int64](b, `document.documentElement.scrollWidth`); wide > look.width {
			b.Errorf("%s: the page is %d px wide", what, wide)
		}
		if dir := os.Getenv("SKEPLINE_TEST_SCREENS"); dir != "" {
			b.picture(filepath.Join(dir, fmt.Sprintf("%s-%d-%s.png", name, look.width, look.scheme)))
		}
		if axe != "" {
			for _, fault := range ask1[[]string](b, faultsByAxe) {
				b.Errorf("%s: %s", what, fault)
			}
		}
	}
}

// faultsByAxe runs axe-core with the rules of WCAG 2.2 level A and AA and its best practices.
const faultsByAxe = `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r =>
	r.violations.map(v => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " (" + n.failureSummary.split("\n").slice(-1)[0].trim() + ")").join("; ")))`

func (b *tab) as(width int64, scheme string) {
	b.Helper()
	height := int64(740)
	if width > 600 {
		height = 800
	}
	b.do(chromedp.EmulateViewport(width, height), func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}},
		})
		return chromedp.Void{}, err
	})
}

func (b *tab) picture(file string) {
	b.Helper()
	high := min(ask1[int64](b, `document.documentElement.scrollHeight`), 6000)
	wide := ask1[int64](b, `innerWidth`)
	yes := true
	shot, err := chromedp.Call(b.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{
		CaptureBeyondViewport: &yes, Clip: &page.Viewport{Width: float64(wide), Height: float64(high), Scale: 1},
	})
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(file, shot.Data, 0o644); err != nil {
		b.Fatal(err)
	}
}
