package bot

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"skepline/notify"
)

// Several swarms on one day: a catcher who comes free is asked for the call that gains most
// by them, and one who is on a job can take another one for after it.

const (
	jobTakes     = time.Hour        // from arrival until the box stands (judgement)
	wrapsUp      = 15 * time.Minute // what is left of a job that takes longer (judgement)
	rivalsWithin = 60.0             // km around a call in which others may want the same catchers (judgement)
	mostRivals   = 5                // other calls that a round looks at
	mostTogether = 6                // open calls that a free catcher is weighed for
)

// freeFrom is when k will be done with what they are at, zero when they are at nothing.
func (d *decision) freeFrom(k *Catcher) time.Time {
	var free time.Time
	d.wantCalls(k.Active)
	for _, id := range k.Active {
		c := d.call(id)
		h := c.Holder
		if !c.heldBy(k.ID) {
			continue
		}
		comes := h.ETA
		if comes.IsZero() {
			comes = h.Taken.Add(d.drive(c, k.ID, d.far(k, c)))
		}
		done := comes.Add(jobTakes)
		if least := d.Now.Add(wrapsUp); done.Before(least) {
			done = least
		}
		if done.After(free) {
			free = done
		}
	}
	return free
}

// takeNext is "after this one": a yes that starts when the job under way is done.
func (d *decision) takeNext(p *Person, c *Call) {
	k := d.catcher(p.Catcher)
	free := d.freeFrom(k)
	if o := c.offer(k.ID); o != nil {
		o.Next = !free.IsZero()
	}
	d.take(p, c, free)
}

// freed is a catcher who has just come free: what they said they would take next is theirs;
// else of the open calls the one that gains most by them asks them.
func (d *decision) freed(k *Catcher) {
	if k.ID == "" || k.Address == "" || len(k.Active) > 0 || k.AwayUntil.After(d.Now) || d.takesNext(k) {
		return
	}
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	d.seeNow(k)
	calls := d.lookingNow(d.Board.Calls, func(c notify.CallCard) float64 {
		from := k.Start(k.Stand, d.now)
		return notify.DistanceKm(from.Lat, from.Lon, c.Lat, c.Lon)
	}, "", mostTogether)
	if best := notify.BestFor(k.ID, calls, d.Roster, *d.Board, d.now, d.Settings.dispatch()); best != "" {
		d.round(d.call(best))
	}
}

// takesNext gives k the call that they said they would take after their job.
func (d *decision) takesNext(k *Catcher) bool {
	d.wantCalls(k.Kept)
	for _, id := range slices.Clone(k.Kept) {
		c := d.call(id)
		if o := c.kept(); o != nil && o.Catcher == k.ID && o.Next && c.Stage == Looking {
			d.win(d.personByID(o.Party.Person), c, k, time.Time{})
			return true
		}
	}
	return false
}

// seeNow puts k's card of this moment on the board that this decision looks at.
func (d *decision) seeNow(k *Catcher) {
	board := *d.Board
	board.Catchers = maps.Clone(board.Catchers)
	if board.Catchers == nil {
		board.Catchers = map[string]notify.CatcherCard{}
	}
	board.Catchers[k.ID] = k.card()
	d.Board = &board
}

// lookingNow returns the calls but one that look for a catcher, so many at most, those that
// by makes least of first. They are only glanced at: a stale one costs a ping, no promise.
func (d *decision) lookingNow(cards map[string]notify.CallCard, by func(notify.CallCard) float64, but string, most int) []notify.OpenCall {
	ids := least(cards, most, func(id string, card notify.CallCard) (float64, bool) {
		return by(card), id != but && card.Stage == string(Looking) && card.Held == ""
	})
	d.wantCalls(ids)
	var calls []notify.OpenCall
	for _, id := range ids {
		if c := d.glance(id); c.ID != "" && c.Stage == Looking && c.Joined == "" && !c.Waits && c.Ended.IsZero() {
			calls = append(calls, notify.OpenCall{ID: id, Needs: d.needs(c), Asked: d.asks(c), Next: c.due("round")})
		}
	}
	return calls
}

// least returns the keys of the most cards of least value among those that count, the least
// first. It keeps only as many as it looks: a board may have thousands.
func least[C any](cards map[string]C, most int, value func(id string, card C) (v float64, counts bool)) []string {
	type ranked struct {
		id string
		v  float64
	}
	first := make([]ranked, 0, most+1)
	for id, card := range cards {
		v, counts := value(id, card)
		if !counts {
			continue
		}
		r := ranked{id, v}
		at, _ := slices.BinarySearchFunc(first, r, func(a, b ranked) int { return cmp.Or(cmp.Compare(a.v, b.v), cmp.Compare(a.id, b.id)) })
		if at < most {
			first = slices.Insert(first, at, r)
			first = first[:min(len(first), most)]
		}
	}
	ids := make([]string, len(first))
	for i, r := range first {
		ids[i] = r.id
	}
	return ids
}

// plan is the next round of c, with an eye on the other calls that look soon. Where only a
// part of a very large roster is at hand, nobody could say whom those would ask.
func (d *decision) plan(c *Call, asked []notify.Ask, near *Surroundings) notify.Plan {
	rules := d.Settings.dispatch()
	own := notify.OpenCall{ID: c.ID, Needs: d.needs(c), Asked: asked}
	soon := d.Now.Add(rules.Every)
	if len(near.Roster) < near.Members {
		return notify.NextRound(own.Needs, near.Roster, near.Board, asked, d.now, rules)
	}
	rivals := d.lookingNow(near.Board.Calls, func(card notify.CallCard) float64 { return card.Next.Sub(d.Now).Hours() }, c.ID, mostRivals)
	rivals = slices.DeleteFunc(rivals, func(r notify.OpenCall) bool { return r.Next.IsZero() || r.Next.After(soon) })
	return notify.NextRoundAmong(own, rivals, near.Roster, near.Board, d.now, rules)
}

// askBusy asks the best of those who are on a job, when nobody else can be asked, whether
// they take c after it, and reports whether somebody is asked.
func (d *decision) askBusy(c *Call, asked []notify.Ask, near *Surroundings) bool {
	if c.InBox || c.openOffers() > 0 || c.Stage != Looking {
		return false
	}
	picks := notify.AfterTheirJob(d.needs(c), near.Roster, near.Board, asked, d.now, d.Settings.dispatch())
	if len(picks) == 0 || d.offerAll(c, picks[:1]) == 0 {
		return false
	}
	d.set(c, "round", d.Now.Add(d.Settings.every()))
	return true
}

// offersAfterTake changes the other offers that k has open, where the channel can: now that
// they are on a job, the answer is "after this one".
func (d *decision) offersAfterTake(k *Catcher) {
	if k.Address.Channel() != notify.Telegram {
		return
	}
	d.wantCalls(k.Asks)
	for _, id := range k.Asks {
		if c := d.glance(id); openTo(c, k.ID) && c.Stage == Looking {
			d.refreshOffer(c, c.offer(k.ID))
		}
	}
}
