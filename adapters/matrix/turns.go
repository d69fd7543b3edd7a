package matrix

import "sync"

// turns bounds how many workers are at work at once. There are more of them than
// that: one that only waits for the homeserver lets another have its turn, so
// that no thread waits for the file of another.
type turns struct {
	mu   sync.Mutex
	free *sync.Cond
	busy int
	most int
}

func newTurns(most int) *turns {
	t := &turns{most: most}
	t.free = sync.NewCond(&t.mu)
	return t
}

func (t *turns) take() {
	t.mu.Lock()
	defer t.mu.Unlock()
	for t.busy >= t.most {
		t.free.Wait()
	}
	t.busy++
}

func (t *turns) give() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.busy--
	t.free.Signal()
}

// pause gives up the turn of whoever calls it while wait waits.
func (t *turns) pause(wait func()) {
	t.give()
	defer t.take()
	wait()
}
