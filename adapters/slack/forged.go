package slack

import (
	"sync"
	"time"
)

// forgedEvery is how often it is said that requests were refused: anybody can make
// them, as many as they like, and they must not fill the log.
const forgedEvery = time.Minute

// forged counts requests that were refused because Slack did not sign them.
type forged struct {
	mu   sync.Mutex
	n    int64 // not said yet
	said time.Time
}

// more counts one, and gives how many are to be said now: 0, if it is not yet time.
func (f *forged) more(now time.Time) int64 {
	f.mu.Lock()
	f.n++
	f.mu.Unlock()
	return f.rest(now)
}

// rest gives how many are to be said now, 0 for none.
func (f *forged) rest(now time.Time) int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.n == 0 || now.Before(f.said.Add(forgedEvery)) {
		return 0
	}
	n := f.n
	f.n, f.said = 0, now
	return n
}

func (e *ears) sayForged(n int64) {
	if n > 0 {
		e.s.log.Warn("requests that are not signed by Slack were refused", "requests", n)
	}
}
