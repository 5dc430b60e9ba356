package store

import (
	"time"

	"skepline/bot"
	"skepline/notify"
)

func reportSettles(w *world) {
	w.send(text("m1", "gwen", notify.Question))
	w.send(text("m2", "gwen", notify.News))
	w.leaseOne(w.a, notify.SMS)
	// The answer to the send is lost, but the provider reports on the message.
	w.report(bot.DeliveryReport{Message: "m1", ProviderID: "P1", Status: "sent"}, false)
	w.later(time.Minute)
	if got := w.lease(w.b, notify.SMS, 10); len(got.Items) != 0 || got.Wait != 0 {
		w.Fatalf("leased %v wait %v, want nothing and no wait", idsOf(got), got.Wait)
	}
	w.wantLeased(w.b, notify.SMS, "m2 fresh")
}

func (w *world) report(r bot.DeliveryReport, wantFailed bool) {
	w.Helper()
	failed, err := w.b.Report(w.Context(), r)
	if err != nil {
		w.Fatal(err)
	}
	if (failed != nil) != wantFailed {
		w.Errorf("report %s of %s: failed %v, want %v", r.Status, r.Message, failed != nil, wantFailed)
	}
	if failed != nil && (failed.ID != r.Message || failed.Recipient != "gwen" || failed.Text != "") {
		w.Errorf("report %s of %s returned %+v", r.Status, r.Message, failed)
	}
}

func reports(w *world) {
	for _, id := range []string{"ok", "bad", "late", "early", "quick"} {
		w.send(text(id, "gwen", notify.Offer))
		lease := w.leaseOne(w.a, notify.SMS)
		if id == "early" {
			w.report(bot.DeliveryReport{Message: id, ProviderID: "P-" + id, Status: "undelivered", Code: "30005"}, true)
		}
		if id == "quick" {
			w.report(bot.DeliveryReport{Message: id, ProviderID: "P-" + id, Status: "delivered"}, false)
		}
		w.accept(w.a, lease)
	}
	tests := []struct {
		message, provider, status string
		failed                    bool
		why                       string
	}{
		{"ok", "P-ok", "queued", false, ""},
		{"ok", "P-ok", "delivered", false, ""},
		{"ok", "P-ok", "failed", false, "it was delivered"},
		{"bad", "P-bad", "sent", false, ""},
		{"bad", "P-other", "failed", false, "the report is on another copy"},
		{"bad", "P-bad", "undelivered", true, ""},
		{"bad", "P-bad", "undelivered", true, "the first return may have come to nothing"},
		{"bad", "P-bad", "failed", false, "the failure was reported under another word"},
		{"bad", "P-bad", "sent", false, "an overtaken report"},
		{"late", "P-late", "failed", true, "straight from the start"},
		{"early", "P-early", "undelivered", true, "the report before the end of the send is not forgotten"},
		{"early", "P-early", "failed", false, ""},
		{"quick", "P-quick", "failed", false, "it was delivered before its send was recorded"},
		{"ok", "P-ok", "what", false, "no word of Twilio's"},
		{"nobody", "P1", "failed", false, "a message we do not know"},
		{"", "", "failed", false, "no message at all"},
	}
	for _, tt := range tests {
		w.report(bot.DeliveryReport{Message: tt.message, ProviderID: tt.provider, Status: tt.status}, tt.failed)
	}
}

func sweep(w *world) {
	w.send(chat("m1", "ada", notify.Offer))
	w.accept(w.a, w.leaseOne(w.a, notify.Telegram))
	w.send(text("x1", "bram", notify.Offer))
	w.accept(w.a, w.leaseOne(w.a, notify.SMS))
	if err := w.a.Sweep(w.Context()); err != nil {
		w.Fatal(err)
	}
	w.wantSpent("1") // of today
	for day, want := range map[int]int{0: 1, -1: 0} {
		if got, err := w.a.Spent(w.Context(), w.now.AddDate(0, 0, day)); err != nil || got != want {
			w.Errorf("%d segments spent on day %d, want %d: %v", got, day, want, err)
		}
	}
	w.later(14*24*time.Hour - time.Second)
	if err := w.a.Sweep(w.Context()); err != nil {
		w.Fatal(err)
	}
	if got := w.client.HLen(w.Context(), w.a.keys.of("sent")).Val(); got != 2 {
		w.Errorf("%d sent messages remembered, want 2", got)
	}
	w.later(time.Second)
	if err := w.a.Sweep(w.Context()); err != nil {
		w.Fatal(err)
	}
	for _, name := range []string{"sent", "sent:at", "spend"} {
		if w.client.Exists(w.Context(), w.a.keys.of(name)).Val() != 0 {
			w.Errorf("%s is left over", name)
		}
	}
}
