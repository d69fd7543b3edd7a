package slack

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"milepost/bot"
)

// Forget removes what passed through here of a job or a person: what came in and
// lies in the inbox, what could not be read, what our posts show, who wrote what.
// On return it is in no byte of the state directory. Slack's own history is out
// of reach. It works whether Run runs or not.
func (s *Slack) Forget(ctx context.Context, f bot.Forgotten) error {
	st, leave, err := s.stateToForget(ctx)
	if err != nil || st == nil {
		return err
	}
	defer leave()
	unread, aside, err := st.forget(ctx, f)
	if err != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("forget: %w", err)}
	}
	if unread+aside > 0 {
		s.log.Warn("with what was erased went deliveries that could not be read, or not be handled", "unread", unread, "not_handled", aside)
	}
	for _, id := range f.People {
		if _, user, ok := splitIdentity(id); ok {
			s.people.forget(user)
			s.alone.forget(user)
			s.mouth.homes.forget(user)
		}
	}
	s.mouth.homes.changed()
	if err := st.shrink(ctx); err != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("forget: %w: %w", bot.ErrLingers, err)}
	}
	return nil
}

// stateToForget gives the state: that of Run, or opened for the purpose. It is nil
// if there is none. While Run ends it has to wait.
func (s *Slack) stateToForget(ctx context.Context) (st *state, leave func(), err error) {
	for end := time.Now().Add(enterIn); ; {
		st, leave, err = s.stateNow(ctx)
		if err == nil || !errors.Is(err, errNotInside) || time.Now().After(end) || !sleep(ctx, 20*time.Millisecond) {
			return st, leave, err
		}
	}
}

func (s *Slack) stateNow(ctx context.Context) (*state, func(), error) {
	if _, err := os.Stat(filepath.Join(s.cfg.Dir, "slack.db")); errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if s.runs.Load() > 0 {
		return s.stateOfRun(ctx)
	}
	unlock, err := lock(s.cfg.Dir)
	var held *bot.Error
	switch {
	case errors.As(err, &held) && held.Kind == bot.Conflict:
		return s.stateOfRun(ctx) // it has just begun; for that of another process we wait in vain
	case err != nil:
		return nil, nil, err
	}
	st, err := openState(ctx, s.cfg.Dir)
	if err != nil {
		unlock()
		return nil, nil, err
	}
	return st, func() {
		if err := st.close(); err != nil {
			s.log.Error("close state", "err", err)
		}
		unlock()
	}, nil
}

// stateOfRun gives the state as Run has it.
func (s *Slack) stateOfRun(ctx context.Context) (*state, func(), error) {
	_, leave, err := s.enter(ctx)
	if err != nil {
		return nil, nil, err
	}
	return s.state, leave, nil
}

// splitIdentity takes an identity of ours apart.
func splitIdentity(id bot.Identity) (team, user string, ok bool) {
	rest, ours := strings.CutPrefix(string(id), NetworkName+":")
	team, user, ok = strings.Cut(rest, "/")
	return team, user, ours && ok && user != ""
}

// forget deletes the rows. That a message was taken in stays known by its channel
// and time: a repeat is still a repeat. It says how many deliveries went that could
// not be read, which may be anybody's words, or not be handled.
func (s *state) forget(ctx context.Context, f bot.Forgotten) (unread, aside int64, err error) {
	err = s.tx(ctx, func(tx *sql.Tx) error {
		do := func(query string, args ...any) error {
			_, err := tx.ExecContext(ctx, query, args...)
			return err
		}
		unread, aside = 0, 0
		for _, id := range append([]bot.Identity{""}, f.People...) {
			_, user, _ := splitIdentity(id)
			n, m, err := forgetAside(ctx, tx, f.Job, user)
			if unread, aside = unread+n, aside+m; err != nil {
				return err
			}
		}
		if f.Job != "" {
			for _, t := range f.Threads {
				_, channel, ts := splitThread(t)
				if err := do("DELETE FROM inbox WHERE lane = ?", channel+"/"+ts); err != nil {
					return err
				}
				if err := do("DELETE FROM shown WHERE thread = ? AND ? <> ''", string(t), ts); err != nil {
					return err
				}
				if err := do("DELETE FROM sent WHERE substr(key, 1, length(?1)) = ?1", afterKey(string(t))); err != nil {
					return err
				}
			}
			for _, query := range []string{
				"DELETE FROM inbox WHERE lane IN (SELECT channel || '/' || ts FROM root WHERE job = ?1)",
				"DELETE FROM shown WHERE job = ?1",
				"UPDATE seen SET user = '', parts = '' WHERE (channel, root) IN (SELECT channel, ts FROM root WHERE job = ?1)",
				"DELETE FROM sent WHERE substr(key, 1, length(?1) + 1) = ?1 || '/'",
				"DELETE FROM root WHERE job = ?1",
			} {
				if err := do(query, f.Job); err != nil {
					return err
				}
			}
		}
		for _, id := range f.People {
			_, user, ok := splitIdentity(id)
			if !ok {
				continue
			}
			for _, query := range []string{
				"DELETE FROM inbox WHERE user = ?1",
				"DELETE FROM shown WHERE instr(post, '\"' || ?1 || '\"') > 0",
				"UPDATE seen SET user = '', parts = '' WHERE user = ?1",
				// Whose sign it was is not known any more, and it still stands there.
				"INSERT OR IGNORE INTO seen (key, channel, at, came) SELECT 'q:' || channel || ':' || root, channel, at, came FROM seen " +
					"WHERE key >= 'r:' AND key < 'r;' AND instr(key, ':' || ?1 || ':') > 0",
				"DELETE FROM seen WHERE instr(key, ':' || ?1 || ':') > 0",
			} {
				if err := do(query, user); err != nil {
					return err
				}
			}
		}
		return nil
	})
	return unread, aside, err
}

// forgetAside deletes what could not be read, and of what could not be handled all
// but what is of another job's thread, or of another person and does not name the
// one that is erased.
func forgetAside(ctx context.Context, tx *sql.Tx, job, user string) (unread, aside int64, err error) {
	count := func(n *int64, query string, args ...any) {
		if err == nil {
			*n, err = changes(tx.ExecContext(ctx, query, args...))
		}
	}
	count(&unread, "DELETE FROM inbox WHERE state = ?", stateBad)
	switch {
	case user != "":
		count(&aside, "DELETE FROM inbox WHERE state = ?1 AND (user IN ('', ?2) OR instr(CAST(raw AS TEXT), ?2) > 0)", statePoison, user)
	case job != "":
		count(&aside, "DELETE FROM inbox WHERE state = ? AND lane NOT IN (SELECT channel || '/' || ts FROM root WHERE job <> ?)", statePoison, job)
	}
	return unread, aside, err
}

// shrink leaves nothing of what was deleted in the database's files.
func (s *state) shrink(ctx context.Context) error {
	for _, q := range []string{"PRAGMA wal_checkpoint(TRUNCATE)", "VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := s.db.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return nil
}
