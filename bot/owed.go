package bot

import (
	"context"
	"encoding/json"
	"maps"
	"slices"
	"sync"

	"milepost/flow"
)

// owedHeads are the closed jobs whose head has still to be given out. The
// board's row says so too, from the transaction that closes the job to the one
// that gives the head out, so that a start after a crash finds them.
type owedHeads struct {
	mu   sync.Mutex
	jobs map[[2]string]bool // by shop and job
}

func (o *owedHeads) set(shop, job string, owed bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if owed {
		o.jobs[[2]string{shop, job}] = true
	} else {
		delete(o.jobs, [2]string{shop, job})
	}
}

func (o *owedHeads) has(shop, job string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.jobs[[2]string{shop, job}]
}

func (o *owedHeads) all() [][2]string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Collect(maps.Keys(o.jobs))
}

// owes says whether a job will owe a head when it has come from before to after:
// it is closed by that, or was and owes one still.
func (b *Bot) owes(s *shop, before, after *flow.State) bool {
	return s.hasKey() && after.Phase == flow.PhaseClosed && (before.Phase != flow.PhaseClosed || b.owed.has(s.name, after.Job))
}

// owedRow says whether a row is one of a job that owes its head.
func owedRow(r *IndexRow) bool {
	var d rowData
	return !r.Open && json.Unmarshal(r.Data, &d) == nil && d.HeadOwed
}

// giveOwed gives out the heads that a crash, or a fault of the store, kept back.
func (b *Bot) giveOwed(ctx context.Context) {
	for _, k := range b.owed.all() {
		if err := b.giveOwedOf(ctx, b.shops[k[0]], k[1]); err != nil {
			b.cfg.Log.Warn("post head", "job", k[1], "err", err)
		}
	}
}

func (b *Bot) giveOwedOf(ctx context.Context, s *shop, job string) error {
	l, err := b.lanes.enter(ctx, s.name, job)
	if err != nil {
		return err
	}
	defer b.lanes.leave(l)
	if err := l.load(ctx, b.cfg.Store); err != nil {
		return err
	}
	if l.state.Phase != flow.PhaseClosed || !b.owed.has(s.name, job) { // opened again, or given meanwhile
		b.owed.set(s.name, job, false)
		return nil
	}
	return b.postHead(ctx, s, l)
}
