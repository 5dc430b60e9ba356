package store

import (
	"strings"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/notify"
)

func lineOrder(w *world) {
	w.commit(bot.Change{Messages: []notify.Message{
		text("m1", "gwen", notify.Question), text("m2", "gwen", notify.News), text("m3", "gwen", notify.News), text("b1", "bram", notify.Offer),
	}})
	w.later(time.Second)
	w.send(text("m0", "gwen", notify.News)) // an id that sorts first must not overtake
	leased := w.wantLeased(w.a, notify.SMS, "b1 fresh", "m1 fresh")
	w.wantLeased(w.b, notify.SMS)
	w.accept(w.a, leased.Items[1])
	for _, id := range []string{"m2", "m3", "m0"} {
		w.accept(w.a, w.wantLeased(w.b, notify.SMS, id+" fresh").Items[0])
	}
	w.accept(w.a, leased.Items[0])
	if got := w.lease(w.a, notify.SMS, 10); len(got.Items) != 0 || got.Wait != time.Minute {
		w.Errorf("an empty outbox handed out %+v", got)
	}
	for _, name := range []string{"item", "line", "held", "tries", "due:sms"} {
		if n := w.client.Exists(w.Context(), w.a.keys.of(name)).Val(); n != 0 {
			w.Errorf("%s is left over", name)
		}
	}
}

func lineChangesChannel(w *world) {
	w.commit(bot.Change{Messages: []notify.Message{
		text("m1", "gwen", notify.Question), chat("m2", "gwen", notify.News), text("m3", "gwen", notify.News),
	}})
	w.wantLeased(w.a, notify.Telegram)
	w.accept(w.a, w.leaseOne(w.a, notify.SMS))
	w.wantLeased(w.a, notify.SMS)
	w.accept(w.a, w.wantLeased(w.a, notify.Telegram, "m2 fresh").Items[0])
	w.wantLeased(w.a, notify.SMS, "m3 fresh")
}

func leftOpen(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.send(text("m2", "gwen", notify.Question))
	begun := w.now
	first := w.leaseOne(w.a, notify.SMS)
	w.later(59 * time.Second)
	w.wantLeased(w.b, notify.SMS)
	w.later(time.Second)
	second := w.wantLeased(w.b, notify.SMS, "m1 left_open").Items[0]
	if second.Attempt != 2 || !second.Since.Equal(begun) || second.Fence <= first.Fence {
		w.Errorf("attempt %d since %v fence %d after %d", second.Attempt, second.Since, second.Fence, first.Fence)
	}
	w.later(time.Minute)
	third := w.wantLeased(w.a, notify.SMS, "m1 left_open").Items[0]
	if third.Attempt != 3 || !third.Since.Equal(begun) {
		w.Errorf("attempt %d since %v, want 3 since the first", third.Attempt, third.Since)
	}
	w.finish(w.a, third, notify.Result{}, "in_doubt")
	w.wantLeased(w.a, notify.SMS, "m2 fresh")
}

func ambiguous(w *world) {
	w.send(text("m1", "gwen", notify.Claim))
	w.finish(w.a, w.leaseOne(w.a, notify.SMS), notify.Result{End: notify.Ambiguous, After: 5 * time.Second}, "")
	if got := w.lease(w.a, notify.SMS, 1); len(got.Items) != 0 || got.Wait != 5*time.Second {
		w.Errorf("leased %v wait %v, want a wait of 5s", idsOf(got), got.Wait)
	}
	w.later(5 * time.Second)
	second := w.wantLeased(w.b, notify.SMS, "m1 left_open").Items[0]
	if !second.Since.Equal(start) {
		w.Errorf("since %v, want %v", second.Since, start)
	}
	// Without a time it stays open until its lease runs out.
	w.finish(w.b, second, notify.Result{End: notify.Ambiguous}, "")
	if got := w.lease(w.a, notify.SMS, 1); len(got.Items) != 0 || got.Wait != time.Minute {
		w.Errorf("leased %v wait %v, want a wait of 1m", idsOf(got), got.Wait)
	}
	w.later(time.Minute)
	third := w.wantLeased(w.a, notify.SMS, "m1 left_open").Items[0]
	w.finish(w.a, third, notify.Result{End: notify.Ambiguous}, "gave_up")
	w.later(time.Hour)
	w.wantLeased(w.a, notify.SMS)
}

