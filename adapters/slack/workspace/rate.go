package workspace

import (
	"math"
	"net/http"
	"strconv"
	"time"
)

// bucket holds the calls that may still be made.
type bucket struct {
	left float64
	at   time.Time
}

// limited applies the limits of rate (docs.slack.dev, Rate limits): chat.postMessage one a second and channel with bursts of four,
// other methods a minute's worth at once, then evenly. It gives the headers of the refusal, nil if the call may go on.
func (w *Workspace) limited(c *call, m method) http.Header {
	key, rate, burst := c.method, float64(m.tier)/60, float64(m.tier)
	switch {
	case c.method == "chat.postMessage":
		key, rate, burst = c.method+" "+c.arg("channel"), 1, 4
	case w.opt.Distributed && (c.method == "conversations.history" || c.method == "conversations.replies"):
		rate, burst = 1.0/60, 1
	}
	now := time.Now()
	if until := w.waits[waitKey(c)]; now.Before(until) {
		if now.Before(w.told[waitKey(c)].Add(w.opt.Underway)) {
			return w.wait(c, until.Sub(now))
		}
		w.broke("%s called %v before its Retry-After was over", c.method, until.Sub(now).Round(time.Millisecond))
		return w.wait(c, until.Sub(now))
	}
	if burst == 0 || w.opt.NoRateLimit && !w.opt.Distributed {
		return nil
	}
	b := w.buckets[key]
	if b == nil {
		b = &bucket{left: burst, at: now}
		if w.buckets == nil {
			w.buckets = map[string]*bucket{}
		}
		w.buckets[key] = b
	}
	b.left = min(burst, b.left+now.Sub(b.at).Seconds()*rate)
	b.at = now
	if b.left < 1 {
		return w.wait(c, time.Duration((1-b.left)/rate*float64(time.Second)))
	}
	b.left--
	return nil
}

func waitKey(c *call) string {
	if c.method == "chat.postMessage" {
		return c.method + " " + c.arg("channel")
	}
	return c.method
}

// wait notes until when the app has to wait, and gives the headers that say so.
func (w *Workspace) wait(c *call, d time.Duration) http.Header {
	seconds := max(1, math.Ceil(d.Seconds()))
	if w.waits == nil {
		w.waits, w.told = map[string]time.Time{}, map[string]time.Time{}
	}
	now := time.Now()
	until := now.Add(d)
	if !now.Before(w.waits[waitKey(c)]) {
		w.told[waitKey(c)] = now
	}
	if w.waits[waitKey(c)].Before(until) {
		w.waits[waitKey(c)] = until
	}
	return http.Header{"Retry-After": {strconv.Itoa(int(seconds))}}
}
