package store

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/redis/go-redis/v9"

	"skepline/bot"
	"skepline/notify"
)

func safetyOvertakes(w *world) {
	for i := range 40 {
		w.send(text(fmt.Sprintf("o%d", i), fmt.Sprintf("catcher%d", i), notify.Offer))
	}
	w.send(text("q1", "gwen", notify.Question))
	w.later(time.Millisecond)
	if got := w.lease(w.a, notify.SMS, 10); len(got.Items) != 1 || got.Items[0].Class != notify.Offer {
		w.Fatalf("leased %v, want one offer: the sender does one segment a second", idsOf(got))
	}
	if got := w.lease(w.a, notify.SMS, 10); len(got.Items) != 0 || got.Wait != time.Second {
		w.Fatalf("leased %v wait %v, want nothing for a second", idsOf(got), got.Wait)
	}
	w.send(text("s1", "gwen", notify.Safety))
	w.send(text("s2", "bram", notify.Safety))
	w.wantLeased(w.b, notify.SMS, "s2 fresh", "s1 fresh")
	// Their two segments are on the sender's bill: the next offer waits for them too.
	w.later(2 * time.Second)
	w.wantLeased(w.a, notify.SMS)
	w.later(time.Second)
	if got := w.lease(w.a, notify.SMS, 10); len(got.Items) != 1 {
		w.Errorf("leased %v, want the next offer", idsOf(got))
	}
}

func changesGoLast(w *world) {
	change := func(id, who, of string) notify.Message {
		m := chat(id, who, notify.Taken)
		m.Edits = of
		return m
	}
	w.send(chat("old", "ada", notify.Offer))
	w.accept(w.a, w.leaseOne(w.a, notify.Telegram))
	w.later(10 * time.Second)
	w.send(chat("first", "bram", notify.Offer))
	w.commit(bot.Change{Messages: []notify.Message{change("back", "ada", "old"), chat("new", "ada", notify.Offer),
		change("early", "chidi", "late"), chat("late", "chidi", notify.Offer)}})
	// The sender does 25 a second, so the others come one by one.
	var order []string
	for range 8 {
		for _, lease := range w.lease(w.a, notify.Telegram, 10).Items {
			order = append(order, lease.ID)
			w.accept(w.a, lease)
		}
		w.later(1100 * time.Millisecond / 2)
	}
	if diff := cmp.Diff([]string{"new", "first", "late", "back", "early"}, order); diff != "" {
		w.Error(diff)
	}
}

// changeOfAnOlderVersion is a message that was filed when changes had no line of their own.
func changeOfAnOlderVersion(w *world) {
	w.send(chat("old", "ada", notify.Offer))
	w.accept(w.a, w.leaseOne(w.a, notify.Telegram))
	m := chat("back", "ada", notify.Taken)
	m.Edits = "old"
	item, err := w.a.seals.encodeItem(m)
	if err != nil {
		w.Fatal(err)
	}
	item = strings.Replace(item, "telegram~ ", "telegram ", 1)
	of := w.a.keys.of
	w.client.HSet(w.Context(), of("item"), "back", item)
	w.client.ZAdd(w.Context(), of("line"), redis.Z{Member: "ada|0000000000000|back"})
	w.client.ZAdd(w.Context(), of("due:telegram"), redis.Z{Score: 1, Member: "ada"})
	w.send(chat("new", "ada", notify.Offer))
	for _, want := range []string{"back", "new"} {
		lease := w.leaseOne(w.a, notify.Telegram)
		if lease.ID != want {
			w.Fatalf("%s went, want %s", lease.ID, want)
		}
		w.accept(w.a, lease)
		w.later(time.Second)
	}
	w.later(time.Hour)
	w.wantLeased(w.a, notify.Telegram)
}

func paceCountsSegments(w *world) {
	long := text("m1", "gwen", notify.News)
	long.Text = strings.Repeat("bees ", 80) // 400 characters: three segments of 153
	w.send(long)
	w.later(time.Millisecond)
	w.send(text("m2", "bram", notify.News))
	w.wantLeased(w.a, notify.SMS, "m1 fresh")
	if got := w.lease(w.a, notify.SMS, 10); len(got.Items) != 0 || got.Wait != 3*time.Second {
		w.Errorf("leased %v wait %v after three segments, want a wait of 3s", idsOf(got), got.Wait)
	}
	w.later(3 * time.Second)
	w.wantLeased(w.a, notify.SMS, "m2 fresh")
}

