package notify

import (
	"testing"
	"time"

	"skepline/intake"
)

func TestFit(t *testing.T) {
	now := clock(t, "14:00")
	for _, test := range []struct {
		why     string
		catcher func(*Catcher)
		card    CatcherCard
		needs   func(*Needs)
		want    Reason
	}{
		{"nothing against it", nil, CatcherCard{}, nil, ReasonFits},
		{"the invitation is still open", func(c *Catcher) { c.Address = "" }, CatcherCard{}, nil, ReasonNotJoined},
		{"5 km off, goes 4", func(c *Catcher) { c.ReachKm = 4 }, CatcherCard{}, nil, ReasonOutOfReach},
		{"5 km off, goes 5.1", func(c *Catcher) { c.ReachKm = 5.1 }, CatcherCard{}, nil, ReasonFits},
		{"a place in words could be anywhere", func(c *Catcher) { c.ReachKm = 1 }, CatcherCard{},
			func(n *Needs) { n.Place.PrecisionM = intake.InWordsOnly }, ReasonFits},
		{"higher than they work", nil, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(6.4) }, ReasonTooHigh},
		{"a guess a little over", nil, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(6.2) }, ReasonFits},
		{"exactly as high", nil, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(6) }, ReasonFits},
		{"unknown height stops nobody", func(c *Catcher) { c.MaxHeightM = 1 }, CatcherCard{}, func(n *Needs) { n.HeightM = nil }, ReasonFits},
		{"above 3 m without a ladder", func(c *Catcher) { c.Skills = nil }, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(3.4) }, ReasonNeedsLadder},
		{"ten feet without a ladder", func(c *Catcher) { c.Skills = nil }, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(3.05) }, ReasonFits},
		{"at 3 m without a ladder", func(c *Catcher) { c.Skills = nil }, CatcherCard{}, func(n *Needs) { n.HeightM = metresUp(3) }, ReasonFits},
		{"a removal", func(c *Catcher) { c.Skills = []Skill{Ladder} }, CatcherCard{}, func(n *Needs) { n.Cutout = true }, ReasonNeedsCutout},
		{"a power line is a caution, no gate", func(c *Catcher) { c.Skills = nil }, CatcherCard{}, func(n *Needs) { n.PowerLine = true }, ReasonFits},
		{"OUT", nil, CatcherCard{AwayUntil: now.Add(time.Second)}, nil, ReasonAway},
		{"back from OUT", nil, CatcherCard{AwayUntil: now}, nil, ReasonFits},
		{"at a swarm", nil, CatcherCard{Busy: true}, nil, ReasonBusy},
		{"two today, wants two", nil, CatcherCard{Today: []time.Time{now.Add(-time.Hour), now.Add(-5 * time.Hour)}}, nil, ReasonEnoughToday},
		{"one of the two was yesterday", nil, CatcherCard{Today: []time.Time{now.Add(-time.Hour), now.Add(-15 * time.Hour)}}, nil, ReasonFits},
		{"the day is the local one", nil, CatcherCard{Today: []time.Time{now.UTC(), now.Add(-13 * time.Hour).UTC()}}, nil, ReasonEnoughToday},
		{"says nothing about jobs a day: three", func(c *Catcher) { c.JobsADay = 0 },
			CatcherCard{Today: []time.Time{now, now}}, nil, ReasonFits},
		{"works until five", func(c *Catcher) { c.Hours = "Mo-Fr 17:00-21:00" }, CatcherCard{}, nil, ReasonOutsideHours},
		{"hours that nobody can read", func(c *Catcher) { c.Hours = "evenings" }, CatcherCard{}, nil, ReasonFits},
	} {
		c, needs := north("ada", 5), branch()
		if test.catcher != nil {
			test.catcher(&c)
		}
		if test.needs != nil {
			test.needs(&needs)
		}
		got, ok := Fit(c, test.card, needs, now)
		if got != test.want || ok != (test.want == ReasonFits) {
			t.Errorf("%s: %s, %v; want %s", test.why, got, ok, test.want)
		}
	}
}
