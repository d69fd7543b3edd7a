package web

import (
	"context"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"milepost/bot"
)

// inboxCollector reads what waits of each network when it is asked.
type inboxCollector struct {
	networks []string
	inbox    func(context.Context, string) (bot.Inbox, error)
	began    time.Time // counts as the last contact while there was none
}

var (
	waitingDesc = prometheus.NewDesc("milepost_incoming_waiting", "Messages that came in and wait to be handled.", []string{labelNetwork}, nil)
	unreadDesc  = prometheus.NewDesc("milepost_incoming_unreadable",
		"Messages that can't be read and are kept: encrypted ones whose key has not come, deliveries of no known form.", []string{labelNetwork}, nil)
	asideDesc = prometheus.NewDesc("milepost_incoming_set_aside",
		"Messages that could not be handled, time and again, and are tried no more.", []string{labelNetwork}, nil)
	contactDesc = prometheus.NewDesc("milepost_contact_age_seconds",
		"Time since the network was last heard, whether anybody wrote or not; since the start where it was not heard yet.", []string{labelNetwork}, nil)
)

// Describe is of prometheus.Collector.
func (c *inboxCollector) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{waitingDesc, unreadDesc, asideDesc, contactDesc} {
		to <- d
	}
}

// Collect is of prometheus.Collector. What can't be counted now is left out, so
// that it is not taken for nought.
func (c *inboxCollector) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), Patience)
	defer cancel()
	for _, n := range c.networks {
		in, err := c.inbox(ctx, n)
		if errors.Is(err, errors.ErrUnsupported) {
			continue
		}
		gauge := func(d *prometheus.Desc, v float64) {
			to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, n)
		}
		if err == nil {
			gauge(waitingDesc, float64(in.Waiting))
			gauge(unreadDesc, float64(in.Unread))
			gauge(asideDesc, float64(in.Aside))
		}
		if in.Contact.IsZero() {
			in.Contact = c.began
		}
		gauge(contactDesc, max(0, time.Since(in.Contact).Seconds()))
	}
}
