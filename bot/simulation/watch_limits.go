package simulation

import (
	"encoding/json"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// rate is I12: how fast a sender sends, and how fast one chat is written to.
func (v *watch) rate(out notify.Outgoing) {
	channel := out.To.Channel()
	v.paced(string(channel), out, time.Duration(segments(out.Message))*v.w.watchPace(channel), 0)
	if channel == notify.Telegram {
		v.paced(string(out.To), out, time.Second, 2*time.Second)
	}
}

// paced is a leaky bucket of the watch's own: after a message the next one has to wait, but
// for a burst. Safety waits for nothing, and is on the bill.
func (v *watch) paced(what string, out notify.Outgoing, cost, burst time.Duration) {
	now, free := v.w.now, v.rates[what]
	if out.Class != notify.Safety && free.Sub(now) > burst+time.Millisecond {
		v.w.breaks("I12", "%s: a %s goes out %v too early", notify.Address(what).Channel(), out.Class, free.Sub(now)-burst)
	}
	if free.Before(now) {
		free = now
	}
	v.rates[what] = free.Add(cost)
}

// person is the part of I12 about answers that move nothing.
func (v *watch) person(d bot.Document) {
	var p bot.Person
	if len(d.Body) == 0 {
		return
	}
	if err := json.Unmarshal(d.Body, &p); err != nil {
		v.w.breaks("I4", "a person cannot be read: %v", err)
		return
	}
	if l := v.w.settings.Limits; p.Idle.Day > l.TextsADay || len(p.Idle.Times) > l.TextsIn10Minutes {
		v.w.breaks("I12", "%d answers a day and %d in ten minutes that move nothing", p.Idle.Day, len(p.Idle.Times))
	}
}

// round is the part of I13 about how many are asked at once.
func (v *watch) round(c bot.Change) {
	offers := map[string]int{}
	for _, m := range c.Messages {
		if m.Class == notify.Offer && m.Edits == "" {
			offers[m.Still.Call]++
		}
	}
	for call, n := range offers {
		if v.calls[call] != nil && v.calls[call].Epoch > 0 {
			continue // who was in line before it was taken is asked again at once
		}
		if most := v.w.settings.AsksAround().First; n > most {
			v.w.breaks("I13", "%d are asked at once, %d is the most", n, most)
		}
	}
}

// mayBeAsked is I13: nobody is asked who is away, too far off or has enough for the day, nor
// in the night.
func (v *watch) mayBeAsked(id string, call *life) {
	var k bot.Catcher
	doc := v.w.memory.docs[bot.Key{Kind: bot.KindCatcher, ID: id}]
	if err := json.Unmarshal(doc.Body, &k); err != nil {
		v.w.breaks("I4", "a catcher cannot be read: %v", err)
		return
	}
	local := v.w.now.In(v.w.settings.Zone())
	if k.AwayUntil.After(v.w.now.Add(time.Minute)) {
		v.w.breaks("I13", "%s is away and was asked", k.Name)
	}
	if p := call.Answers.Place; p != nil {
		far := notify.FarFrom(k.Catcher, *p).Km
		if local.Before(k.Stand.Until) { // they are out at another swarm
			far = min(far, notify.FarFrom(k.Start(k.Stand, local), *p).Km)
		}
		if far > k.ReachKm+1 {
			v.w.breaks("I13", "%s is asked for a swarm %.0f km away and goes %.0f", k.Name, far, k.ReachKm)
		}
	}
	if h := local.Add(30 * time.Second).Hour(); h < 6 || h > 21 {
		v.w.breaks("I13", "%s is asked at %s", k.Name, local.Format("15:04"))
	}
}
