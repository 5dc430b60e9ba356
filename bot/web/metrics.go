package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"skepline/bot"
	"skepline/notify"
)

// Metrics counts what the hotline does. No label ever holds anything about a person.
type Metrics struct {
	registry   *prometheus.Registry
	events     *prometheus.CounterVec
	hearing    *prometheus.HistogramVec
	sends      *prometheus.CounterVec
	duplicates prometheus.Counter
	conflicts  prometheus.Counter
	audit      prometheus.Counter
	resolved   *prometheus.CounterVec
	waiting    *prometheus.GaugeVec
	late       *prometheus.GaugeVec
	spent      prometheus.Gauge
	failovers  *prometheus.CounterVec
	sending    *prometheus.HistogramVec
	audited    prometheus.Gauge
	parked     *prometheus.CounterVec
	outgoing
}

// NewMetrics returns counters at zero.
func NewMetrics() *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		events: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_events_total",
			Help: "Events from outside, by kind and by what came of them; \"error\" means that they were not acknowledged."}, []string{"kind", "outcome"}),
		hearing: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "skepline_hear_seconds",
			Help:    "Time from an event's arrival to the end of its commit.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10}}, []string{"kind"}),
		sends: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_sends_total",
			Help: "Attempts to send a message, by channel, class and end."}, []string{"channel", "class", "end"}),
		duplicates: prometheus.NewCounter(prometheus.CounterOpts{Name: "skepline_duplicate_events_total",
			Help: "Events that had been heard before."}),
		conflicts: prometheus.NewCounter(prometheus.CounterOpts{Name: "skepline_conflicts_total",
			Help: "Commits that were decided again because a document had moved."}),
		audit: prometheus.NewCounter(prometheus.CounterOpts{Name: "skepline_audit_findings_total",
			Help: "Open calls that the auditor found without a next step."}),
	}
	m.resolved = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_ambiguous_resolved_total",
		Help: "Sends in doubt that were looked up in the provider's log, by what it showed: taken, failed, not_taken, unknown."}, []string{"channel", "found"})
	m.waiting = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "skepline_waiting",
		Help: "What waits: timers, and lines with a message, by lane; a lane with ! is for safety, one with ~ for changes of old messages."}, []string{"queue"})
	m.late = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "skepline_late_seconds",
		Help: "How long past its turn the first of a queue is."}, []string{"queue"})
	m.spent = prometheus.NewGauge(prometheus.GaugeOpts{Name: "skepline_segments_today",
		Help: "Segments sent today (UTC) on the channels that cost money."})
	m.failovers = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_store_lineage_changes_total",
		Help: "Times the store lost its last moments, by how that was noticed: counter_went_back, another_server."}, []string{"why"})
	m.sending = prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "skepline_send_seconds",
		Help:    "Time that a provider takes for one message.",
		Buckets: []float64{.01, .05, .1, .25, .5, 1, 2.5, 5, 10}}, []string{"channel", "class"})
	m.audited = prometheus.NewGauge(prometheus.GaugeOpts{Name: "skepline_audit_passed_timestamp_seconds",
		Help: "When the auditor last found nothing amiss."})
	m.parked = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_parked_events_total",
		Help: "Events that could not be handled, by a fault of ours or a broken document, and were passed to the stewards, by kind."}, []string{"kind"})
	m.registry.MustRegister(m.watchOutgoing()...)
	m.registry.MustRegister(m.waiting, m.late, m.spent, m.failovers, m.sending, m.audited, m.parked)
	m.registry.MustRegister(m.resolved, m.events, m.hearing, m.sends, m.duplicates, m.conflicts, m.audit,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Handler serves the numbers at /metrics.
func (m *Metrics) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{}))
	return mux
}

// Resolved counts a look-up of a send in doubt.
func (m *Metrics) Resolved(channel notify.Channel, found string) {
	m.resolved.WithLabelValues(string(channel), found).Inc()
}

// Audited counts calls that the auditor had to help.
func (m *Metrics) Audited(findings int) { m.audit.Add(float64(findings)) }

