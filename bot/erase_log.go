package bot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"milepost/bot/journal"
	"milepost/flow"
)

// inJob erases what is picked in one job.
func (er *eraser) inJob(ctx context.Context, job string) error {
	b, s := er.b, er.s
	l, err := b.lanes.enter(ctx, s.name, job)
	if err != nil {
		return err
	}
	defer b.lanes.leave(l)
	defer l.forget()
	entries, prev, err := readEntries(ctx, b.cfg.Store, s.name, job)
	if err != nil || len(entries) == 0 {
		return err
	}
	state := flow.Fold(s.name, job, entries)
	refs, left, gone := er.choose(entries, state)
	if len(refs) == 0 {
		return nil
	}

	// The state without what goes, and with the entry that says so.
	now := b.now()
	fact := &flow.ErasedFact{Why: er.why}
	for _, r := range refs {
		fact.Items = append(fact.Items, flow.ErasedItem{Seq: r.Seq, Label: r.Label})
	}
	e := flow.Entry{Seq: state.Seq + 1, At: now, Clock: now.Before(state.Last), Kind: flow.KindErased, V: 1, Fact: fact}
	leaf, err := toLeaf(s.name, job, &e, prev, b.cfg.Random)
	if err != nil {
		return &Error{Kind: Internal, Err: fmt.Errorf("erase in job %s: %w", job, err)}
	}
	after := folded{prev: journal.Hash(leaf.Bytes)}
	left = append(left, e)
	after.state = flow.Fold(s.name, job, left)
	for i := range left {
		after.found.add(&left[i])
	}
	batch := &Batch{Shop: s.name, Job: job, Expect: state.Seq, Leaves: []NewLeaf{leaf},
		Index: indexRow(after.state, after, b.wakeOf(s, after.state), b.owed.has(s.name, job)), Vehicles: keys(s.salt, &after.found), Evidence: after.found.files}
	for _, p := range state.People {
		if p.Identity != "" && (er.id == "" || p.Identity == string(er.id)) {
			batch.Forget = append(batch.Forget, Identity(p.Identity))
			s.current.set(p.Identity, "")
		}
	}
	if err := er.gone(b.cfg.Store.Erase(ctx, batch, refs)); err != nil {
		return err
	}
	b.out.forget(s.name, job)
	er.note(refs)
	if err := er.files(ctx, gone, after.found.files); err != nil {
		return err
	}
	b.wakes.set(s.name, job, b.untilWake(batch.Index.Wake, batch.Index.Since))
	er.done.Jobs = append(er.done.Jobs, job)
	er.done.Items += len(refs)
	return nil
}

// note keeps which items go, for the entry in the shop's log.
func (er *eraser) note(refs []ItemRef) {
	for _, r := range refs {
		er.ids = append(er.ids, journal.ItemID(r))
	}
}

// gone says what came of an erasure by the store: one that only lingers on the
// disk was made.
func (er *eraser) gone(err error) error {
	if errors.Is(err, ErrLingers) {
		er.done.Lingers = true
		er.b.cfg.Log.Warn("erased, but not yet from the disk", "err", err)
		return nil
	}
	return failed("erase", err)
}

// files deletes evidence that no job holds any more. A store that keeps its own
// evidence has done so already, and does it at its next start if we crash here.
func (er *eraser) files(ctx context.Context, gone, kept []string) error {
	if er.b.cfg.Blobs == nil {
		return nil
	}
	slices.Sort(gone)
	for _, sha := range slices.Compact(gone) {
		if slices.Contains(kept, sha) {
			continue
		}
		jobs, err := er.b.cfg.Store.EvidenceJobs(ctx, er.s.name, sha)
		if err != nil {
			return failed("erase file", err)
		}
		if len(jobs) > 0 {
			continue // another job's evidence too
		}
		if err := er.b.cfg.Blobs.Delete(ctx, sha); err != nil {
			return failed("erase file", err)
		}
		er.done.Files++
	}
	return nil
}

// inShop erases a person's traces in the shop's own log and records the whole
// erasure there: which items, and why.
func (er *eraser) inShop(ctx context.Context) error {
	b, s := er.b, er.s
	return b.shopDo(ctx, s, func() error {
		refs, err := er.shopRefs(ctx)
		if err != nil || len(refs) == 0 && len(er.ids) == 0 {
			return err
		}
		all := slices.Clone(er.ids)
		for _, r := range refs {
			all = append(all, journal.ItemID(r))
		}
		data, err := journal.Erasure{Why: er.why, Items: all}.Data()
		if err != nil {
			return &Error{Kind: Internal, Err: fmt.Errorf("erase: %w", err)}
		}
		leaves, _, err := b.shopLeaves(s, []shopEntry{{kind: journal.KindErased, raw: data}})
		if err != nil {
			return &Error{Kind: Internal, Err: fmt.Errorf("erase: %w", err)}
		}
		if n := s.days.People[er.id]; er.id != "" && n > 0 {
			delete(s.days.People, er.id)
			s.days.More += n // he was here; who he was is gone
		}
		batch := &Batch{Shop: s.name, Job: s.ownJob(), Expect: s.seq, Leaves: leaves, Index: s.days.row(s)}
		if er.id != "" {
			batch.Forget = []Identity{er.id}
			s.current.set(string(er.id), "")
		}
		s.loaded = false
		if err := er.gone(b.cfg.Store.Erase(ctx, batch, refs)); err != nil {
			return err
		}
		er.note(refs)
		er.done.Items += len(refs)
		return b.readShop(ctx, s)
	})
}

// shopRefs are a person's items in the shop's own log.
func (er *eraser) shopRefs(ctx context.Context) ([]ItemRef, error) {
	if er.id == "" {
		return nil, nil
	}
	stored, err := er.b.cfg.Store.Entries(ctx, er.s.name, er.s.ownJob(), 0)
	if err != nil {
		return nil, failed("erase", err)
	}
	var refs []ItemRef
	for _, st := range stored {
		for _, it := range st.Items {
			ref := ItemRef{Job: er.s.ownJob(), Seq: st.Seq, Label: it.Label}
			if strings.EqualFold(string(it.Content), string(er.id)) {
				refs = append(refs, ref)
			}
		}
	}
	return refs, nil
}
