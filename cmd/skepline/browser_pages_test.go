package main

import "testing"

// TestInBrowser tries the pages in a real browser, and looks at every one of them.
func TestInBrowser(t *testing.T) {
	browser := newBrowser(t)
	t.Run("offer", func(t *testing.T) {
		s := served(t, somePages, 3)
		ada := tabAt(t, browser, s)
		ada.open(s.link("ada", "o"))
		ada.looksWell("offer-open")
		bram := tabAt(t, browser, s)
		bram.open(s.link("bram", "o"))
		ada.press(`button[value="take"]`)
		ada.looksWell("offer-mine")
		bram.open(s.link("bram", "o"))
		bram.looksWell("offer-taken")
	})
	t.Run("where", func(t *testing.T) {
		s := served(t, somePages, 2)
		gwen := tabAt(t, browser, s)
		gwen.open(s.link("gwen", "w"))
		gwen.looksWell("where-asked")
	})
	t.Run("desk", func(t *testing.T) {
		s := served(t, somePages, 3)
		sam := tabAt(t, browser, s)
		sam.open("/desk/")
		sam.looksWell("desk-login")
	})
}
