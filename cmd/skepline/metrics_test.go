package main

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"skepline/bot"
	"skepline/bot/standin"
	"skepline/notify"
)

// reading returns every number on /metrics by its name and labels.
func (s *service) reading() map[string]float64 {
	page := httptest.NewRecorder()
	s.metrics.Handler().ServeHTTP(page, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	numbers := map[string]float64{}
	for line := range strings.Lines(page.Body.String()) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		if v, err := strconv.ParseFloat(value, 64); err == nil {
			numbers[name] = v
		}
	}
	return numbers
}

// TestMetricsMove holds that what a steward would look at when something is wrong is on
// /metrics of the real program and moves when that happens.
func TestMetricsMove(t *testing.T) {
	w := openTown(t, "", 1, "")
	s := w.replicas[0]
	w.enrols("Chidi", notify.Address("sms:"+chidi), s.settings.Latitude+0.01, s.settings.Longitude)
	w.twilio.Next(standin.TwilioCreate, 1, standin.ReplyLost) // in doubt, and looked up later
	form := w.twilio.Text(gwen, ourNumber, report)
	for range 2 { // the same webhook twice
		w.posted(w.twilio.SignedPost(publicURL+"/twilio/message", form))
	}
	w.texts(gwen, "14 Mill Lane")
	w.sms(chidi, "TAKE")
	past := bot.Timer{ID: "nobody/round", N: 1, At: time.Now().Add(-2 * time.Second)}
	if _, err := s.hotline.Store.Commit(t.Context(), bot.Change{Event: "tw:t1", Timers: []bot.TimerChange{{Timer: past}}}); err != nil {
		t.Fatal(err)
	}
	stale := bot.Change{Event: "tw:t2", Checks: []bot.Check{{Key: bot.Key{Kind: bot.KindCall, ID: "none"}, Version: 7}}}
	if _, err := s.hotline.Store.Commit(t.Context(), stale); !errors.Is(err, bot.ErrConflict) {
		t.Fatal(err)
	}
	if err := errors.Join(s.backlog(t.Context()), s.audit(t.Context())); err != nil {
		t.Fatal(err)
	}
	moved := []string{
		`skepline_hear_seconds_count{kind="said"}`,
		`skepline_accepted_seconds_count{channel="sms",class="offer"}`,
		`skepline_message_ends_total{channel="sms",class="offer",how="accepted"}`,
		`skepline_message_ends_total{channel="sms",class="[a-z]+",how="open"}`,
		`skepline_sends_total{channel="sms",class="[a-z]+",end="ambiguous"}`,
		`skepline_timer_late_seconds_count`,
		`skepline_timer_late_seconds_sum`,
		`skepline_conflicts_total`,
		`skepline_duplicate_events_total`,
		`skepline_segments_today`,
		`skepline_segments_limit`,
		`skepline_audit_passed_timestamp_seconds`,
		`skepline_waiting{queue="timers"}`,
		`skepline_send_seconds_count{channel="sms",class="offer"}`,
	}
	there := []string{
		`skepline_late_seconds{queue="sms!"}`, `skepline_oldest_seconds{class="safety"}`, `skepline_waiting_messages{class="claim"}`,
		`skepline_channel_down_seconds{channel="sms"}`, `skepline_audit_findings_total`,
	}
	lacks := func() (missing []string) {
		numbers := s.reading()
		for i, name := range append(append([]string{}, moved...), there...) {
			pattern := regexp.MustCompile("^" + strings.NewReplacer("{", `\{`, "}", `\}`).Replace(name) + "$")
			found := false
			for have, value := range numbers {
				found = found || pattern.MatchString(have) && (value > 0 || i >= len(moved))
			}
			if !found {
				missing = append(missing, name)
			}
		}
		return missing
	}
	for deadline := time.Now().Add(soon); len(lacks()) > 0 && time.Now().Before(deadline); {
		time.Sleep(20 * time.Millisecond)
	}
	if missing := lacks(); len(missing) > 0 {
		t.Errorf("did not move, or is not there: %s", strings.Join(missing, "\n"))
	}
}
