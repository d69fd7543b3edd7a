package bot

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"

	"milepost/bot/journal"
	"milepost/flow"
)

// maxTries bounds how often a message is run through a job that others move on
// at the same time.
const maxTries = 8

// inJob takes a message through its job's lane. If the job has moved on
// meanwhile, by another program on the same store, it is loaded and gone
// through again.
func (b *Bot) inJob(ctx context.Context, v *visit) error {
	l, err := b.lanes.enter(ctx, v.shop.name, v.job)
	if err != nil {
		return err
	}
	defer b.lanes.leave(l)
	if v.fresh {
		l.fresh()
	}
	for range maxTries {
		err = b.turn(ctx, v, l)
		if err == nil {
			return nil
		}
		l.forget() // what the lane knows may no longer be so
		if !errors.Is(err, ErrSequence) {
			break
		}
	}
	var e *Error
	if errors.As(err, &e) && e.Kind == Internal {
		if e.Ref == "" {
			e = b.internal(v, err)
		}
		return b.apologise(ctx, v, e)
	}
	return err
}

// turn is a message's way, once.
func (b *Bot) turn(ctx context.Context, v *visit, l *lane) (err error) {
	defer b.contain(v, &err)

	// 3 The log added up, first: a guest's role stands in it.
	if err := l.load(ctx, b.cfg.Store); err != nil {
		return err
	}
	if l.state.Seq == 0 && !v.fresh {
		return b.noJob(ctx, v)
	}

	// 1 Who is it, may they.
	st, err := b.standing(v, l)
	if err != nil {
		return b.internal(v, err)
	}
	if st.role == flow.Stranger || v.fresh && !flow.May(st.role, flow.ActOpen) {
		return b.turnAway(ctx, v)
	}

	// 2 Seen before? The commit below knows, and refuses; here only what the
	// message itself must have: its file, its own earlier message.
	m, ok, err := b.message(ctx, v, l, st)
	if err != nil || !ok {
		return err
	}

	// 4 What it leads to.
	env := b.env(v.shop, l, st.who)
	if env.Code, err = guestCode(b.cfg.Random); err != nil {
		return b.internal(v, err)
	}
	base, spent, err := b.spend(ctx, v, l, st, env)
	if err != nil {
		return err
	}
	out, err := b.step(ctx, v.shop, l, base, m, env)
	if err == nil && callsFor(out.Entries) {
		if env.Here = b.here(ctx, v, l, st); len(env.Here) > 0 {
			out, err = b.step(ctx, v.shop, l, base, m, env)
		}
	}
	if err != nil {
		return b.internal(v, err)
	}
	out.Entries = append(spent, out.Entries...)

	return b.finish(ctx, v, l, st, out)
}

// finish stores what a turn leads to and sets it on its way.
func (b *Bot) finish(ctx context.Context, v *visit, l *lane, st standing, out flow.Outcome) error {
	// 5 One transaction. If we crash before it, the message comes again; after
	// it, the outgoing messages are sent at the next start.
	owes := b.owes(v.shop, l.state, out.State)
	batch, next, sends, err := b.batch(v, l, st, out, owes)
	if err != nil {
		return b.internal(v, err)
	}
	if err := b.commit(ctx, batch); err != nil {
		return err
	}
	v.refused = slices.ContainsFunc(out.Replies, func(r flow.Reply) bool { return r.Kind == flow.Refusal })
	b.owed.set(v.shop.name, v.job, owes)
	l.folded = next
	if batch.Thread != nil {
		l.threads = append(l.threads, *batch.Thread)
		t := batch.Thread
		v.shop.threads.set(threadKey(t.Network, t.Thread), v.job)
		v.shop.threads.set(livesKey(t.Network, t.Thread, v.job), v.job)
	}
	if batch.Current != "" {
		v.shop.current.set(string(batch.Current), v.job)
	}
	b.wakes.set(v.shop.name, v.job, b.untilWake(out.Wake, batch.Index.Since))

	// 7 Sent, and marked, by the outbox.
	b.out.add(sends)
	if owes {
		if err := b.postHead(ctx, v.shop, l); err != nil {
			b.cfg.Log.Warn("post head", "job", v.job, "err", err) // tried again by the watch
		}
	}
	return nil
}

// commit stores a batch, with the marks of what was sent before.
func (b *Bot) commit(ctx context.Context, batch *Batch) error {
	batch.Sent = b.out.takeSent()
	if err := b.cfg.Store.Commit(ctx, batch); err != nil {
		b.out.returnSent(batch.Sent)
		return failed("commit", err)
	}
	b.out.forgetSent(batch.Sent)
	return nil
}

// message makes the flow's message of a visit. It is false where there is
// nothing to be done: an edit of a message that is not this person's.
func (b *Bot) message(ctx context.Context, v *visit, l *lane, st standing) (flow.Message, bool, error) {
	m := flow.Message{ID: v.key, Who: st.who, Role: st.role, Join: st.join, Text: v.text, Tap: v.in.Tap,
		Edit: v.edit, Delete: v.delete, Fault: v.in.Fault, Wake: v.wake,
		SentAt: v.in.SentAt, Trust: v.in.Trust}
	for _, target := range []string{v.edit, v.delete} {
		if target != "" && l.state.ByWho[target] != st.who {
			return m, false, nil
		}
	}
	if v.in.File != nil {
		f, err := b.evidence(ctx, v, l)
		if err != nil {
			return m, false, err
		}
		m.File = f
	}
	return m, true, nil
}

