package matrix

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Forget removes what passed through of a job or of people: messages on their
// way in, what our messages offered, which thread was which job's, who was seen.
// On return none of it is in any byte of the directory. The history that the
// homeserver keeps is not reached. It may be called without Run.
func (m *Matrix) Forget(ctx context.Context, f bot.Forgotten) error {
	r, leave := m.on.held()
	defer leave()
	var s *state
	if r != nil {
		s = r.state
	} else {
		stored, done, err := storedState(ctx, m.cfg.Dir)
		if err != nil {
			return storeFault(err)
		}
		defer done()
		s = stored
	}
	users := ourUsers(f.People)
	if s != nil {
		if err := s.forget(ctx, f, users); err != nil {
			return storeFault(fmt.Errorf("forget: %w", err))
		}
		if err := s.scrub(ctx); err != nil {
			return storeFault(fmt.Errorf("forget: %w", err))
		}
	}
	if r != nil {
		r.out.forget()
	}
	if len(users) == 0 {
		return nil
	}
	ids := make([]id.UserID, len(users))
	for i, u := range users {
		ids[i] = id.UserID(u)
	}
	if r != nil && r.cipher != nil {
		return storeFault(r.cipher.ForgetPeople(ctx, ids))
	}
	return storeFault(forgetStored(ctx, m.cfg, ids))
}

var _ bot.Forgetter = (*Matrix)(nil)

// ourUsers gives the users of this network among identities.
func ourUsers(people []bot.Identity) (users []string) {
	for _, p := range people {
		if u, ok := strings.CutPrefix(string(p), NetworkName+":"); ok {
			users = append(users, u)
		}
	}
	return users
}

// forget deletes the rows, in one transaction. That an event was seen stays,
// without who sent it: it must not come in again. The message that began the job
// loses its lane, so that the thread is looked for if the job goes on.
func (s *state) forget(ctx context.Context, f bot.Forgotten, users []string) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		var lanes []string
		if f.Job != "" {
			roots, err := strs(ctx, tx, "SELECT event FROM root WHERE job = ?", f.Job)
			if err != nil {
				return err
			}
			lanes = roots
		}
		for _, t := range f.Threads {
			if f.Job == "" {
				break // of a person only what he wrote
			}
			roots, err := strs(ctx, tx, "SELECT event FROM root WHERE thread = ?", string(t))
			if err != nil {
				return err
			}
			lanes = append(lanes, roots...)
			if _, begins := splitThread(t); begins != "" {
				if err := each(ctx, tx, begins, "DELETE FROM inbox WHERE event = ?", "UPDATE seen SET sender = '', lane = '' WHERE event = ?"); err != nil {
					return err
				}
			}
			if err := each(ctx, tx, string(t), "DELETE FROM root WHERE thread = ?", "DELETE FROM shown WHERE thread = ?"); err != nil {
				return err
			}
		}
		slices.Sort(lanes)
		for _, l := range slices.Compact(lanes) {
			if err := each(ctx, tx, l, "DELETE FROM inbox WHERE lane = ?", "UPDATE seen SET sender = '' WHERE lane = ?"); err != nil {
				return err
			}
		}
		if f.Job != "" {
			if err := each(ctx, tx, f.Job, "DELETE FROM shown WHERE job = ?", "DELETE FROM root WHERE job = ?"); err != nil {
				return err
			}
			key := f.Shop + "/" + f.Job + "/"
			if err := each(ctx, tx, key, "DELETE FROM sent WHERE substr(key, 1, length(?1)) = ?1"); err != nil {
				return err
			}
		}
		for _, u := range users {
			if err := each(ctx, tx, u, "DELETE FROM inbox WHERE sender = ?", "UPDATE seen SET sender = '' WHERE sender = ?"); err != nil {
				return err
			}
		}
		return nil
	})
}

// each runs statements of one argument.
func each(ctx context.Context, tx *sql.Tx, arg string, statements ...string) error {
	for _, q := range statements {
		if _, err := tx.ExecContext(ctx, q, arg); err != nil {
			return err
		}
	}
	return nil
}

func strs(ctx context.Context, tx *sql.Tx, query, arg string) (out []string, err error) {
	rows, err := tx.QueryContext(ctx, query, arg)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var v string
		if err := rows.Scan(&v); err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// scrub removes deleted words from the disk: pages are written anew, then the
// log beside the database is cut.
func (s *state) scrub(ctx context.Context) error {
	if _, err := s.db.ExecContext(ctx, "VACUUM"); err != nil {
		return err
	}
	var busy, log, moved int
	if err := s.db.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &log, &moved); err != nil {
		return err
	}
	if busy != 0 {
		return errors.New("the database is in use by another program: its log could not be cut")
	}
	return nil
}

// forget lets go of what is in memory of threads.
func (o *outward) forget() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.looked, o.found = nil, nil
}
