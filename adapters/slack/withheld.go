package slack

import (
	"context"
	"time"
)

// Where more than 30000 events an hour arise in a workspace, Slack says in which minute
// it withholds them, says so anew in each, and never brings them (docs.slack.dev,
// app_rate_limited). What was withheld before it was said is looked for at once, and once
// the minute is over the rest. That is counted from when it was said, as our clock may
// differ from Slack's.

// withheld has it looked for what is withheld from now on, until ctx is done.
func (e *ears) withheld(ctx context.Context) {
	e.missed()
	e.mu.Lock()
	e.withholds = time.Now().Add(e.s.times.withheld)
	waits := e.waits
	e.waits = true
	e.mu.Unlock()
	for !waits { // else that is waited for already
		e.mu.Lock()
		left := time.Until(e.withholds)
		e.waits = left > 0
		e.mu.Unlock()
		if left <= 0 {
			e.missed()
			return
		}
		if !sleep(ctx, left) {
			return
		}
	}
}
