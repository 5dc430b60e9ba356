package store

import (
	"time"

	"skepline/bot"
	"skepline/notify"
)

var dead = notify.Result{End: notify.RetryLater, After: time.Millisecond, Down: true}

// dies lets five sends in a row find the provider dead.
func (w *world) dies() {
	w.Helper()
	for range 5 {
		w.finish(w.a, w.leaseOne(w.a, notify.SMS), dead, "")
		w.later(2 * time.Second) // the sender's rate
	}
}

// circuitShuts holds that a dead channel is tried out by one message at a time, safety first
// and less often each time, by all replicas together, and that one success opens it.
func circuitShuts(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.later(time.Second)
	w.dies()
	// Shut for two seconds, which have passed: one message tries it out.
	w.commit(bot.Change{Messages: []notify.Message{text("m2", "bram", notify.Question), text("s1", "chidi", notify.Safety)}})
	for _, shut := range []time.Duration{4 * time.Second, 8 * time.Second, 16 * time.Second, 32 * time.Second, time.Minute, time.Minute} {
		probe := w.wantLeased(w.a, notify.SMS, "s1 fresh").Items[0]
		w.wantLeased(w.b, notify.SMS)
		w.finish(w.a, probe, dead, "")
		if got := w.lease(w.b, notify.SMS, 10); len(got.Items) != 0 || got.Wait != shut {
			w.Fatalf("a shut channel handed out %v, wait %v, want %v", idsOf(got), got.Wait, shut)
		}
		w.later(shut)
	}
	if b, err := w.a.Backlog(w.Context()); err != nil || b.Down[notify.SMS] == 0 || b.Down[notify.Telegram] != 0 {
		w.Errorf("down since %v, %v", b.Down, err)
	}
	w.accept(w.a, w.wantLeased(w.a, notify.SMS, "s1 fresh").Items[0])
	w.wantLeased(w.b, notify.SMS, "m1 fresh", "m2 fresh")
	if b, err := w.a.Backlog(w.Context()); err != nil || b.Down[notify.SMS] != 0 {
		w.Errorf("open again, and down since %v, %v", b.Down, err)
	}
}

// circuitForgetsProbe holds that a process which dies with the one message that tries a
// channel out does not keep it shut.
func circuitForgetsProbe(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.later(time.Second)
	w.dies()
	w.wantLeased(w.a, notify.SMS, "m1 fresh")
	w.later(time.Minute)
	w.wantLeased(w.b, notify.SMS, "m1 left_open")
}

// oldNewsShutsNothing holds that sends which were under way when a channel was shut do not
// shut it for longer.
func oldNewsShutsNothing(w *world) {
	for _, p := range []string{"ada", "bram", "chidi", "dora", "ines", "hugo", "gwen", "lupe"} {
		w.send(chat("t"+p, p, notify.Offer))
	}
	w.later(time.Second)
	var leased []notify.Lease
	for range 8 {
		leased = append(leased, w.lease(w.a, notify.Telegram, 1).Items...)
		w.later(40 * time.Millisecond)
	}
	for _, lease := range leased {
		w.finish(w.a, lease, dead, "")
	}
	if got := w.lease(w.b, notify.Telegram, 10); len(leased) != 8 || len(got.Items) != 0 || got.Wait != 2*time.Second {
		w.Errorf("eight that failed at once: wait %v for %v", got.Wait, idsOf(got))
	}
}

// detours holds that of a channel that does not work for half a minute safety and claims are
// handed out for their other address, and nothing else is.
func detours(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.later(time.Second)
	w.dies()
	claim, safety, offer := text("c1", "ada", notify.Claim), text("s1", "bram", notify.Safety), text("o1", "chidi", notify.Offer)
	claim.Also, safety.Also, offer.Also = "telegram:5550101", "telegram:5550102", "telegram:5550103"
	w.commit(bot.Change{Messages: []notify.Message{claim, safety, offer, text("c2", "dora", notify.Claim)}})
	w.finish(w.a, w.wantLeased(w.a, notify.SMS, "s1 fresh").Items[0], dead, "")
	w.later(4 * time.Second)
	for range 3 { // 8, 16, 32 s
		w.later(time.Second)
		w.finish(w.a, w.lease(w.a, notify.SMS, 1).Items[0], dead, "")
		w.later(w.lease(w.a, notify.SMS, 1).Wait - 2*time.Second)
		if got := w.lease(w.b, notify.SMS, 10); len(got.Items) > 0 {
			leased := map[string]notify.Lease{}
			for _, l := range got.Items {
				leased[l.ID+" "+string(l.State)] = l
			}
			if len(leased) != 2 || leased["s1 detour"].ID == "" || leased["c1 detour"].ID == "" {
				w.Fatalf("handed out %v", idsOf(got))
			}
			w.finish(w.b, leased["c1 detour"], notify.Result{}, "channel_down")
			w.finish(w.b, leased["s1 detour"], notify.Result{}, "channel_down")
			w.wantLeased(w.a, notify.SMS)
			return
		}
		w.later(2 * time.Second)
	}
	w.Error("nothing took the other way")
}

// chatPace holds that one chat gets three messages at once and then one a second, that safety
// does not wait for that, and that other chats do not either.
func chatPace(w *world) {
	for _, id := range []string{"t1", "t2", "t3", "t4", "t5"} {
		w.send(chat(id, "ada", notify.Claim))
	}
	w.later(time.Second)
	for _, id := range []string{"t1", "t2", "t3"} {
		w.accept(w.a, w.wantLeased(w.a, notify.Telegram, id+" fresh").Items[0])
		w.later(40 * time.Millisecond)
	}
	w.wantLeased(w.b, notify.Telegram)
	w.send(chat("t6", "bram", notify.Claim))
	w.send(chat("s1", "ada", notify.Safety))
	w.accept(w.b, w.wantLeased(w.b, notify.Telegram, "s1 fresh", "t6 fresh").Items[0])
	w.later(time.Second)
	w.wantLeased(w.b, notify.Telegram)
	w.later(time.Second)
	w.accept(w.a, w.wantLeased(w.a, notify.Telegram, "t4 fresh").Items[0])
	w.later(40 * time.Millisecond)
	w.wantLeased(w.a, notify.Telegram)
	w.later(time.Second)
	w.accept(w.a, w.wantLeased(w.a, notify.Telegram, "t5 fresh").Items[0])
	w.later(2 * time.Minute)
	if err := w.a.Sweep(w.Context()); err != nil {
		w.Fatal(err)
	}
	if left, err := w.client.HLen(w.Context(), w.a.keys.of("chat")).Result(); err != nil || left != 0 {
		w.Errorf("%d chats are remembered for ever, %v", left, err)
	}
}