func staleFence(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	slow := w.leaseOne(w.a, notify.SMS)
	w.later(time.Minute)
	fast := w.wantLeased(w.b, notify.SMS, "m1 left_open").Items[0]
	before := w.dump()
	for _, result := range []notify.Result{{End: notify.Refused}, {End: notify.RetryLater, After: time.Hour, Pause: true}, {End: notify.Ambiguous}} {
		w.finish(w.a, slow, result, "")
	}
	w.finish(w.a, slow, notify.Result{}, "stale")
	if diff := cmp.Diff(before, w.dump()); diff != "" {
		w.Errorf("a stale fence changed: %s", diff)
	}
	w.accept(w.a, slow)
	if got := w.client.HGet(w.Context(), w.a.keys.of("sent"), "m1").Val(); !strings.HasPrefix(got, "- P-m1 ~") {
		w.Errorf("sent holds %q, want the provider id of the late answer", got)
	}
	if diff := cmp.Diff(before, withoutSent(w.dump())); diff != "" {
		w.Errorf("a stale fence changed more than the provider id: %s", diff)
	}
	// The provider has it, whatever came of the second attempt.
	w.finish(w.b, fast, notify.Result{End: notify.RetryLater, After: time.Second}, "")
	w.send(text("m2", "gwen", notify.News))
	w.later(time.Second)
	w.wantLeased(w.b, notify.SMS)
	w.wantLeased(w.b, notify.SMS, "m2 fresh")
}

// withoutSent leaves out of a dump what remembers that m1 was sent.
func withoutSent(dump string) string {
	var kept []string
	for line := range strings.Lines(dump) {
		if !strings.HasPrefix(line, "sent") && !strings.Contains(line, "P-m1") && !strings.HasPrefix(line, "  m1 = 17") {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "")
}

func retryKeepsItsTime(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.finish(w.a, w.leaseOne(w.a, notify.SMS), notify.Result{End: notify.RetryLater, After: time.Hour}, "")
	w.send(text("m2", "gwen", notify.News))
	w.wantLeased(w.a, notify.SMS)
	w.later(time.Hour)
	if got := w.wantLeased(w.a, notify.SMS, "m1 fresh").Items[0]; got.Attempt != 2 {
		w.Errorf("attempt %d, want 2", got.Attempt)
	}
}

// repairs disturbs by hand what the scripts keep in step: no message may stay behind for it.
func repairs(w *world) {
	at := redis.Z{Score: 1, Member: "gwen"}
	disturb := func(name string) {
		w.Helper()
		if err := w.client.ZAdd(w.Context(), w.a.keys.of(name), at).Err(); err != nil {
			w.Fatal(err)
		}
	}
	disturb("due:telegram") // a line with no message
	w.wantLeased(w.a, notify.Telegram)
	w.send(text("m1", "gwen", notify.Question))
	w.client.Del(w.Context(), w.a.keys.of("due:sms"))
	disturb("due:telegram") // a line in the wrong lane
	w.wantLeased(w.a, notify.Telegram)
	lease := w.wantLeased(w.a, notify.SMS, "m1 fresh").Items[0]
	disturb("due:sms") // a line that is due while its message is in flight
	w.wantLeased(w.b, notify.SMS)
	w.send(text("m2", "gwen", notify.News))
	w.client.HDel(w.Context(), w.a.keys.of("item"), "m2") // a place in a line with no message
	w.send(text("m3", "gwen", notify.News))
	w.accept(w.a, lease)
	w.wantLeased(w.a, notify.SMS, "m3 fresh")
}

func optOut(w *world) {
	w.send(text("m1", "gwen", notify.Offer))
	w.commit(bot.Change{Stops: []bot.Stop{{Person: "gwen"}}, Messages: []notify.Message{text("m2", "gwen", notify.Goodbye)}})
	w.finish(w.a, w.wantLeased(w.a, notify.SMS, "m1 opted_out").Items[0], notify.Result{}, "opted_out")
	w.accept(w.a, w.wantLeased(w.a, notify.SMS, "m2 fresh").Items[0])
	w.send(text("s1", "gwen", notify.Safety))
	w.accept(w.a, w.wantLeased(w.a, notify.SMS, "s1 fresh").Items[0])
	w.send(text("m3", "gwen", notify.News))
	w.wantLeased(w.a, notify.SMS, "m3 opted_out")
	// Nothing was sent, so a lease that runs out is no attempt left open.
	w.later(time.Minute)
	w.commit(bot.Change{Stops: []bot.Stop{{Person: "gwen", Lift: true}}})
	if got := w.wantLeased(w.b, notify.SMS, "m3 fresh").Items[0]; got.Attempt != 1 {
		w.Errorf("attempt %d, want 1", got.Attempt)
	}
}

func edits(w *world) {
	w.send(chat("m1", "ada", notify.Offer))
	w.accept(w.a, w.leaseOne(w.a, notify.Telegram))
	second := chat("m2", "ada", notify.Taken)
	second.Edits = "m1"
	third := chat("m3", "ada", notify.Taken)
	third.Edits = "never-sent"
	w.commit(bot.Change{Messages: []notify.Message{second, third}})
	got := w.leaseOne(w.b, notify.Telegram)
	if got.ID != "m2" || got.EditsProvider != "P-m1" {
		w.Errorf("%s edits %q, want m2 and P-m1", got.ID, got.EditsProvider)
	}
	w.accept(w.b, got)
	if got := w.leaseOne(w.b, notify.Telegram); got.ID != "m3" || got.EditsProvider != "" {
		w.Errorf("%s edits %q, want m3 and nothing", got.ID, got.EditsProvider)
	}
}
