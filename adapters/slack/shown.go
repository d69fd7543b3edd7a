package slack

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"milepost/adapters/own"
	"milepost/bot"
	"milepost/flow"
)

// What our posts offer is kept until it has given way: an answered question
// shows what was chosen instead of its buttons.

// shown is a post of ours as it is kept.
type shown struct {
	channel, ts, thread, job string
	rev                      int64
	at                       time.Time // since when it is to look so
	post                     post
}

// outcome notes in one transaction that a message is out, and what it offers.
func (s *state) outcome(ctx context.Context, key string, r shown, keep bool) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "UPDATE sent SET ts = ? WHERE key = ?", r.ts, key); err != nil {
			return err
		}
		if !keep {
			return nil
		}
		return putShown(ctx, tx, r, false)
	})
}

func putShown(ctx context.Context, tx *sql.Tx, r shown, stale bool) error {
	b, err := json.Marshal(r.post)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO shown (channel, ts, thread, job, post, at, stale, rev) VALUES (?, ?, ?, ?, ?, ?, ?, 1)
		ON CONFLICT (channel, ts) DO UPDATE SET post = excluded.post, at = iif(stale = 1, at, excluded.at), stale = excluded.stale, rev = rev + 1`,
		r.channel, r.ts, r.thread, r.job, string(b), time.Now().UnixMilli(), stale)
	return err
}

// shownOf reads posts of ours by a condition.
func shownOf(ctx context.Context, q interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}, where string, args ...any) (list []shown, err error) {
	rows, err := q.QueryContext(ctx, "SELECT channel, ts, thread, job, rev, at, post FROM shown WHERE "+where, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var r shown
		var post string
		var ms int64
		if err := rows.Scan(&r.channel, &r.ts, &r.thread, &r.job, &r.rev, &ms, &post); err != nil {
			return nil, err
		}
		r.at = time.UnixMilli(ms)
		if err := json.Unmarshal([]byte(post), &r.post); err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, rows.Err()
}

// giveWay marks the posts whose question is done with, now that out is known.
// It says whether any is to look different.
func (s *state) giveWay(ctx context.Context, out *bot.Outbound) (changed bool, err error) {
	if out.Job == "" {
		return false, nil
	}
	err = s.tx(ctx, func(tx *sql.Tx) error {
		list, err := shownOf(ctx, tx, "job = ?", out.Job)
		if err != nil {
			return err
		}
		for i := range list {
			r := &list[i]
			if r.post.Kind == flow.Card || r.post.settled() || !r.post.giveWay(out) {
				continue
			}
			if err := putShown(ctx, tx, *r, true); err != nil {
				return err
			}
			changed = true
		}
		return nil
	})
	return changed, err
}

// settled says whether a post will never look different again.
func (p *post) settled() bool { return p.Over || p.Done && p.Form == "" }

// giveWay settles a question with what came after it, and says whether it is to
// look different now.
func (p *post) giveWay(out *bot.Outbound) bool {
	if out.Log <= p.Log {
		return false // of the same turn or an earlier one
	}
	took := p.takenIn(out)
	moved := out.Asked.Ask > p.Ask || out.Reply.Kind == flow.Card && out.Reply.Phase == flow.PhaseClosed
	if !moved && took == nil {
		return false
	}
	if took != nil {
		p.Picked, p.By = took.Label, took.Name
	}
	p.Done, p.Over, p.Picks = true, p.Over || moved, nil
	return true
}

// takenIn gives the choice that was taken, nil if none was: the one made by the
// message that out follows from, if that is the one the question was answered by.
func (p *post) takenIn(out *bot.Outbound) *pick {
	for i := range p.Picks {
		if x := &p.Picks[i]; out.Took != "" && x.Delivery == out.After && flow.TapChoice(x.Send) == out.Took {
			return x
		}
	}
	return nil
}

// tapped notes who chose what on a post of ours, before the core has judged it.
func (s *state) tapped(ctx context.Context, channel, ts string, by pick) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		list, err := shownOf(ctx, tx, "channel = ? AND ts = ?", channel, ts)
		if err != nil {
			return err
		}
		for _, r := range list {
			for _, c := range r.post.Choices {
				if c.Send == by.Send && !r.post.Done {
					by.Label = c.Label
					r.post.pick(by)
					return putShown(ctx, tx, r, false)
				}
			}
		}
		return nil
	})
}

// typed does the same for a choice that was typed, by its number or label. A
// number that is a line of a checklist chooses nothing.
func (s *state) typed(ctx context.Context, thread, text string, by pick) error {
	text = strings.TrimSpace(text)
	if text == "" || len(text) > 200 {
		return nil
	}
	n, numErr := strconv.Atoi(text)
	return s.tx(ctx, func(tx *sql.Tx) error {
		list, err := shownOf(ctx, tx, "thread = ? ORDER BY ts DESC", thread)
		if err != nil {
			return err
		}
		for _, r := range list {
			if r.post.Kind == flow.Card || r.post.Done {
				continue
			}
			for i, c := range r.post.Choices {
				if strings.EqualFold(oneLine(c.Label), text) || numErr == nil && n == i+1 && !r.post.Bare {
					by.Label, by.Send = c.Label, c.Send
					r.post.pick(by)
					return putShown(ctx, tx, r, false)
				}
			}
			return nil // only the latest question can be meant
		}
		return nil
	})
}

// stale gives the posts that are to look different, answered questions before
// cards, oldest first.
func (s *state) stale(ctx context.Context, limit int) ([]shown, error) {
	return shownOf(ctx, s.db, "stale = 1 ORDER BY instr(post, '\"Kind\":\"card\"'), at LIMIT ?", limit)
}

// fresh notes that Slack has a post as it is kept, unless it has changed
// meanwhile. A question that has given way need not be kept.
func (s *state) fresh(ctx context.Context, r shown) error {
	if r.post.settled() {
		_, err := s.db.ExecContext(ctx, "DELETE FROM shown WHERE channel = ? AND ts = ? AND rev = ?", r.channel, r.ts, r.rev)
		return err
	}
	_, err := s.db.ExecContext(ctx, "UPDATE shown SET stale = 0 WHERE channel = ? AND ts = ? AND rev = ?", r.channel, r.ts, r.rev)
	return err
}

// unshown forgets a post that can't be changed any more.
func (s *state) unshown(ctx context.Context, r shown) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM shown WHERE channel = ? AND ts = ?", r.channel, r.ts)
	return err
}

// shownAt gives a post of ours that is kept.
func (s *state) shownAt(ctx context.Context, channel, ts string) (r shown, ok bool, err error) {
	return s.oneShown(ctx, "channel = ? AND ts = ?", channel, ts)
}

// staleAt gives it if it is to look different.
func (s *state) staleAt(ctx context.Context, channel, ts string) (r shown, ok bool, err error) {
	return s.oneShown(ctx, "channel = ? AND ts = ? AND stale = 1", channel, ts)
}

func (s *state) oneShown(ctx context.Context, where string, args ...any) (shown, bool, error) {
	list, err := shownOf(ctx, s.db, where, args...)
	if err != nil || len(list) == 0 {
		return shown{}, false, err
	}
	return list[0], true, nil
}

// setOpen notes whether a thread's job is open: what was missed is read back in
// open ones.
func (s *state) setOpen(ctx context.Context, thread string, open bool) error {
	_, err := s.db.ExecContext(ctx, "UPDATE root SET open = ?2, closed = ?3 WHERE thread = ?1 AND open <> ?2", thread, open, time.Now().UnixMilli())
	return err
}

// untry takes back the note of a try that certainly came to nothing.
func (s *state) untry(ctx context.Context, key string) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM sent WHERE key = ? AND ts = '' AND more = ''", key)
	return err
}

// triedAt is when a message was first tried.
func (s *state) triedAt(ctx context.Context, key string) (time.Time, error) {
	var ms int64
	err := s.db.QueryRowContext(ctx, "SELECT at FROM sent WHERE key = ?", key).Scan(&ms)
	return time.UnixMilli(ms), own.IgnoreNone(err)
}

// Marks of posts are kept so long.
const keepSent, keepShown = 30 * 24 * time.Hour, 90 * 24 * time.Hour

// prune deletes marks of long ago.
func (s *state) prune(ctx context.Context, now time.Time) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM sent WHERE at < ?", now.Add(-keepSent).UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "DELETE FROM shown WHERE at < ?", now.Add(-keepShown).UnixMilli())
		return err
	})
}
