package main

import (
	"strings"
	"testing"

	"skepline/bot"
)

// TestPrivacyPage holds that the page says, in every language of the hotline, what is so:
// its days come from the settings, and every page that a caller or a catcher sees leads there.
func TestPrivacyPage(t *testing.T) {
	s := newSite(t, somePages, 3)
	s.hidden.Privacy.Days = 12
	page := s.page("/privacy")
	for _, want := range []string{
		`lang="en"`, `lang="es"`, "erased 12 days after", "borran 12 días después",
		"Text DELETE twice", "BORRAR dos veces", "not an emergency service", "no es un servicio de emergencias", "call 911", "llame al 911", "through Twilio and",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, wrong := range []string{"[page_", "{{", "Telegram", "map server", "no value"} {
		if strings.Contains(page, wrong) {
			t.Errorf("the page says %q", wrong)
		}
	}
	for _, path := range []string{s.link("ada", "o"), s.link("gwen", "w")} {
		if !strings.Contains(s.page(path), `href="/privacy"`) {
			t.Errorf("%s does not lead to the privacy page", path[:3])
		}
	}
	if !strings.Contains(s.ask("GET", "/o/AAAAAAAAAAAAAAAAAAAAAA", nil).Body.String(), `href="/privacy"`) {
		t.Error("a link that is over does not lead to the privacy page")
	}
}

// TestPrivacyOfTheSettings holds that the days on the page are those after which the hotline
// erases.
func TestPrivacyOfTheSettings(t *testing.T) {
	s := bot.DefaultSettings()
	s.Retention.Days, s.Places.Nominatim = 7, "https://maps.example.org"
	if p := privacy(s, true, true); p.Days != 7 || !p.Maps || len(p.Services) != 2 {
		t.Errorf("the page is given %+v", p)
	}
}
