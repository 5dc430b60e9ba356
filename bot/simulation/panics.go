package simulation

import (
	"context"
	"time"

	"skepline/bot"
)

// decides is Decide, with faults of ours planted at the point "decide". They strike what
// people, timers and providers bring; everything else has no second way to come.
func (w *world) decides(f bot.Facts) (bot.Change, bot.Need) {
	switch f.Event.(type) {
	case bot.Said, bot.Tapped, bot.Fired, bot.Undelivered:
		id := f.Event.ID()
		breaks := w.cursed[id] > 0
		if breaks {
			w.cursed[id]--
		}
		switch w.fault("decide") {
		case "panic":
			breaks = true
		case "panic_twice":
			w.cursed[id], breaks = 1, true
		}
		if breaks {
			w.planted[id] = true
			panic("planted")
		}
	}
	return bot.Decide(f)
}

// parked holds that nothing is parked but what a planted fault struck.
func (w *world) parked(e bot.Event) {
	w.hits["parked"]++
	w.tell("  parked: %s", e.ID())
	if !w.planted[e.ID()] {
		w.breaks("panic", "%T broke by itself", e)
	}
}

// mornings lets every replica look every ten minutes whether the line of the day before is due.
func (w *world) mornings() {
	const every = 10 * time.Minute
	var look func()
	look = func() {
		for _, r := range w.replicas {
			if r.dead || r.asleep.After(w.now) {
				continue
			}
			_, _, _ = r.hotline.Daily(context.Background()) // what fails comes again
		}
		w.at(w.now.Add(every), false, look)
	}
	w.at(w.plan.Start.Add(every), false, look)
}

// lines holds that on every morning since nothing broke the stewards' line was heard (L7).
func (v *watch) lines() {
	w := v.w
	first := w.plan.Start.In(w.settings.Zone())
	for d := 1; ; d++ {
		at := time.Date(first.Year(), first.Month(), first.Day()+d, 9, 0, 0, 0, w.settings.Zone())
		if at.After(w.end) {
			return
		}
		_, heard := v.applied[bot.EventID("day:"+at.Format(time.DateOnly))]
		if !heard && at.Sub(w.plan.Start) > max(24*time.Hour, w.plan.Heals+2*time.Hour) {
			w.breaks("L7", "nobody heard of the morning of %s", at.Format(time.DateOnly))
		}
	}
}
