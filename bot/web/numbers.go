package web

import (
	"context"
	"net/http"
	"sync"
	"time"

	"skepline/bot"
)

// Plot is one picture of a season, as SVG.
type Plot struct {
	Name string // "weeks"
	SVG  []byte
}

// numbers keeps what the page of numbers shows for a while: it reads a year's calls.
type numbers struct {
	mu    sync.Mutex
	at    time.Time
	view  *bot.NumbersView
	plots []Plot
}

// numbersLast is how old the numbers on the page may be.
const numbersLast = time.Minute

func (p *Pages) countedNumbers(ctx context.Context) (*bot.NumbersView, []Plot, error) {
	n := &p.numbers
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.view != nil && p.Now().Sub(n.at).Abs() < numbersLast {
		return n.view, n.plots, nil
	}
	view, err := p.Look.ViewNumbers(ctx)
	if err != nil {
		return nil, nil, err
	}
	var drawn []Plot
	if p.Plots != nil {
		if drawn, err = p.Plots(view.Hotline, view.Summary); err != nil {
			p.Log.Error("the plots cannot be drawn", "error", err)
		}
	}
	n.at, n.view, n.plots = p.Now(), view, drawn
	return view, drawn, nil
}

// numbersPage is the numbers with the names of their plots.
type numbersPage struct {
	page
	V     *bot.NumbersView
	Plots []string
}

func (p *Pages) deskNumbers(w http.ResponseWriter, r *http.Request) {
	view, drawn, err := p.countedNumbers(r.Context())
	if err != nil {
		p.broken(w, err)
		return
	}
	data := numbersPage{page: p.page(p.Language, ""), V: view}
	data.Title = data.T("page_desk_figures")
	for _, d := range drawn {
		data.Plots = append(data.Plots, d.Name)
	}
	p.showAny(w, http.StatusOK, "numbers", data)
}

func (p *Pages) deskPlot(w http.ResponseWriter, r *http.Request) {
	_, drawn, err := p.countedNumbers(r.Context())
	if err != nil {
		p.broken(w, err)
		return
	}
	for _, d := range drawn {
		if d.Name+".svg" == r.PathValue("name") {
			w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; sandbox")
			w.Header().Set("Content-Type", "image/svg+xml")
			_, _ = w.Write(d.SVG) // the reader may have gone
			return
		}
	}
	p.nothing(w)
}