// env is what a step may know.
func (b *Bot) env(s *shop, l *lane, who flow.Who) flow.Env {
	now := b.now()
	return flow.Env{Now: now, Clock: now.Before(l.state.Last), Policy: s.policyNow(), Program: b.cfg.Program,
		Others: others(l.state, who), Alerts: s.alertsFor()}
}

// spend marks the guest code that this message joins with as used, by an entry
// before those of the step, so that a code serves once.
func (b *Bot) spend(ctx context.Context, v *visit, l *lane, st standing, env flow.Env) (*flow.State, []flow.Entry, error) {
	if st.used == "" {
		return l.state, nil, nil
	}
	entries, _, err := readEntries(ctx, b.cfg.Store, l.shop, l.job)
	if err != nil {
		return nil, nil, err
	}
	e := flow.Entry{Seq: l.state.Seq + 1, At: env.Now, Clock: env.Clock, Kind: flow.KindInvite, V: 1,
		Fact: &flow.InviteFact{Hash: st.used, Used: true}}
	return flow.Fold(l.shop, l.job, append(entries, e)), []flow.Entry{e}, nil
}

// step runs the flow. Where it names a vehicle that is known from an earlier
// job it runs once more, knowing it: a step changes nothing, so it can.
func (b *Bot) step(ctx context.Context, s *shop, l *lane, st *flow.State, m flow.Message, env flow.Env) (flow.Outcome, error) {
	out, err := b.cfg.step(st, m, env)
	if err != nil {
		return out, err
	}
	vehicle := func(e flow.Entry) bool { return e.Kind == flow.KindVehicle || e.Kind == flow.KindVIN }
	if !slices.ContainsFunc(out.Entries, vehicle) {
		return out, nil
	}
	found := l.found
	for i := range out.Entries {
		found.add(&out.Entries[i])
	}
	k, err := b.known(ctx, s, l.job, found)
	if err != nil {
		b.cfg.Log.Warn("known vehicle", "job", l.job, "err", err) // a convenience: the job goes on without
	}
	if k == nil {
		return out, nil
	}
	env.Known = k
	return b.cfg.step(st, m, env)
}

// batch puts together what a turn changes and what is to be sent. owes says that
// the job owes its head then.
func (b *Bot) batch(v *visit, l *lane, st standing, out flow.Outcome, owes bool) (*Batch, folded, []send, error) {
	s := v.shop
	batch := &Batch{Shop: s.name, Job: v.job, Expect: l.state.Seq, Delivery: v.key}
	next := folded{state: out.State, prev: l.prev, found: l.found}
	for i := range out.Entries {
		leaf, err := toLeaf(s.name, v.job, &out.Entries[i], next.prev, b.cfg.Random)
		if err != nil {
			return nil, next, nil, err
		}
		next.prev = journal.Hash(leaf.Bytes)
		next.found.add(&out.Entries[i])
		batch.Leaves = append(batch.Leaves, leaf)
	}
	if !v.wake && s.current.get(string(v.in.From)) != v.job {
		batch.Current = v.in.From
	}
	batch.Thread = joining(v, l, st)
	batch.Vehicles = newKeys(s.salt, l.found, next.found)
	batch.Evidence = next.found.files[len(l.found.files):]
	batch.Index = indexRow(out.State, next, out.Wake, owes)
	sends, err := b.outgoing(v, l, batch.Thread, out)
	if err != nil {
		return nil, next, nil, err
	}
	for _, o := range sends {
		batch.Outbox = append(batch.Outbox, o.row)
	}
	return batch, next, sends, nil
}

// joining gives the thread that joins the job with this message, nil if it is
// in it already.
func joining(v *visit, l *lane, st standing) *JobThread {
	if v.wake || v.in.Tap != "" || v.in.Loose && !v.fresh && len(l.threads) > 0 && st.used == "" {
		return nil // a tap joins nothing: it was offered in a thread; but who comes by a guest code gets a thread where he is
	}
	for _, t := range l.threads {
		if t.Network == v.in.Network && t.Thread == v.in.Thread {
			return nil
		}
	}
	t := &JobThread{Network: v.in.Network, Thread: v.in.Thread}
	if len(l.threads) > 0 {
		t.For = st.role // a second thread is for those who came by it
	}
	return t
}

// contain keeps a panic in a turn from taking anything else down: the job stays
// as the log has it.
func (b *Bot) contain(v *visit, err *error) {
	r := recover()
	if r == nil {
		return
	}
	e := b.internal(v, fmt.Errorf("panic: %v", r))
	b.cfg.Log.Error("panic in a turn", "ref", e.Ref, "job", v.job, "stack", string(debug.Stack()))
	*err = e
}
