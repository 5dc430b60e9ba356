package simulation

import (
	"context"
	"fmt"
	"slices"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// provider is a channel's other side, as one replica calls it.
type provider struct {
	r       *replica
	channel notify.Channel
}

// watchPace is the time that a channel's sender needs for a segment.
func (w *world) watchPace(c notify.Channel) time.Duration {
	return map[notify.Channel]time.Duration{notify.SMS: time.Second, notify.WhatsApp: 20 * time.Millisecond, notify.Telegram: 40 * time.Millisecond}[c]
}

// Send takes a message, or breaks.
func (p *provider) Send(_ context.Context, out notify.Outgoing) notify.Result {
	w := p.r.world
	w.watch.sending(out)
	defer w.watch.handed(out)
	if p.r.dead {
		return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
	}
	if w.down[p.channel].After(w.now) && !w.healed() {
		return notify.Result{End: notify.RetryLater, Reason: "provider_unreachable", After: 5 * time.Second, Pause: true, Down: true}
	}
	kind := w.fault("send")
	switch kind {
	case "429":
		return notify.Result{End: notify.RetryLater, Reason: "rate", After: 7 * time.Second, Pause: true}
	case "unreachable":
		return notify.Result{End: notify.RetryLater, Reason: "provider_unreachable", After: 5 * time.Second, Pause: true, Down: true}
	case "5xx", "timeout":
		w.watch.doubt(out, false)
		return notify.Result{End: notify.Ambiguous, Reason: kind}
	case "refused":
		w.watch.refused(out)
		return notify.Result{End: notify.Refused, Reason: "unreachable"}
	case "blocked":
		w.watch.refused(out)
		return notify.Result{End: notify.Refused, Reason: "blocked"}
	case "stall":
		w.watch.doubt(out, true)
		p.r.stall(90 * time.Second)
	case "crash":
		w.watch.doubt(out, false)
		p.r.die()
		return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
	}
	result := p.take(out)
	switch kind {
	case "reply_lost", "5xx_taken":
		w.watch.doubt(out, false)
		return notify.Result{End: notify.Ambiguous, Reason: kind}
	case "stall_after":
		w.watch.doubt(out, false)
		p.r.stall(90 * time.Second)
	case "crash_after":
		w.watch.doubt(out, false)
		p.r.die()
		return notify.Result{End: notify.Ambiguous, Reason: "no_answer"}
	}
	return result
}

// take puts a message on its receiver's screen.
func (p *provider) take(out notify.Outgoing) notify.Result {
	w := p.r.world
	phone := w.phones[out.To]
	if phone == nil {
		return notify.Result{End: notify.Refused, Reason: "bad_number"}
	}
	if phone.blocked && p.channel == notify.Telegram {
		w.watch.refused(out)
		return notify.Result{End: notify.Refused, Reason: "blocked"}
	}
	if out.Edits != "" {
		i := slices.IndexFunc(phone.screen, func(s *shown) bool { return s.copy == out.EditsProvider })
		if i < 0 {
			return notify.Result{End: notify.Refused, Reason: "cannot_edit"}
		}
		phone.screen[i].text, phone.screen[i].buttons = out.Text, out.Buttons
		w.tell("    %s's screen changes to: %s", phone.owner, short(out.Text))
		w.watch.taken(out)
		return notify.Result{End: notify.Accepted, ProviderID: out.EditsProvider}
	}
	w.copies++
	w.sentTotal++
	s := &shown{message: out.ID, copy: fmt.Sprint("P", w.copies), text: out.Text, buttons: out.Buttons, class: out.Class, at: w.now}
	phone.screen = append(phone.screen, s)
	w.tell("    %s reads (%s): %s", phone.owner, out.Class, short(out.Text))
	w.watch.taken(out)
	if p.channel != notify.Telegram {
		p.willReport(out.ID, s.copy)
	}
	return notify.Result{End: notify.Accepted, ProviderID: s.copy}
}

func short(text string) string {
	if r := []rune(text); len(r) > 90 {
		return string(r[:90]) + "…"
	}
	return text
}

// willReport brings a delivery report in a while, unless that breaks.
func (p *provider) willReport(message, copied string) {
	w := p.r.world
	status, after, times := "delivered", 4*time.Second, 1
	switch w.fault("report") {
	case "lost":
		return
	case "twice":
		times = 2
	case "failed":
		status = "undelivered"
		times = 2
	case "late":
		after = 2 * time.Hour
	}
	for n := range times {
		w.at(w.now.Add(after+time.Duration(n)*time.Second), false, func() { w.reported(message, copied, status) })
	}
}

// reported brings a report to some replica. Twilio's come once and are lost when nobody
// takes them.
func (w *world) reported(message, copied, status string) {
	reason := ""
	if status == "undelivered" {
		reason = "unreachable"
	}
	for _, r := range w.replicas {
		if !r.dead && !r.asleep.After(w.now) {
			_ = r.hotline.Report(context.Background(), bot.DeliveryReport{Message: message, ProviderID: copied, Status: status}, reason) // lost, if not kept
			return
		}
	}
}

// Resolve looks through what was taken; see notify.Resolver.
func (p *provider) Resolve(_ context.Context, out notify.Outgoing, since time.Time) notify.Result {
	w := p.r.world
	if p.r.dead || w.fault("resolve") != "" || w.down[p.channel].After(w.now) && !w.healed() {
		w.watch.unread[out.ID] = true
		return notify.Result{End: notify.Ambiguous, Reason: "log_unread"}
	}
	if w.mutant == BlindResolver {
		return notify.Result{End: notify.RetryLater, Reason: "not_taken"}
	}
	for _, s := range slices.Backward(w.phones[out.To].screen) {
		if s.text == out.Text && !s.at.Before(since.Add(-30*time.Second)) {
			return notify.Result{End: notify.Accepted, ProviderID: s.copy}
		}
	}
	return notify.Result{End: notify.RetryLater, Reason: "not_taken"}
}
