package web

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"skepline/notify"
)

// outgoing are the numbers about messages on their way and timers in waiting.
type outgoing struct {
	accepted *prometheus.HistogramVec
	ends     *prometheus.CounterVec
	classes  *prometheus.GaugeVec
	oldest   *prometheus.GaugeVec
	down     *prometheus.GaugeVec
	timers   prometheus.Histogram
	limit    prometheus.Gauge
	repaired *prometheus.CounterVec
}

// slow are the buckets of what may take minutes, in seconds.
var slow = []float64{.05, .1, .25, .5, 1, 2, 3, 5, 10, 30, 60, 300, 900, 3600}

func (o *outgoing) watchOutgoing() []prometheus.Collector {
	o.accepted = prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "skepline_accepted_seconds",
		Help: "Time from the decision that made a message until its provider took it.", Buckets: slow}, []string{"channel", "class"})
	o.ends = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_message_ends_total",
		Help: "How attempts ended: accepted, refused, later, open (in doubt, will be looked up), doubted, or why the message was dropped."}, []string{"channel", "class", "how"})
	o.classes = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "skepline_waiting_messages",
		Help: "Messages that wait, by class (of the first 500)."}, []string{"class"})
	o.oldest = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "skepline_oldest_seconds",
		Help: "Age of the oldest message that waits, by class."}, []string{"class"})
	o.down = prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "skepline_channel_down_seconds",
		Help: "Since when a channel does not work and is only tried out now and then; 0 = it works."}, []string{"channel"})
	o.timers = prometheus.NewHistogram(prometheus.HistogramOpts{Name: "skepline_timer_late_seconds",
		Help: "How late timers go off.", Buckets: slow})
	o.limit = prometheus.NewGauge(prometheus.GaugeOpts{Name: "skepline_segments_limit",
		Help: "Segments a day beyond which only safety goes out; 0 = no limit."})
	o.repaired = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "skepline_takes_repaired_total",
		Help: "Takes that catchers were told of and Redis had lost, by what was done: restored, conflict (given back to the first), yielded (somebody else keeps it, or it is over), unknown."}, []string{"how"})
	return []prometheus.Collector{o.accepted, o.ends, o.classes, o.oldest, o.down, o.timers, o.limit, o.repaired}
}

// Ended counts the end of an attempt and, when the provider took the message, its age. What only
// changes an old message counts as class "change": nobody waits for it.
func (o *outgoing) Ended(done notify.Done, age time.Duration) {
	channel, class, how := string(done.Lease.To.Channel()), string(done.Lease.Class), done.Ending()
	if done.Lease.Edits != "" {
		class = "change"
	}
	if done.Drop != "" {
		how = done.Drop
	}
	o.ends.WithLabelValues(channel, class, how).Inc()
	if done.Result.End == notify.Accepted {
		o.accepted.WithLabelValues(channel, class).Observe(age.Seconds())
	}
}

// WaitsOf notes how many messages of a class wait, and the age of the oldest.
func (o *outgoing) WaitsOf(class notify.Class, count int, oldest time.Duration) {
	o.classes.WithLabelValues(string(class)).Set(float64(count))
	o.oldest.WithLabelValues(string(class)).Set(oldest.Seconds())
}

// Down notes since when a channel does not work, 0 when it does.
func (o *outgoing) Down(channel notify.Channel, since time.Duration) {
	o.down.WithLabelValues(string(channel)).Set(since.Seconds())
}

// Repaired counts a take that was lost and what was done about it.
func (o *outgoing) Repaired(how string) { o.repaired.WithLabelValues(how).Inc() }
