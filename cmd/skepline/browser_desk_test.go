package main

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"skepline/bot"
	"skepline/bot/rehearsal"
)

// tryDesk is a steward's evening, with the keyboard where that is enough.
func tryDesk(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 2)
	sam := tabAt(t, chromium, s)
	sam.open("/desk/")
	sam.looksWell("desk-login")
	sam.do(chromedp.SendKeys(chromedp.CSS("#pw"), "plum"))
	sam.press("button.go")
	sam.reads("a wrong password", "That is not the password")
	sam.do(chromedp.SendKeys(chromedp.CSS("#pw"), "plum tree"))
	sam.press("button.go")
	sam.reads("inside", "Goes its way")
	sam.press("article h3 a")
	sam.press(`button[value="take_over"]`)
	sam.reads("taken over", "a steward writes", "Desk: Take over the conversation")
	s.plays("gwen > the cat is called Otto")
	sam.until("the caller's words come by themselves", `document.body.innerText.includes("Otto")`)
	sam.do(chromedp.SendKeys(chromedp.CSS("#say"), "Is Otto indoors?"))
	sam.press(`button[value="say"]`)
	if !strings.Contains(s.screen("gwen"), "Is Otto indoors?") {
		t.Error("the caller did not hear the steward")
	}
	sam.looksWell("desk-call-taken-over")
	sam.press(`button[value="hand_back"]`)
	s.plays("gwen > 14 Mill Lane")
	sam.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#offer").value = [...document.querySelectorAll("#offer option")].find(o => o.text.startsWith("Bram")).value`))
	sam.press(`button[value="offer"]`)
	sam.reads("offered to one", "Offered to Bram by a steward")
	s.plays("phone hans sms +16075550145")
	s.plays("hans > swarm of bees hanging on a branch at 40 Oak Street")
	s.plays("hans > 1")
	sam.open("/desk/")
	sam.until("both are there", `document.querySelectorAll("article").length === 2`)
	sam.looksWell("desk")
	sam.press(`a[href="/desk/numbers"]`)
	sam.looksWell("desk-numbers-none")
}

// tryDeskEnd joins and splits two reports, closes one, and looks at the numbers.
func tryDeskEnd(t *testing.T, chromium context.Context) {
	s := served(t, somePages, 3)
	for _, line := range []string{"phone hans sms +16075550145", "hans > swarm of bees hanging on a branch at 40 Oak Street", "hans > 1"} {
		s.plays(line)
	}
	sam := tabAt(t, chromium, s)
	sam.open("/desk/")
	sam.do(chromedp.SendKeys(chromedp.CSS("#pw"), "plum tree"))
	sam.press("button.go")
	hans := ask1[string](sam, `[...document.querySelectorAll("article")].find(a => a.innerText.includes("Oak")).querySelector("a").getAttribute("href")`)
	sam.open(hans)
	sam.press(`button[value="join"]`)
	sam.reads("joined", "Part of", "Taken for the same swarm as")
	sam.looksWell("desk-call-joined")
	sam.press(`button[value="split"]`)
	sam.reads("split", "A swarm of its own after all")
	ada := tabAt(t, chromium, s)
	ada.open(s.link("ada", "o"))
	ada.press(`button[value="take"]`)
	for _, step := range []string{"there", "boxed", "lifted", "hived"} {
		ada.press(`button[value="` + step + `"]`)
	}
	sam.open(hans)
	sam.does(chromedp.Focus(chromedp.CSS(`button[value="close"]`)), chromedp.KeyEvent(kb.Enter))
	sam.reads("closed by the keyboard", "Closed by a steward")
	sam.looksWell("desk-call-closed")
	sam.open("/desk/")
	sam.looksWell("desk-quiet")
	sam.open("/desk/numbers")
	sam.until("the plots are drawn", `document.querySelectorAll(".plots img").length > 2 && (document.querySelectorAll(".plots img").forEach(i => { i.loading = "eager" }), true) && [...document.querySelectorAll(".plots img")].every(i => i.naturalWidth > 100)`)
	sam.reads("the numbers", "Who does how much", "Ada", "Gini")
	sam.looksWell("desk-numbers")
	if status := sam.open("/desk/call/none"); status != http.StatusNotFound {
		t.Errorf("no call gave %d", status)
	}
}

// tryPhones goes through a recorded rehearsal, and on by hand on the real hotline.
func tryPhones(t *testing.T, chromium context.Context) {
	settings := bot.DefaultSettings()
	frames, err := record(t.Context(), settings, rehearsal.BuiltIn())
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewUnstartedServer(nil)
	base := "http://" + server.Listener.Addr().String()
	server.Config.Handler = (&phoneShow{settings: settings, transcript: rehearsal.BuiltIn(), frames: frames, base: base}).handler()
	server.Start()
	defer server.Close()
	defer server.CloseClientConnections()
	you := tabAt(t, chromium, &site{base: base})
	you.as(1280, "light")
	you.open("/")
	you.reads("the start", "Simulated phones, the real hotline")
	if ask1[bool](you, `document.body.innerText.includes("ball of bees")`) {
		t.Error("something has been said before the first step")
	}
	you.looksWell("phones-start")
	you.as(1280, "light")
	for _, id := range []string{"s0", "s1", "s2"} {
		you.do(chromedp.Click(chromedp.CSS("#" + id + " [data-on]")))
	}
	you.until("three steps on", `location.hash === "#s3" && getComputedStyle(document.querySelector("#s3")).display === "block"`)
	you.reads("what they brought", "ball of bees", "Take it")
	you.do(chromedp.KeyEvent(kb.ArrowLeft))
	you.until("back by key", `location.hash === "#s2"`)
	you.do(chromedp.KeyEvent(kb.ArrowRight))
	you.looksWell("phones-step")
	you.as(1280, "light")
	you.press(`#s3 button[value="from 3"]`)
	you.do(chromedp.SendKeys(chromedp.CSS("#t-gwen"), "they are just above the swing"))
	you.press(`.phone:has(#t-gwen) .say button`)
	you.reads("typed as Gwen", "above the swing")
	you.press(`button[value="later 5m"]`)
	you.reads("the clock was pushed", "Tue 14:10")
	you.press(`button[value="ada taps Take it"]`)
	you.reads("pressed as Ada", "is yours")
	you.looksWell("phones-live")
	link := ask1[string](you, `document.querySelector('.phone a[href*="/o/"]').getAttribute("href")`)
	you.open(link)
	you.reads("the real page behind a link", "Ada has it")
	you.open("/desk/")
	you.reads("the real desk", "on the way or there", "Ada")
}
