package slack

import (
	"context"
	"sync"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
	"milepost/flow"
)

// EditCard shows a job's card as it now is: the first time it is posted, and all
// that follows hangs on it. Later it is changed in place. A state that has not
// yet been shown is overtaken by the next; it is kept here, so on return nothing
// can be lost, but it may take a moment until people see it.
func (s *Slack) EditCard(ctx context.Context, out bot.Outbound) error {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	a, err := s.aim(ctx, &out)
	if err != nil {
		return err
	}
	if changed, err := s.state.giveWay(ctx, &out); err != nil {
		return failed("note what is answered", err)
	} else if changed {
		defer s.mouth.wake()
	}
	defer s.mouth.homes.changed()
	p := s.post(&out)
	root, err := s.state.rootOf(ctx, a.thread)
	if err == nil && root == "" {
		if err := s.firstCard(ctx, &out, a, p); err != nil {
			return err
		}
		return failed("edit card", s.state.setOpen(ctx, a.thread, out.Reply.Phase != flow.PhaseClosed))
	}
	if err == nil {
		err = s.state.setOpen(ctx, a.thread, out.Reply.Phase != flow.PhaseClosed)
	}
	if err != nil {
		return failed("edit card", err)
	}
	r := shown{channel: a.channel, ts: root, thread: a.thread, job: a.job, post: *p}
	if r.ts, err = s.state.wantCard(ctx, r); err != nil {
		return failed("edit card", err)
	}
	if lane := s.paces.of(a.channel); s.mouth.failing.pause(a.channel, r.ts) == 0 && lane.tryChange(false) {
		if s.mouth.updates.tryEnter(out.Job) {
			s.changeNow(ctx, lane, a.channel, r.ts)
			return nil
		}
		lane.leave(0)
	}
	s.mouth.wake()
	return nil
}

// firstCard posts the card, and the thread hangs on it from then on: or, where only
// threads are open to us, both on the message that began it.
func (s *Slack) firstCard(ctx context.Context, out *bot.Outbound, a aim, p *post) error {
	a.root, a.card = "", true
	if err := s.sendPost(ctx, out.Key, &a, p); err != nil {
		return err
	}
	ts, _, _, err := s.state.sentAs(ctx, out.Key)
	if err != nil {
		return failed("edit card", err)
	}
	if a.root != "" {
		ts = a.root
	}
	return failed("edit card", s.state.setRoot(context.WithoutCancel(ctx), a.thread, a.channel, ts, a.job))
}

// mouth is what speaking keeps in memory.
type mouth struct {
	more    chan struct{} // a post is to look different
	updates *pace         // of the whole workspace: chat.update is counted so
	failing failing
	homes   homes
}

func (m *mouth) init(every time.Duration) {
	m.more = make(chan struct{}, 1)
	updates, views := updateEvery, homePace
	if every <= 0 {
		updates, views = 0, 0
	}
	m.updates = newPace(updates, updateBurst)
	m.homes.init(views)
}

func (m *mouth) wake() {
	select {
	case m.more <- struct{}{}:
	default:
	}
}

// changePosts changes our posts until ctx is done, each to what it is to look
// like by then: one change is under way at a time, and what came meanwhile is in
// the next. A channel in which messages wait comes later.
func (s *Slack) changePosts(ctx context.Context, st *state) {
	for ctx.Err() == nil {
		list, err := st.stale(ctx, 100+s.mouth.failing.count())
		if err != nil && ctx.Err() == nil {
			s.log.Error("read what is to be changed", "err", err)
		}
		pause := 30 * time.Second
		for _, r := range list {
			if d := s.mouth.failing.pause(r.channel, r.ts); d > 0 {
				pause = min(pause, d)
				continue
			}
			lane, pressing := s.paces.of(r.channel), time.Since(r.at) > patience
			if !lane.mayChange(pressing) {
				pause = min(pause, 100*time.Millisecond)
				continue
			}
			if s.mouth.updates.enter(ctx, r.job) != nil {
				return
			}
			if !lane.tryChange(pressing) {
				s.mouth.updates.leave(0)
				pause = min(pause, 100*time.Millisecond)
				continue
			}
			s.changeNow(ctx, lane, r.channel, r.ts)
			pause = 0
		}
		t := time.NewTimer(pause)
		select {
		case <-s.mouth.more:
		case <-t.C:
		case <-ctx.Done():
		}
		t.Stop()
	}
}

// changeNow changes a post to what it is to be now. The turns it was given are
// given back. A failure leaves it to be tried again.
func (s *Slack) changeNow(ctx context.Context, lane *pace, channel, ts string) {
	rev, err := s.change(ctx, channel, ts)
	asked := wait(err)
	lane.leave(0)
	s.mouth.updates.leave(asked)
	switch {
	case err == nil:
		s.mouth.failing.over(channel, ts)
		return
	case ctx.Err() != nil:
		return
	case asked > 0:
		s.log.Warn("changes of posts wait", "channel", channel, "in", asked, "err", plainly(err))
	default:
		s.notChanged(ctx, channel, ts, rev, err)
	}
	s.mouth.wake()
}

// change changes a post if it is to look different; rev is the state that was tried.
func (s *Slack) change(ctx context.Context, channel, ts string) (rev int64, err error) {
	r, ok, err := s.state.staleAt(ctx, channel, ts)
	if err != nil || !ok {
		return 0, err
	}
	return r.rev, s.changeTo(ctx, r)
}

func (s *Slack) changeTo(ctx context.Context, r shown) error {
	channel, ts := r.channel, r.ts
	row, err := s.state.rowOf(ctx, channel, ts)
	if err != nil {
		return err
	}
	m := render(&r.post)
	// Without parse=none Slack makes links of words here, unlike in chat.postMessage,
	// and mrkdwn is none of its arguments (docs.slack.dev, chat.update).
	o := []api.MsgOption{api.MsgOptionText(m.text, false), api.MsgOptionParse(false), api.MsgOptionBlocks(m.blocks...)}
	card := r.post.Kind == flow.Card
	if row != "" {
		root, err := s.state.rootOf(ctx, r.thread)
		if err != nil {
			return err
		}
		o = append(o, api.MsgOptionMetadata(metadata(row, aim{thread: r.thread, card: card && root == ts})))
	}
	_, _, _, err = s.api.UpdateMessageContext(ctx, channel, ts, o...)
	switch {
	case err == nil:
		return s.state.fresh(context.WithoutCancel(ctx), r)
	case card && is(err, lost):
		return s.replaceCard(ctx, r)
	case is(err, uneditable), is(err, gone), is(err, badBody):
		s.log.Warn("a post can't be changed any more", "channel", channel, "code", code(err))
		return s.state.unshown(context.WithoutCancel(ctx), r)
	}
	return err
}

// speak does what speaking needs beside the calls of others, until ctx is done.
// boards gives the home view, nil if there is none.
func (s *Slack) speak(ctx context.Context, st *state, boards Boards) {
	var tasks sync.WaitGroup
	defer tasks.Wait()
	if boards != nil {
		tasks.Go(func() { s.publishHomes(ctx, boards) })
	}
	tasks.Go(func() { s.prune(ctx, st) })
	s.changePosts(ctx, st)
}

// prune forgets what nothing can ask for any more: the outbox repeats a message
// within the days it keeps it, and a question of long ago is answered or stale.
func (s *Slack) prune(ctx context.Context, st *state) {
	for {
		if err := st.prune(ctx, time.Now()); err != nil && ctx.Err() == nil {
			s.log.Warn("prune what was sent", "err", err)
		}
		if !sleep(ctx, s.times.prune) {
			return
		}
	}
}
