package web

import (
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"milepost/bot"
)

// Labels that are allowed, and the outcomes there are. Anything else is counted
// under other, so that nothing from outside becomes a label.
const (
	labelNetwork = "network"
	labelOutcome = "outcome"
	other        = "other"
)

var (
	turnOutcomes = []string{bot.TurnDone, bot.TurnRepeat, bot.TurnRefused, bot.TurnFailed}
	sentOutcomes = []string{bot.SentOut, bot.SentRetry, bot.SentDropped}
)

// Seconds that a turn takes lie around a disk's commit, a send around a
// network's answer.
var (
	turnBuckets = []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10}
	sentBuckets = []float64{.01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30}
)

// metrics are the figures of a running assistant, in a registry of their own.
type metrics struct {
	registry *prometheus.Registry
	networks []string
	turns    *prometheus.CounterVec
	turnTook *prometheus.HistogramVec
	sends    *prometheus.CounterVec
	sentTook *prometheus.HistogramVec
	refused  *prometheus.CounterVec
	people   *prometheus.CounterVec
}

func newMetrics(c Config) *metrics {
	both := []string{labelNetwork, labelOutcome}
	m := &metrics{
		registry: prometheus.NewRegistry(),
		networks: slices.Clone(c.Networks),
		turns: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "milepost_turns_total",
			Help: "Messages taken through, by how it ended: done; repeat, known already; refused, not taken because the store or a bound stood against it, " +
				"and to come again, or because it was no message; failed, by a fault of the program. What is refused to a person is done: see milepost_refused_messages_total."}, both),
		turnTook: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "milepost_turn_seconds",
			Help: "Time a message took, until it was durably stored.", Buckets: turnBuckets}, []string{labelNetwork}),
		sends: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "milepost_sends_total",
			Help: "Tries to send a message, by how it ended: sent, retry or dropped."}, both),
		sentTook: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "milepost_send_seconds",
			Help: "Time a try to send took.", Buckets: sentBuckets}, []string{labelNetwork}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "milepost_refused_messages_total",
			Help: "Messages by which somebody wanted what is refused to him: all of people who are turned away, answered or not, and those that a job or the desk " +
				"answered with a refusal: not with that role, a closed gate, a file that can't be taken."}, []string{labelNetwork}),
		people: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "milepost_refused_people_total",
			Help: "People turned away, having no role here or none for anything they could do, each once a day. Those beyond the day's limit are not told apart and not counted."},
			[]string{labelNetwork}),
	}
	m.registry.MustRegister(m.turns, m.turnTook, m.sends, m.sentTook, m.refused, m.people, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), &depthCollector{depths: c.Depths})
	if c.Inbox != nil {
		m.registry.MustRegister(&inboxCollector{networks: m.networks, inbox: c.Inbox, began: time.Now()})
	}
	for _, n := range m.networks { // a figure that is nought is there too
		for _, o := range turnOutcomes {
			m.turns.WithLabelValues(n, o)
		}
		for _, o := range sentOutcomes {
			m.sends.WithLabelValues(n, o)
		}
		m.refused.WithLabelValues(n)
		m.people.WithLabelValues(n)
	}
	return m
}

// known is a label's value if it is one of those there are.
func known(value string, values []string) string {
	if slices.Contains(values, value) {
		return value
	}
	return other
}

// turn is bot.Measure's Turn.
func (m *metrics) turn(network, outcome string, took time.Duration) {
	network = known(network, m.networks)
	m.turns.WithLabelValues(network, known(outcome, turnOutcomes)).Inc()
	m.turnTook.WithLabelValues(network).Observe(took.Seconds())
}

// sent is bot.Measure's Sent.
func (m *metrics) sent(network, outcome string, took time.Duration) {
	network = known(network, m.networks)
	m.sends.WithLabelValues(network, known(outcome, sentOutcomes)).Inc()
	m.sentTook.WithLabelValues(network).Observe(took.Seconds())
}

// refuse is bot.Measure's Refused.
func (m *metrics) refuse(network string, first bool) {
	network = known(network, m.networks)
	m.refused.WithLabelValues(network).Inc()
	if first {
		m.people.WithLabelValues(network).Inc()
	}
}

// depthCollector reads the queues when it is asked.
type depthCollector struct{ depths func() bot.Depths }

var (
	jobsDesc   = prometheus.NewDesc("milepost_jobs_in_memory", "Jobs kept in memory between messages.", nil, nil)
	queuedDesc = prometheus.NewDesc("milepost_outgoing_queued", "Outgoing messages held in memory.", nil, nil)
	linesDesc  = prometheus.NewDesc("milepost_outgoing_threads", "Threads with something to send.", nil, nil)
	behindDesc = prometheus.NewDesc("milepost_outgoing_behind", "1 where more outgoing messages wait in the store, else 0.", nil, nil)
)

// Describe is of prometheus.Collector.
func (c *depthCollector) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{jobsDesc, queuedDesc, linesDesc, behindDesc} {
		to <- d
	}
}

// Collect is of prometheus.Collector.
func (c *depthCollector) Collect(to chan<- prometheus.Metric) {
	d, behind := c.depths(), 0.0
	if d.Behind {
		behind = 1
	}
	for _, g := range []struct {
		desc  *prometheus.Desc
		value float64
	}{{jobsDesc, float64(d.Jobs)}, {queuedDesc, float64(d.Queued)}, {linesDesc, float64(d.Lines)}, {behindDesc, behind}} {
		to <- prometheus.MustNewConstMetric(g.desc, prometheus.GaugeValue, g.value)
	}
}
