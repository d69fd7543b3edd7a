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

// tracks picks the raw track files.
func tracks([]flow.Entry, *flow.State) func(*flow.Entry, flow.Item) bool {
	return func(e *flow.Entry, _ flow.Item) bool {
		f, ok := e.Fact.(*flow.FileFact)
		return ok && f.Use == "track"
	}
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
		Index: indexRow(after.state, after, b.wakeOf(s, after.state)), Vehicles: keys(s.salt, &after.found), Evidence: after.found.files}
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

// choose splits a job's items into those that go and those that stay. gone are
// the hashes of files that go.
func (er *eraser) choose(entries []flow.Entry, state *flow.State) (refs []ItemRef, left []flow.Entry, gone []string) {
	pick := er.pick(entries, state)
	needed := wayBack(entries, state)
	left = make([]flow.Entry, len(entries))
	for i := range entries {
		left[i] = entries[i]
		left[i].Items = nil
		for _, it := range entries[i].Items {
			ref := ItemRef{Job: state.Job, Seq: entries[i].Seq, Label: it.Label}
			switch {
			case !pick(&entries[i], it):
				left[i].Items = append(left[i].Items, it)
			case needed(&entries[i]):
				left[i].Items = append(left[i].Items, it)
				er.done.Kept = append(er.done.Kept, journal.ItemID(ref).String())
			default:
				refs = append(refs, ref)
				if it.Label == flow.ItemSHA256 {
					gone = append(gone, it.Content)
				}
			}
		}
	}
	return refs, left, gone
}

// wayBack tells the entries whose items a running job needs to recover: its
// backups, and the files they are.
func wayBack(entries []flow.Entry, state *flow.State) func(*flow.Entry) bool {
	needed := map[string]bool{}
	if state.Phase != flow.PhaseClosed {
		for i := range entries {
			if entries[i].Kind == flow.KindBackup {
				needed[entries[i].Item(flow.ItemSHA256)] = true
			}
		}
	}
	return func(e *flow.Entry) bool {
		switch e.Kind {
		case flow.KindBackup:
			return state.Phase != flow.PhaseClosed
		case flow.KindFile:
			sha := e.Item(flow.ItemSHA256)
			return sha != "" && needed[sha]
		}
		return false
	}
}

// ofPerson picks a person's traces in a job: all that he said, gave and is
// called, what was said to him and may repeat it, and his name in others' words.
func (er *eraser) ofPerson(entries []flow.Entry, state *flow.State) func(*flow.Entry, flow.Item) bool {
	his := map[flow.Who]bool{}
	var called []string
	for i := range entries {
		f, ok := entries[i].Fact.(*flow.PersonFact)
		if !ok || entries[i].Item(flow.ItemIdentity) != string(er.id) {
			continue
		}
		his[f.Who] = true
		if n := strings.ToLower(entries[i].Item(flow.ItemName)); len(n) > 2 && !slices.Contains(called, n) {
			called = append(called, n)
		}
	}
	called = append(called, strings.ToLower(string(er.id)))
	return func(e *flow.Entry, it flow.Item) bool {
		if len(his) > 0 {
			switch f := e.Fact.(type) {
			case *flow.PersonFact:
				return his[f.Who]
			case *flow.SaidFact:
				if len(f.To) == 0 || slices.ContainsFunc(f.To, func(w flow.Who) bool { return his[w] }) {
					return true
				}
			}
			if his[e.Who] {
				return true
			}
		}
		text := strings.ToLower(it.Content)
		return slices.ContainsFunc(called, func(n string) bool { return strings.Contains(text, n) })
	}
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
