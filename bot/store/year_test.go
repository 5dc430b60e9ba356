package store

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// TestAYear plays a year of calls, from the first text to the new hive, through the real flow
// and the scripts, and holds that what is stored stays bounded: the second half leaves its ended
// calls for the ledger and their references, and nothing else that the first half did not.
// SKEPLINE_YEAR=400 plays so many calls.
func TestAYear(t *testing.T) {
	calls := 40
	if n, err := strconv.Atoi(os.Getenv("SKEPLINE_YEAR")); err == nil && n > 0 {
		calls = n
	}
	for _, s := range []struct {
		name  string
		start func(testing.TB) *server
	}{{"embedded", embeddedServer}, {"real", realServer}} {
		t.Run(s.name, func(t *testing.T) {
			w := newWorld(t, s.start(t), quick)
			y := newYear(w)
			y.play(calls / 2)
			half := y.census()
			y.play(calls - calls/2)
			whole := y.census()
			y.compare(half, whole, calls)
		})
	}
}

// year is a hotline whose clock the test moves.
type year struct {
	*world
	hotline  *bot.Hotline
	delivery *notify.Delivery
	events   int
	callers  int
	heard    map[bot.Outcome]int
	sent     int
	asked    notify.Address // who was offered something last
}

// halfYear is 46 buckets of the ring of events, so that two counts find it at the same place.
const halfYear = 184 * 24 * time.Hour

// Now is the hotline's time.
func (y *year) Now() time.Time { return y.now.In(y.hotline.Settings.Zone()) }

// Sleep takes no time.
func (y *year) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

// Send takes everything.
func (y *year) Send(_ context.Context, out notify.Outgoing) notify.Result {
	y.sent++
	if out.Class == notify.Offer && out.Edits == "" {
		y.asked = out.To
	}
	return notify.Result{End: notify.Accepted, ProviderID: "P" + out.ID}
}

func newYear(w *world) *year {
	y := &year{world: w, heard: map[bot.Outcome]int{}}
	settings := bot.DefaultSettings()
	settings.Stewards = []string{"telegram:5550199"}
	settings.Limits.NewInBlock = 0
	y.now = time.Date(2026, 1, 1, 17, 0, 0, 0, time.UTC)
	w.later(0)
	y.hotline = &bot.Hotline{Settings: settings, Secrets: testSecrets, Store: w.a, Clock: y, Log: slog.New(slog.DiscardHandler)}
	y.delivery = y.hotline.Delivery(map[notify.Channel]notify.Sender{notify.SMS: y, notify.Telegram: y})
	y.delivery.Batch = 1
	for i, name := range []string{"Ada", "Bram", "Chidi"} {
		y.hears(bot.Enrolled{Event: y.id("ro"), Catcher: notify.Catcher{ID: strings.ToLower(name), Name: name, Address: catcherAt(i),
			Lat: settings.Latitude + 0.01*float64(i), Lon: settings.Longitude, ReachKm: 30, MaxHeightM: 5, JobsADay: 3}})
	}
	return y
}

func catcherAt(i int) notify.Address { return notify.Address(fmt.Sprintf("telegram:55501%02d", i+1)) }

func (y *year) id(kind string) bot.EventID {
	y.events++
	return bot.EventID(fmt.Sprintf("%s:%d", kind, y.events))
}

func (y *year) hears(e bot.Event) {
	y.Helper()
	outcome, err := y.hotline.Hear(y.Context(), e)
	if err != nil {
		y.Fatal(err)
	}
	y.heard[outcome]++
}

func (y *year) says(from notify.Address, text string) {
	y.Helper()
	y.hears(bot.Said{Event: y.id("tw"), From: from, Text: text})
}

// play plays so many calls in half a year.
func (y *year) play(calls int) {
	y.Helper()
	from := y.now
	for i := range calls {
		day := time.Duration(i * int(halfYear/(24*time.Hour)) / calls)
		y.until(from.Add(day*24*time.Hour + time.Duration(i%10)*7*time.Minute)) // about noon
		y.callers, y.asked = y.callers+1, ""
		caller := notify.Address(fmt.Sprintf("sms:+1607555%04d", 100+y.callers%100))
		y.says(caller, fmt.Sprintf("hanging cluster of bees on my fence, nobody stung, %d Mill Ln, I can reach it", 2+y.callers))
		for _, answer := range []string{"1", "2"} { // since when, and how high: in winter it matters
			if y.until(y.now.Add(time.Minute)); y.asked == "" {
				y.says(caller, answer)
			}
		}
		if y.until(y.now.Add(time.Minute)); y.asked == "" {
			y.says(caller, "GONE")
			continue
		}
		taker := y.asked
		for _, step := range []struct {
			after time.Duration
			text  string
		}{{2 * time.Minute, "TAKE"}, {5 * time.Minute, "ETA 30"}, {30 * time.Minute, "THERE"}, {30 * time.Minute, "BOXED"}, {3 * time.Hour, "LIFTED"}, {20 * time.Hour, "HIVED"}} {
			y.until(y.now.Add(step.after))
			y.says(taker, step.text)
		}
	}
	y.until(from.Add(halfYear))
}

