package web

import (
	"net/http"
	"strings"
)

// Privacy is what /privacy says besides its words: made of the hotline's settings, so that it
// says what is so.
type Privacy struct {
	Hotline   string
	Emergency string   // number
	Languages []string // the page says everything once in each
	Days      int      // after a call's end, until what is personal is erased
	Services  []string // who carries the texts: "Twilio", "Telegram"
	Maps      bool     // places are looked up at a server outside
	Tiles     bool     // the caller's page shows a map from a server outside
}

// privacyPage is one language of the page.
type privacyPage struct {
	page
	V privacyFacts
}

type privacyFacts struct {
	Privacy
	Services string
}

// privacy says what is kept of callers, for how long, and how to have it erased.
func (p *Pages) privacy(w http.ResponseWriter, _ *http.Request) {
	data := p.page(p.Language, "")
	data.Title = data.T("page_privacy_title")
	var says struct{ Says []privacyPage }
	for _, lang := range p.Privacy.Languages {
		says.Says = append(says.Says, privacyPage{p.page(lang, ""), privacyFacts{p.Privacy, strings.Join(p.Privacy.Services, ", ")}})
	}
	data.V = says
	p.show(w, http.StatusOK, "privacy", data)
}
