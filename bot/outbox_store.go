package bot

import (
	"context"
	"encoding/json"
	"time"
)

// fetch moves rows that wait in the store into lines, oldest first, whenever
// there are some and there is room.
func (o *outbox) fetch(ctx context.Context) {
	retry := time.NewTicker(2 * time.Second)
	defer retry.Stop()
	for {
		for o.fetchSome(ctx) {
		}
		select {
		case <-ctx.Done():
			return
		case <-o.more:
		case <-retry.C:
			o.mark(ctx)
		}
	}
}

// fetchSome says whether to go on at once.
func (o *outbox) fetchSome(ctx context.Context) bool {
	o.mu.Lock()
	if !o.behind || o.work == nil || o.queued >= o.room {
		o.mu.Unlock()
		return false
	}
	o.missed, o.gone = false, map[string]bool{}
	o.mu.Unlock()

	// Rows sent and not yet marked come again here; they must not fill the page.
	o.mark(ctx)
	rows, err := o.store.Unsent(ctx, o.room)

	o.mu.Lock()
	defer o.mu.Unlock()
	gone := o.gone
	o.gone = nil
	if err != nil {
		if ctx.Err() == nil {
			o.log.Error("read outbox", "err", err)
		}
		return false
	}
	if o.work == nil {
		return false
	}
	for _, r := range rows {
		if gone[r.Key] {
			continue // marked while we read
		}
		s := send{row: r}
		if err := json.Unmarshal(r.Payload, &s.out); err != nil {
			o.log.Error("outgoing message can't be read, dropped", "key", r.Key, "err", err)
			o.sent = append(o.sent, r.Key)
			continue
		}
		if o.queued >= o.room {
			break
		}
		o.push(s)
	}
	o.change()
	if len(rows) < o.room && !o.missed {
		o.behind = false
		return false
	}
	return o.missed && o.queued < o.room
}

// takeSent gives the keys to be marked with the next commit.
func (o *outbox) takeSent() []string {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.sent
	o.sent = nil
	return s
}

// returnSent takes them back after a commit that came to nothing.
func (o *outbox) returnSent(keys []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.sent = append(keys, o.sent...)
}

// forgetSent lets go of keys that are marked.
func (o *outbox) forgetSent(keys []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, k := range keys {
		delete(o.taken, k)
		if o.gone != nil {
			o.gone[k] = true
		}
	}
}

// mark marks what was sent, at idle: there was no commit to ride in.
func (o *outbox) mark(ctx context.Context) {
	keys := o.takeSent()
	if len(keys) == 0 {
		return
	}
	if err := o.store.MarkSent(ctx, keys); err != nil {
		o.returnSent(keys)
		if ctx.Err() == nil {
			o.log.Warn("mark sent", "err", err)
		}
		return
	}
	o.forgetSent(keys)
}
