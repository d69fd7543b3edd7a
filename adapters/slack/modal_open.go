package slack

import (
	"context"
	"errors"
	"fmt"
	"time"

	api "github.com/slack-go/slack"

	"milepost/flow"
)

// triggerFor is how long a trigger is used: it is good for three seconds and once
// (docs.slack.dev, Modals), and was made before it came here.
const triggerFor = 2500 * time.Millisecond

// openForm opens the form of a post for whoever pressed its button. It is false
// if the post's question is no longer open: then the press is to be taken as any
// other stale one.
func (s *Slack) openForm(ctx context.Context, trigger, channel, ts string, until time.Time) (opened bool, err error) {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	r, ok, err := s.state.offered(ctx, channel, ts)
	if err != nil || !ok || r.post.Form == "" {
		return false, err
	}
	m := formMeta{Form: r.post.Form, Thread: r.thread, Job: r.job, Ask: r.post.Ask, Speed: r.post.Speed, Channel: channel, Post: ts}
	view, err := formView(m)
	if err != nil {
		return false, err
	}
	return true, failed("open form", s.openView(ctx, trigger, view, until))
}

// errMayBeOpen says that nobody knows whether a form has opened.
var errMayBeOpen = errors.New("it may have opened all the same")

// openView tries as long as the trigger may be good.
func (s *Slack) openView(ctx context.Context, trigger string, view api.ModalViewRequest, until time.Time) error {
	ctx, stop := context.WithDeadline(ctx, until)
	defer stop()
	for unsure := false; ; {
		_, err := s.api.OpenViewContext(ctx, trigger, view)
		switch {
		case err == nil, unsure && code(err) == "exchanged_trigger_id": // an earlier try was done after all
			return nil
		}
		unsure = unsure || fateOf(err) == unknown && !errors.Is(err, errNoTurn)
		pause := max(wait(err), s.times.retry)
		if !refusedFor(err) && !time.Now().Add(pause).After(until) && sleep(ctx, pause) {
			continue
		}
		if unsure {
			return fmt.Errorf("%w (%w)", err, errMayBeOpen)
		}
		return err
	}
}

// sayNoFormTo tells whoever pressed a form's button that it did not open, or may not
// have: only them where that can be, else in the thread.
func (s *Slack) sayNoFormTo(ctx context.Context, i *inInteraction, why error) {
	words := sayNoForm
	if errors.Is(why, errMayBeOpen) {
		words = sayIfNoForm
	}
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return // we end
	}
	defer leave()
	_, err = s.api.PostEphemeralContext(ctx, i.channel(), i.User.ID, api.MsgOptionText(escape(words), false), api.MsgOptionTS(i.root()))
	if err == nil {
		return
	}
	s.log.Info("only the thread can be told that a form did not open", "channel", i.channel(), "err", plainly(err))
	a := aim{channel: i.channel(), root: i.root()}
	if err := s.sendPost(ctx, "form/"+i.Trigger, &a, &post{Kind: flow.Notice, Text: words}); err != nil && ctx.Err() == nil {
		s.log.Warn("nobody was told that a form did not open", "channel", i.channel(), "err", plainly(err))
	}
}
