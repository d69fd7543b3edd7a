package bot

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"milepost/bot/journal"
	"milepost/flow"
)

// shop is one shop at work: its configuration and its own log, which is kept as
// the pseudo-job journal.ShopJob.
type shop struct {
	name    string
	cfg     Shop
	policy  atomic.Pointer[flow.Policy] // in force: configured, and decided in words since
	current *memo                       // identity to job
	goneTo  *memo                       // identity to the job gone to by its number
	threads *memo                       // network and thread to job
	greeted *memo                       // identity to the job last begun in direct messages
	hinted  *memo                       // identity and job to the question beside which he was told where to answer
	salt    string                      // of the keys a job is found by; set before open is
	opened  atomic.Bool
	kept    string // day for which the daily work was done; guarded by mu

	mu sync.Mutex // holds the shop's log: one entry after the other
	shopLog
}

func newShop(c Shop) *shop {
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	s := &shop{name: c.Name, cfg: c, current: newMemo(4096), goneTo: newMemo(4096), greeted: newMemo(4096), hinted: newMemo(4096), threads: newMemo(4096)}
	p := c.Policy.Sound()
	s.policy.Store(&p)
	return s
}

func (s *shop) policyNow() flow.Policy { return *s.policy.Load() }

// ownJob is the pseudo-job of the shop's own entries.
func (s *shop) ownJob() string { return journal.ShopJob }

// openShop reads a shop's own log once, and begins it if there is none.
func (b *Bot) openShop(ctx context.Context, s *shop) error {
	if s.opened.Load() {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.opened.Load() { // another was quicker
		return nil
	}
	if err := b.readShop(ctx, s); err != nil {
		return err
	}
	if s.seq == 0 {
		if err := b.beginShop(ctx, s); err != nil {
			return err
		}
	}
	s.salt = s.first
	s.opened.Store(true)
	return nil
}

// beginShop writes the first entry of a shop's log. Called with mu held.
func (b *Bot) beginShop(ctx context.Context, s *shop) error {
	o, err := journal.NewOrigin(s.name, journal.Origin{}, b.cfg.Random)
	if err != nil {
		return failed("begin log", err)
	}
	if _, err = b.shopCommit(ctx, s, &Batch{}, shopEntry{kind: kindBegun, data: begunData{Key: s.cfg.Key.Public(), Origin: o.String()}}); err != nil {
		return err
	}
	s.origin, s.first, s.key = o, o.ID, s.cfg.Key.Public()
	return nil
}

// decide puts the policy in force: what is configured, with what was decided in
// words on top. Called with mu held.
func (s *shop) decide() {
	p := s.cfg.Policy
	for _, name := range slices.Sorted(maps.Keys(s.decided)) {
		if err := setPolicy(&p, name, s.decided[name]); err != nil {
			continue // of a version that knew more; the entry stays
		}
	}
	p = p.Sound()
	s.policy.Store(&p)
}

// outKey is the identity of a message that the shop's log records.
func (s *shop) outKey(seq int64, n int) string {
	job := s.ownJob()
	if s.name != DefaultShop {
		job += "-" + s.name // numbers of two shops' own entries are the same
	}
	return outKey(job, seq, n)
}

// shop finds a shop by name; "" is the only one.
func (b *Bot) shop(name string) (*shop, error) {
	if name == "" && len(b.cfg.Shops) == 1 {
		name = b.cfg.Shops[0].Name
	}
	s := b.shops[name]
	if s == nil {
		return nil, &Error{Kind: Invalid, Err: fmt.Errorf("no shop %.80q", name)}
	}
	return s, nil
}

// day is the shop's day of a time.
func (s *shop) day(t time.Time) string { return t.In(s.cfg.Zone).Format(time.DateOnly) }
