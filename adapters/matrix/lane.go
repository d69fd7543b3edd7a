package matrix

import (
	"sync"
	"time"
)

// lanesMost bounds the rows known in memory, by number only; the others wait in
// the database.
const lanesMost = 20_000

// lanes puts rows of the inbox in order: within a lane one after the other,
// lanes beside each other in turn.
type lanes struct {
	mu     sync.Mutex
	wake   *sync.Cond
	byName map[string]*lane
	ready  []*lane
	rows   int
	most   int   // of them at once
	last   int64 // rows up to this one have been taken in
	closed bool
}

// lane is the rows of a thread, or of what is outside threads in a room.
type lane struct {
	name  string
	rows  []int64
	timer *time.Timer // while it waits; nil while it is ready or worked on

	// Of the row in front, owned by whoever works on it.
	tries int
	since time.Time // since when its key is waited for; zero: it is not
	asked bool      // its key has been asked for
}

func newLanes(most int) *lanes {
	l := &lanes{byName: map[string]*lane{}, most: most}
	l.wake = sync.NewCond(&l.mu)
	return l
}

// add puts a row behind those of its lane.
func (l *lanes) add(n int64, name string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rows++
	l.last = max(l.last, n)
	if have := l.byName[name]; have != nil {
		have.rows = append(have.rows, n)
		return
	}
	made := &lane{name: name, rows: []int64{n}}
	l.byName[name] = made
	l.ready = append(l.ready, made)
	l.wake.Signal()
}

// room gives how many rows can be taken in, and behind which.
func (l *lanes) room() (n int, after int64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.most - l.rows, l.last
}

// next waits for a lane with something to do, and gives the row in front; false
// when it is over.
func (l *lanes) next() (*lane, int64, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for len(l.ready) == 0 && !l.closed {
		l.wake.Wait()
	}
	if l.closed {
		return nil, 0, false
	}
	ln := l.ready[0]
	l.ready = l.ready[1:]
	return ln, ln.rows[0], true
}

// done takes the row in front away, and puts the lane back in turn.
func (l *lanes) done(ln *lane) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rows--
	ln.rows = ln.rows[1:]
	ln.tries, ln.since, ln.asked = 0, time.Time{}, false
	if len(ln.rows) == 0 {
		delete(l.byName, ln.name)
		return
	}
	l.ready = append(l.ready, ln)
	l.wake.Signal()
}

// park lets a lane wait with its row in front.
func (l *lanes) park(ln *lane, d time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return
	}
	ln.timer = time.AfterFunc(d, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.unpark(ln)
	})
}

func (l *lanes) unpark(ln *lane) {
	if ln.timer == nil || l.closed {
		return
	}
	ln.timer.Stop()
	ln.timer = nil
	l.ready = append(l.ready, ln)
	l.wake.Signal()
}

// keysCame wakes the lanes that wait for a key.
func (l *lanes) keysCame() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, ln := range l.byName {
		if ln.timer != nil && !ln.since.IsZero() {
			l.unpark(ln)
		}
	}
}

func (l *lanes) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed = true
	for _, ln := range l.byName {
		if ln.timer != nil {
			ln.timer.Stop()
		}
	}
	l.wake.Broadcast()
}