// Parked counts an event that could not be handled.
func (m *Metrics) Parked(e bot.Event) { m.parked.WithLabelValues(kindOf(e)).Inc() }

// Well notes an audit that found nothing.
func (m *Metrics) Well(now time.Time) { m.audited.Set(float64(now.Unix())) }

// Waits notes how much of a queue waits, and how late its first is.
func (m *Metrics) Waits(queue string, count int, late time.Duration) {
	m.waiting.WithLabelValues(queue).Set(float64(count))
	m.late.WithLabelValues(queue).Set(late.Seconds())
}

// Spent notes the segments of today, and the day's limit, 0 = none.
func (m *Metrics) Spent(segments, limit int) {
	m.spent.Set(float64(segments))
	m.limit.Set(float64(limit))
}

// Failover counts a store that lost its last moments.
func (m *Metrics) Failover(why string) { m.failovers.WithLabelValues(why).Inc() }

// Hearer hears events; a *bot.Hotline is one.
type Hearer interface {
	Hear(ctx context.Context, e bot.Event) (bot.Outcome, error)
}

// Hear returns a Hearer that counts what next hears.
func (m *Metrics) Hear(next Hearer) Hearer { return countedHearer{next, m} }

type countedHearer struct {
	next Hearer
	m    *Metrics
}

func (h countedHearer) Hear(ctx context.Context, e bot.Event) (bot.Outcome, error) {
	began := time.Now()
	outcome, err := h.next.Hear(ctx, e)
	kind, end := kindOf(e), string(outcome)
	if err != nil {
		end = "error"
	}
	h.m.events.WithLabelValues(kind, end).Inc()
	h.m.hearing.WithLabelValues(kind).Observe(time.Since(began).Seconds())
	return outcome, err
}

// kindOf names an event's kind in small letters: "said", "tapped".
func kindOf(e bot.Event) string {
	switch e.(type) {
	case bot.Said:
		return "said"
	case bot.Tapped:
		return "tapped"
	case bot.Rang:
		return "rang"
	case bot.Blocked:
		return "blocked"
	case bot.Paged:
		return "paged"
	case bot.Desked:
		return "desked"
	case bot.Fired:
		return "timer"
	}
	return "other"
}

// Store returns a store that counts conflicts and repeated events of next.
func (m *Metrics) Store(next bot.Store) bot.Store { return countedStore{next, m} }

type countedStore struct {
	bot.Store
	m *Metrics
}

func (s countedStore) Load(ctx context.Context, event bot.EventID, person, find string, strangers ...bot.Key) (bot.Loaded, error) {
	loaded, err := s.Store.Load(ctx, event, person, find, strangers...)
	if loaded.Seen {
		s.m.duplicates.Inc()
	}
	return loaded, err
}

func (s countedStore) Commit(ctx context.Context, c bot.Change) (bot.Committed, error) {
	done, err := s.Store.Commit(ctx, c)
	switch {
	case errors.Is(err, bot.ErrConflict):
		s.m.conflicts.Inc()
	case done.Repeated:
		s.m.duplicates.Inc()
	}
	return done, err
}

// DueTimers notes how late timers are read.
func (s countedStore) DueTimers(ctx context.Context, max int) ([]bot.Timer, time.Duration, error) {
	due, wait, err := s.Store.DueTimers(ctx, max)
	for _, t := range due {
		s.m.timers.Observe(time.Since(t.At).Seconds())
	}
	return due, wait, err
}

// Sender returns a sender that counts how the sends of next end.
func (m *Metrics) Sender(next notify.Sender) notify.Sender { return countedSender{next, m} }

type countedSender struct {
	next notify.Sender
	m    *Metrics
}

func (s countedSender) Send(ctx context.Context, out notify.Outgoing) notify.Result {
	began := time.Now()
	result := s.next.Send(ctx, out)
	s.m.sending.WithLabelValues(string(out.To.Channel()), string(out.Class)).Observe(time.Since(began).Seconds())
	s.m.sends.WithLabelValues(string(out.To.Channel()), string(out.Class), strings.ToLower(string(result.End))).Inc()
	return result
}
