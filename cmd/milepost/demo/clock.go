package demo

import (
	"sync"
	"time"
)

// clock is the play's time: a job takes a morning, whatever the pace.
type clock struct {
	mu     sync.Mutex
	passed time.Duration
}

// begins is when every play begins; no figure hangs on it.
var begins = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func (c *clock) now() time.Time { return begins.Add(c.elapsed()) }

func (c *clock) elapsed() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.passed
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.passed += d
}