// fastSender has four segments in a millisecond: they go out at once, and no more.
func fastSender(w *world) {
	for i := range 9 {
		w.send(text(fmt.Sprintf("m%d", i), fmt.Sprintf("p%d", i), notify.News))
	}
	for range 2 {
		if got := w.lease(w.a, notify.SMS, 9); len(got.Items) != 4 {
			w.Errorf("leased %v in one millisecond, want 4 messages", idsOf(got))
		}
		if got := w.lease(w.b, notify.SMS, 9); len(got.Items) != 0 || got.Wait != time.Millisecond {
			w.Errorf("leased %v wait %v in the same millisecond, want a wait of 1ms", idsOf(got), got.Wait)
		}
		w.later(time.Millisecond)
	}
	w.wantLeased(w.a, notify.SMS, "m8 fresh")
}

func pauseHoldsOneChannel(w *world) {
	w.commit(bot.Change{Messages: []notify.Message{
		text("m1", "gwen", notify.Question), text("m2", "bram", notify.Question), text("s1", "chidi", notify.Safety),
	}})
	leased := w.lease(w.a, notify.SMS, 2)
	w.finish(w.a, leased.Items[0], notify.Result{End: notify.RetryLater, After: 30 * time.Second, Pause: true}, "")
	w.finish(w.b, leased.Items[1], notify.Result{End: notify.RetryLater, After: 5 * time.Second, Pause: true}, "")
	if got := w.lease(w.b, notify.SMS, 10); len(got.Items) != 0 || got.Wait != 30*time.Second {
		w.Errorf("a paused channel handed out %v, wait %v", idsOf(got), got.Wait)
	}
	w.send(chat("t1", "ada", notify.Offer))
	w.wantLeased(w.b, notify.Telegram, "t1 fresh")
	w.later(30 * time.Second)
	got := w.wantLeased(w.b, notify.SMS, "s1 fresh", "m1 fresh", "m2 fresh")
	for i, want := range []int{2, 1, 2} {
		if got.Items[i].Attempt != want {
			w.Errorf("%s: attempt %d, want %d", got.Items[i].ID, got.Items[i].Attempt, want)
		}
	}
}

func fuse(w *world) {
	for i, class := range []notify.Class{notify.Offer, notify.Offer, notify.Offer, notify.Safety, notify.Safety} {
		w.send(text(fmt.Sprintf("m%d", i), fmt.Sprintf("p%d", i), class))
		w.later(time.Millisecond)
	}
	w.wantLeased(w.a, notify.SMS, "m3 fresh", "m4 fresh", "m0 unfunded", "m1 unfunded", "m2 unfunded")
	for _, id := range []string{"s1", "s2"} { // beyond the reserve, too
		w.send(text(id, "gwen", notify.Safety))
		w.accept(w.a, w.wantLeased(w.a, notify.SMS, id+" fresh").Items[0])
	}
	w.wantSpent("4")
	w.send(chat("t1", "ada", notify.Offer))
	w.wantLeased(w.a, notify.Telegram, "t1 fresh")
	w.later(6 * time.Hour) // past midnight, UTC
	w.send(text("n1", "p9", notify.Offer))
	w.later(time.Millisecond)
	w.wantLeased(w.a, notify.SMS, "m3 left_open", "m4 left_open", "m0 unfunded", "m1 unfunded", "m2 unfunded", "n1 unfunded")
	w.later(24 * time.Hour)
	w.send(text("n2", "p8", notify.Offer))
	got := w.lease(w.a, notify.SMS, 1)
	if len(got.Items) != 1 {
		w.Fatalf("leased %v", idsOf(got))
	}
}

func giveBack(w *world) {
	w.send(text("m1", "gwen", notify.News))
	w.send(text("m2", "bram", notify.News))
	w.send(text("m3", "chidi", notify.News))
	// Dropped before anything was sent: the next one may go at once, and nothing is spent.
	w.finish(w.a, w.leaseOne(w.a, notify.SMS), notify.Result{}, "stale")
	w.wantSpent("0")
	// Not taken: nothing is spent, but the sender's turn is gone.
	w.finish(w.a, w.leaseOne(w.a, notify.SMS), notify.Result{End: notify.RetryLater, After: time.Hour}, "")
	w.wantSpent("0")
	w.wantLeased(w.a, notify.SMS)
	w.later(time.Second)
	// Perhaps taken: it counts.
	w.finish(w.a, w.leaseOne(w.a, notify.SMS), notify.Result{End: notify.Ambiguous}, "in_doubt")
	w.wantSpent("1")
}

func (w *world) wantSpent(want string) {
	w.Helper()
	day := fmt.Sprint(w.now.Unix() / 86400)
	if got := w.client.HGet(w.Context(), w.a.keys.of("spend"), day).Val(); got != want {
		w.Errorf("spent %s segments, want %s", got, want)
	}
}