// until lets everything happen that is due until then.
func (y *year) until(end time.Time) {
	y.Helper()
	for {
		for {
			heard, _, err := y.hotline.RunTimers(y.Context())
			if err != nil {
				y.Fatal(err)
			}
			sent := y.sent
			if _, _, err := y.hotline.RunErrand(y.Context(), bot.Outside{}); err != nil {
				y.Fatal(err)
			}
			for _, c := range []notify.Channel{notify.SMS, notify.Telegram} {
				if _, _, err := y.delivery.Step(y.Context(), c, y.now); err != nil {
					y.Fatal(err)
				}
			}
			if heard == 0 && sent == y.sent {
				break
			}
		}
		next := end
		for _, lane := range []string{"timers", "errands", "sms", "sms!", "telegram", "telegram!"} {
			first := y.client.ZRangeWithScores(y.Context(), y.a.keys.of("due:"+lane), 0, 0).Val()
			if len(first) == 1 {
				if at := time.UnixMilli(int64(first[0].Score)); at.Before(next) {
					next = at
				}
			}
		}
		if !next.After(y.now) {
			next = y.now.Add(time.Second)
		}
		if !next.Before(end) {
			y.later(max(0, end.Sub(y.now)))
			return
		}
		y.later(next.Sub(y.now))
	}
}

// held is how much there is of a kind of key.
type held struct{ entries, bytes int }

// census sweeps and counts what Redis holds, by kind: entries, and bytes of memory where
// Redis tells, else of contents.
func (y *year) census() map[string]held {
	y.Helper()
	if err := y.a.Sweep(y.Context()); err != nil {
		y.Fatal(err)
	}
	all := map[string]held{}
	for _, name := range y.client.Keys(y.Context(), y.a.keys.prefix+"*").Val() {
		lines, err := contents(y.Context(), y.client, name)
		if err != nil {
			y.Fatal(err)
		}
		size, err := y.client.MemoryUsage(y.Context(), name, 0).Result()
		if err != nil { // the embedded one cannot tell
			for _, line := range lines {
				size += int64(len(line))
			}
		}
		kind := strings.TrimPrefix(name, y.a.keys.prefix)
		if rest, document := strings.CutPrefix(kind, "d:"); document {
			kind, _, _ = strings.Cut(rest, ":")
		}
		if strings.HasPrefix(kind, "seen:") {
			kind = "seen"
		}
		all[kind] = held{all[kind].entries + len(lines), all[kind].bytes + int(size)}
	}
	return all
}

func (y *year) compare(half, whole map[string]held, calls int) {
	y.Helper()
	table, entries, size := "", 0, 0
	for _, kind := range slices.Sorted(maps.Keys(whole)) {
		was, is := half[kind], whole[kind]
		entries, size = entries+is.entries, size+is.bytes
		table += fmt.Sprintf("\n%-10s %6d entries %8d bytes, after half a year %6d and %8d", kind, is.entries, is.bytes, was.entries, was.bytes)
		// The log of the board is cut at a length, and everything of a call is kept.
		if kind != bot.KindCall && kind != "closed" && kind != "find" && kind != "board:log" && is.bytes > was.bytes+was.bytes/4+4000 {
			y.Errorf("%s grows: %+v after half a year, %+v after a whole one", kind, was, is)
		}
	}
	y.Logf("%d calls, %d messages, outcomes %v: %d entries, %d bytes%s", calls, y.sent, y.heard, entries, size, table)
	if whole[bot.KindCall].entries != calls || whole["closed"].entries != calls || y.heard[bot.OutcomeWon] < calls/8 {
		y.Errorf("%d calls are kept, %d of them ended, %d were taken; want %d, and an eighth of them taken", whole[bot.KindCall].entries, whole["closed"].entries, y.heard[bot.OutcomeWon], calls)
	}
	for _, kind := range []string{"item", "held", "tries", "line", "errand"} {
		if whole[kind].entries > 0 {
			y.Errorf("%d of %s are left", whole[kind].entries, kind)
		}
	}
}
