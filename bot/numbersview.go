package bot

import (
	"context"
	"errors"
	"fmt"
	"time"

	"skepline/notify"
)

// NumbersView is how today goes and how the season went so far.
type NumbersView struct {
	Hotline  string
	Year     int
	Reported int        // today
	Open     int        // of these, still open
	Ended    []Number   // today, under the key of the outcome
	Median   string     // from report to taken, today
	Season   []Number   // the year so far: calls, caught, flown …
	Weeks    string     // median from report to taken, this year
	Shares   []ShareRow // who did how much, most first
	Gini     float64    // how unequally: 0 all the same, 1 one does it all
	Summary  Summary    // for the plots
}

// ShareRow is what one catcher did this year.
type ShareRow struct {
	Name                           string
	Took, Caught, Flown, NotASwarm int
	Share                          float64 // of all that were taken, 0 to 1
	Median                         string  // from report to taken
}

// ViewNumbers counts today's calls and the year's. It reads every call that ended this year.
func (h *Hotline) ViewNumbers(ctx context.Context) (*NumbersView, error) {
	ledger, ok := h.Store.(ClosedCalls)
	if !ok {
		return nil, errors.New("this store keeps no ledger")
	}
	now := h.Clock.Now().In(h.Settings.Zone())
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	year := time.Date(now.Year(), 1, 1, 0, 0, 0, 0, now.Location())
	today, season := NewSumming(h.Settings), NewSumming(h.Settings)
	v := &NumbersView{Hotline: h.Settings.Name, Year: now.Year()}
	err := EachEntry(ctx, ledger, year, now, nil, func(e Entry) error {
		season.Add(e)
		if !e.Ended.Before(midnight) {
			today.Add(e)
		}
		if !e.Opened.Before(midnight) {
			v.Reported++
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("count: %w", err)
	}
	board, err := h.Store.Board(ctx)
	if err != nil {
		return nil, fmt.Errorf("count: %w", err)
	}
	for _, c := range board.Calls {
		if !c.Opened.Before(midnight) {
			v.Open++
		}
	}
	v.Reported += v.Open
	roster, err := h.Store.Roster(ctx)
	if err != nil {
		return nil, fmt.Errorf("count: %w", err)
	}
	v.Summary = season.Summary()
	v.Ended, v.Season = outcomes(today.Summary()), outcomes(v.Summary)
	v.Median, v.Weeks = took(Quantile(today.Summary().ToTake, .5)), took(Quantile(v.Summary.ToTake, .5))
	names, joined := map[string]string{}, 0
	for _, k := range roster {
		names[k.ID] = k.Name
		if k.Address != "" {
			joined++
		}
	}
	v.share(names, joined)
	return v, nil
}

// outcomes lists how many calls ended how, in the order of the stages.
func outcomes(s Summary) []Number {
	list := []Number{{"calls", s.Calls}}
	for _, stage := range endStages {
		if n := s.Outcomes[stage]; n > 0 {
			list = append(list, Number{string(stage), n})
		}
	}
	return list
}

// share says who did how much. Catchers who took nothing count for the inequality.
func (v *NumbersView) share(names map[string]string, joined int) {
	taken := len(v.Summary.ToTake)
	var jobs []float64
	for _, k := range v.Summary.Catchers {
		name := names[k.ID]
		if name == "" {
			name = k.ID // not on the roster any more
		}
		v.Shares = append(v.Shares, ShareRow{name, k.Took, k.Caught, k.Flown, k.NotASwarm, float64(k.Took) / float64(max(taken, 1)), took(k.MedianToTake)})
		jobs = append(jobs, float64(k.Took))
	}
	for len(jobs) < joined {
		jobs = append(jobs, 0)
	}
	v.Gini = notify.Gini(jobs)
}

// took writes how long something took, "" for nothing.
func took(d time.Duration) string {
	if d <= 0 {
		return ""
	}
	return minutes(d)
}
