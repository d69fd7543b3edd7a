package slack

import (
	"context"
	"errors"

	"milepost/bot"
)

// newRoot gives a thread whose first message was deleted another one: its card
// anew, unless it has one by now. Where no card is known, what is said goes below the
// message that began the job, and where that is gone too to the channel. Whoever
// calls has the channel's turn.
func (s *Slack) newRoot(ctx context.Context, a *aim) error {
	root, err := s.state.rootOf(ctx, a.thread)
	if err != nil {
		return failed("begin thread anew", err)
	}
	if root != "" && root != a.root {
		a.root = root
		return nil
	}
	s.log.Warn("a thread's first message is gone; it begins anew", "channel", a.channel)
	card, ok, err := s.state.uproot(ctx, a.thread, a.root)
	if err != nil {
		return failed("begin thread anew", err)
	}
	key := afterKey(a.thread) + a.root
	lost := a.root
	a.root = ""
	if !ok {
		if _, _, began := splitThread(bot.Thread(a.thread)); isTS(began) && began != lost {
			a.root = began
		}
		return nil
	}
	as := *a
	as.card = true
	ts, err := s.cardAnew(ctx, key, as, &card.post)
	if err != nil {
		return err
	}
	card.ts, a.root = ts, ts
	late := context.WithoutCancel(ctx)
	if err := errors.Join(s.state.replant(late, card), s.state.posted(late, key, ts)); err != nil {
		return failed("begin thread anew", err)
	}
	return nil
}

// afterKey begins the keys of a thread's cards that stand for deleted ones.
func afterKey(thread string) string { return thread + "/after/" }

// cardAnew posts a card once more, and that once: a try whose end is not known is
// looked for first.
func (s *Slack) cardAnew(ctx context.Context, key string, a aim, p *post) (string, error) {
	ts, _, tried, err := s.state.sentAs(ctx, key)
	if err != nil || ts != "" {
		return ts, failed("begin thread anew", err)
	}
	row := rowID(key)
	if tried {
		if ts, err = s.look(ctx, a, row, key); err != nil || ts != "" {
			return ts, err
		}
	} else if err := s.state.trying(ctx, key, row, a.channel); err != nil {
		return "", failed("begin thread anew", err)
	}
	ts, err = s.postMessage(ctx, row, a, render(p))
	if err != nil && fateOf(err) == undone {
		return "", errors.Join(err, s.untry(ctx, key))
	}
	return ts, err
}
