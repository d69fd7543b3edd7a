package bot

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"milepost/bot/journal"
	"milepost/flow"
)

// Erased says what an erasure did, and what it could not reach.
type Erased struct {
	Jobs    []string // jobs in which something was erased
	Items   int
	Files   int      // evidence files deleted
	Lingers bool     // gone from the log, not yet from the disk: the next start sees to it
	Kept    []string // job/sequence/label kept because a running job's way back depends on it
	// Beyond is what no erasure here reaches; it is to be told to the one who ordered it.
	Beyond []string
}

// beyond is out of reach of every erasure.
var beyond = []string{
	"what the networks keep of their own history",
	"exports and sheets already given out",
	"backups already made: restore erases again what the list beside the key names",
}

// Erase removes a person's or a job's personal details for good: a job by its
// number, a person by the full and exact identity. The log's proofs still hold
// afterwards, and the erasure is an entry in each job and in the shop's log.
// A backup file that a running job's way back depends on is kept, and named.
func (b *Bot) Erase(ctx context.Context, shopName, target string) (Erased, error) {
	s, err := b.shop(shopName)
	if err != nil {
		return Erased{}, err
	}
	if err := b.openShop(ctx, s); err != nil {
		return Erased{}, err
	}
	er := &eraser{b: b, s: s, why: "request", done: Erased{Beyond: beyond}}
	what := Forgotten{Shop: s.name}
	if isJob(target) {
		what.Job = target
		var threads []JobThread
		if threads, err = b.cfg.Store.Threads(ctx, s.name, target); err != nil {
			return er.done, failed("erase", err)
		}
		for _, t := range threads {
			what.Threads = append(what.Threads, t.Thread)
		}
		er.pick = func([]flow.Entry, *flow.State) func(*flow.Entry, flow.Item) bool {
			return func(*flow.Entry, flow.Item) bool { return true }
		}
		err = er.job(ctx, target)
	} else {
		if !strings.Contains(target, ":") {
			return er.done, &Error{Kind: Invalid, Err: fmt.Errorf("erase %.200q: neither a job's number nor a full identity such as terminal:NAME", target)}
		}
		er.id = Identity(target)
		what.People = []Identity{er.id}
		er.pick = er.ofPerson
		err = er.person(ctx)
	}
	if err != nil {
		return er.done, err
	}
	b.forget(ctx, er, what)
	if len(er.ids) == 0 && len(er.done.Kept) == 0 {
		return er.done, &Error{Kind: Invalid, Err: fmt.Errorf("erase: nothing of %.200q is here", target)}
	}
	return er.done, nil
}

// forget lets the networks remove what passed through them. What one could not
// remove lingers, and is said.
func (b *Bot) forget(ctx context.Context, er *eraser, what Forgotten) {
	for _, n := range b.cfg.Networks {
		f, ok := n.(Forgetter)
		if !ok {
			continue
		}
		if err := f.Forget(ctx, what); err != nil {
			er.done.Lingers = true
			b.cfg.Log.Error("erased, but a network still keeps what passed through it; order the erasure again", "network", n.Name(), "err", err)
		}
	}
}

// retire erases raw track files whose days are over.
func (b *Bot) retire(ctx context.Context, s *shop) error {
	rows, err := b.cfg.Store.Index(ctx, s.name, false)
	if err != nil {
		return failed("read index", err)
	}
	limit := b.now().AddDate(0, 0, -s.policyNow().Retention)
	var faults []error
	for i := range rows {
		if rows[i].Open || rows[i].Job == s.ownJob() {
			continue
		}
		r, ok := b.openRow(&rows[i])
		if !ok || !r.Track || r.Since.After(limit) {
			continue
		}
		er := &eraser{b: b, s: s, why: "retention", pick: tracks}
		faults = append(faults, er.job(ctx, r.Job))
	}
	return errors.Join(faults...)
}

// eraser is one erasure at work.
type eraser struct {
	b    *Bot
	s    *shop
	id   Identity // whose traces go, "" for a job's
	why  string
	pick func([]flow.Entry, *flow.State) func(*flow.Entry, flow.Item) bool
	done Erased
	ids  []journal.ItemID
}

// person erases a person's traces in every job, and in the shop's own log.
func (er *eraser) person(ctx context.Context) error {
	jobs, err := er.b.cfg.Store.Jobs(ctx, er.s.name)
	if err != nil {
		return failed("erase", err)
	}
	for _, job := range jobs {
		if job == er.s.ownJob() {
			continue
		}
		if err := er.inJob(ctx, job); err != nil {
			return err
		}
	}
	return er.inShop(ctx)
}

// job erases in one job and notes it in the shop's log.
func (er *eraser) job(ctx context.Context, job string) error {
	if err := er.inJob(ctx, job); err != nil {
		return err
	}
	return er.inShop(ctx)
}
