package slack

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// What Slack withholds after it has said so is looked for once that is over.
func TestWithheld(t *testing.T) {
	if w, o := usualTimes().withheld, usualTimes().overlap; w <= time.Minute || w >= o {
		t.Errorf("looked for after %v, which must be more than Slack's minute and less than what is read again, %v", w, o)
	}
	transports(t, func(t *testing.T, http bool) {
		t.Parallel()
		r := listen(t, http, workspace.Options{})
		r.end()
		r.start(func(s *Slack) { s.times.withheld, s.times.gap = 3*time.Second, time.Hour })
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		looks := func() int { return strings.Count(r.log.String(), "read back what may") }
		r.Slack.mu.Lock()
		e := r.ears
		r.Slack.mu.Unlock()
		words := ""
		for {
			r.await("quiet", func() bool {
				e.mu.Lock()
				defer e.mu.Unlock()
				return !e.waits && !e.behind
			})
			r.settled()
			n := looks()
			r.w.AppRateLimited()
			r.await("the first look", func() bool { return looks() > n })
			words = fmt.Sprintf("withheld after look %d", n)
			r.w.DropEvents(1)
			r.w.User("kim").SayInThread("shop", card, words)
			if looks() == n+1 { // else the machine is so busy that another has begun: again
				break
			}
		}
		r.await("what was withheld", func() bool { return strings.HasSuffix(r.ear.texts(), words) })
	})
}

// However often Slack says so, one of those that it is said to waits.
func TestWithheldOften(t *testing.T) {
	s := &Slack{times: times{withheld: time.Hour}}
	e := &ears{s: s, look: make(chan struct{}, 1), waits: true}
	before := time.Now()
	e.withheld(t.Context())
	if !e.behind || e.withholds.Before(before.Add(time.Hour)) {
		t.Errorf("%+v", e.withholds)
	}
}
