package slack

import (
	"context"
	"database/sql"
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
	old := a.root
	a.root = ""
	if !ok {
		if _, _, began := splitThread(bot.Thread(a.thread)); isTS(began) && began != old {
			a.root = began
		}
		return nil
	}
	as := *a
	as.card = true
	ts, now, err := s.cardAnew(ctx, key, as, &card.post)
	if err != nil {
		return err
	}
	a.root = ts
	return s.replanted(ctx, key, card, ts, now, true)
}

// afterKey begins the keys of a thread's cards that stand for deleted ones.
func afterKey(thread string) string { return thread + "/after/" }

// cardAnew posts a card once more, and that once: a try whose end is not known is
// looked for first. now says that it was posted by this very call, so looks like p.
func (s *Slack) cardAnew(ctx context.Context, key string, a aim, p *post) (ts string, now bool, err error) {
	ts, _, tried, err := s.state.sentAs(ctx, key)
	if err != nil || ts != "" {
		return ts, false, failed("post card anew", err)
	}
	row := rowID(key)
	if tried {
		if ts, err = s.look(ctx, a, row, key); err != nil || ts != "" {
			return ts, false, err
		}
	} else if err := s.state.trying(ctx, key, row, a.channel); err != nil {
		return "", false, failed("post card anew", err)
	}
	ts, err = s.postMessage(ctx, row, a, render(p))
	if err != nil && fateOf(err) == undone {
		return "", false, errors.Join(err, s.untry(ctx, key))
	}
	return ts, true, err
}

// replanted notes which post is a thread's card from now on.
func (s *Slack) replanted(ctx context.Context, key string, card shown, ts string, now, root bool) error {
	late := context.WithoutCancel(ctx)
	if err := errors.Join(s.state.replant(late, card, ts, now, root), s.state.posted(late, key, ts)); err != nil {
		return failed("post card anew", err)
	}
	s.mouth.wake()
	return nil
}

// replaceCard posts a card anew that was deleted. The caller has the channel's turn.
//
// A first message with replies leaves a tombstone on which they still hang, below
// which people go on writing, and a reply below another post would not be heard as
// this job's. So the new card goes below the old one, and the thread stays in one
// place. Only where that takes nothing any more the card is a new first message.
func (s *Slack) replaceCard(ctx context.Context, r shown) error {
	root, err := s.state.rootOf(ctx, r.thread)
	if err != nil {
		return err
	}
	if root == "" {
		return s.state.unshown(context.WithoutCancel(ctx), r) // the job was erased
	}
	s.log.Warn("a job's card is gone; it is posted anew", "channel", r.channel)
	a := aim{channel: r.channel, root: root, thread: r.thread, job: r.job}
	key := afterKey(r.thread) + "below/" + r.ts
	ts, now, err := s.cardAnew(ctx, key, a, &r.post)
	if is(err, rootless) {
		return s.newRoot(ctx, &a)
	}
	if err != nil {
		return err
	}
	return s.replanted(ctx, key, r, ts, now, false)
}

// isCard is the condition of a row of shown that is a card's.
const isCard = "instr(post, '\"Kind\":\"card\"') > 0"

// wantCard notes how a thread's card is to look, and gives the ts of the post that
// shows it: r's, unless another stands for it.
func (s *state) wantCard(ctx context.Context, r shown) (ts string, err error) {
	err = s.tx(ctx, func(tx *sql.Tx) error {
		list, err := shownOf(ctx, tx, "thread = ? AND channel = ? AND "+isCard+" ORDER BY ts DESC LIMIT 1", r.thread, r.channel)
		if err != nil {
			return err
		}
		if len(list) > 0 {
			r.ts = list[0].ts
		}
		return putShown(ctx, tx, r, true)
	})
	return r.ts, err
}

// uproot gives a thread's card, which is kept until there is another. Where none is
// known the thread's first message is forgotten, if that is the one named.
func (s *state) uproot(ctx context.Context, thread, ts string) (card shown, ok bool, err error) {
	card, ok, err = s.oneShown(ctx, "thread = ? AND "+isCard+" ORDER BY ts DESC LIMIT 1", thread)
	if err == nil && !ok {
		_, err = s.db.ExecContext(ctx, "DELETE FROM root WHERE thread = ? AND ts = ?", thread, ts)
	}
	return card, ok, err
}

// replant makes another post a thread's card, and where root is set its first
// message. What the card is to look like by now stays wanted; so it does if it is not
// known how the post looks.
func (s *state) replant(ctx context.Context, card shown, ts string, known, root bool) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if root {
			if _, err := tx.ExecContext(ctx, "UPDATE root SET channel = ?, ts = ? WHERE thread = ?", card.channel, ts, card.thread); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM shown WHERE thread = ? AND "+isCard+" AND ts <> ?", card.thread, card.ts); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "UPDATE shown SET ts = ?, stale = iif(rev = ? AND ?, 0, 1), rev = rev + 1 WHERE channel = ? AND ts = ?",
			ts, card.rev, known, card.channel, card.ts)
		return err
	})
}
