package sqlite

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"milepost/bot"
)

// Erase deletes items and what only passed through of the batch's job, and
// commits the batch with it.
//
//	one transaction: items, plumbing, the entry; evidence to go is noted
//	  before its commit: the list of erased items, whole, to a new file
//	evidence files      if we crash before: the next start removes them
//	rewrite, truncate   if we crash before: the next start does it
//
// An error that is bot.ErrLingers comes after the commit.
func (s *Store) Erase(ctx context.Context, b *bot.Batch, items []bot.ItemRef) error {
	err := s.add(ctx, "erase", b, func(ctx context.Context) error {
		if err := s.eraseItems(ctx, b.Shop, items); err != nil {
			return err
		}
		if err := s.emptyJob(ctx, b); err != nil {
			return err
		}
		if err := s.setMeta(ctx, "scrub", "1"); err != nil {
			return err
		}
		return s.addErased(items)
	})
	if err != nil {
		return err
	}
	return s.clean(context.WithoutCancel(ctx))
}

// clean removes what an erasure left behind. Until it has been through, the note
// that it is to be done stays.
func (s *Store) clean(ctx context.Context) error {
	if err := s.take(ctx); err != nil {
		return fault("erase", err)
	}
	defer s.release()
	err := errors.Join(s.removeDoomed(ctx), s.scrub(ctx))
	if err != nil && !errors.Is(err, bot.ErrLingers) {
		err = fmt.Errorf("%w: %w", bot.ErrLingers, err)
	}
	return fault("erase", err)
}

// eraseItems deletes items. A file whose hash was one of them may go too.
func (s *Store) eraseItems(ctx context.Context, shop string, items []bot.ItemRef) error {
	for _, it := range items {
		gone, err := s.queryTexts(ctx, "DELETE FROM item WHERE shop = ? AND job = ? AND seq = ? AND label = ? RETURNING content", shop, it.Job, it.Seq, it.Label)
		if err != nil {
			return err
		}
		if err := s.doom(ctx, gone); err != nil {
			return err
		}
	}
	return nil
}

// emptyJob empties what only passed through of the batch's job. What the batch
// brings takes its place. A thread stays, or nobody could be answered; but not
// one that is named as a person is who is to be forgotten.
func (s *Store) emptyJob(ctx context.Context, b *bot.Batch) error {
	held, err := s.queryTexts(ctx, "SELECT sha256 FROM evidence WHERE shop = ? AND job = ?", b.Shop, b.Job)
	if err != nil {
		return err
	}
	if err := s.doom(ctx, held); err != nil {
		return err
	}
	for _, table := range []string{"outbox", "board", "found", "evidence"} {
		if _, err := s.conn.ExecContext(ctx, "DELETE FROM "+table+" WHERE shop = ? AND job = ?", b.Shop, b.Job); err != nil {
			return err
		}
	}
	for _, id := range b.Forget {
		if _, err := s.conn.ExecContext(ctx, "DELETE FROM current WHERE shop = ? AND identity = ?", b.Shop, string(id)); err != nil {
			return err
		}
		if _, err := s.conn.ExecContext(ctx, "DELETE FROM thread WHERE shop = ?1 AND job = ?2 AND ?3 IN (thread, network || ':' || thread)",
			b.Shop, b.Job, string(id)); err != nil {
			return err
		}
	}
	return nil
}

// doom notes files that may have to go. Those that are still held when the
// transaction is through will stay; see removeDoomed.
func (s *Store) doom(ctx context.Context, sums []string) error {
	for _, sum := range sums {
		if !isSum(sum) {
			continue
		}
		if _, err := s.conn.ExecContext(ctx, "INSERT INTO doomed (sha256) VALUES (?) ON CONFLICT DO NOTHING", sum); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) queryTexts(ctx context.Context, query string, args ...any) ([]string, error) {
	st, err := s.conn.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	return texts(ctx, st, args...)
}

// removeDoomed removes evidence that an erasure let go, unless any job holds it
// or any item speaks of it: the table of evidence is only an index.
func (s *Store) removeDoomed(ctx context.Context) error {
	sums, err := s.queryTexts(ctx, "SELECT sha256 FROM doomed")
	if err != nil || len(sums) == 0 {
		return err
	}
	s.files.Lock()
	defer s.files.Unlock()
	for _, sum := range sums {
		if s.isFresh(sum) {
			continue // somebody is sending it again just now
		}
		held, err := s.isHeld(ctx, sum)
		if err != nil {
			return err
		}
		if !held {
			if err := s.removeFile(sum); err != nil {
				return err
			}
		}
		if _, err := s.conn.ExecContext(ctx, "DELETE FROM doomed WHERE sha256 = ?", sum); err != nil {
			return err
		}
	}
	return nil
}

// isHeld says whether any job still speaks of evidence.
func (s *Store) isHeld(ctx context.Context, sum string) (held bool, err error) {
	err = s.conn.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM evidence WHERE sha256 = ?1)
		OR EXISTS (SELECT 1 FROM item WHERE instr(content, CAST(?1 AS BLOB)) > 0)`, sum).Scan(&held)
	return held, err
}

// scrub rewrites the database, without the free pages in which erased rows lie,
// and cuts the write-ahead log. It waits a while for readers, who hold old pages.
func (s *Store) scrub(ctx context.Context) error {
	if todo, err := s.meta(ctx, "scrub"); err != nil || todo == "" {
		return err
	}
	if _, err := s.conn.ExecContext(ctx, "VACUUM"); err != nil {
		return err
	}
	if err := s.truncateLog(ctx); err != nil {
		return err
	}
	return s.setMeta(ctx, "scrub", "")
}

// truncateLog brings the write-ahead log into the database and cuts it to nothing.
func (s *Store) truncateLog(ctx context.Context) error {
	for try := 0; ; try++ {
		var busy, log, moved int
		if err := s.conn.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &log, &moved); err != nil {
			return err
		}
		if busy == 0 {
			return nil
		}
		if try == 1 { // each has waited the busy time-out
			return fmt.Errorf("%w: a program that reads keeps old pages in use", bot.ErrLingers)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (s *Store) setMeta(ctx context.Context, name, value string) error {
	_, err := s.conn.ExecContext(ctx, "INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", name, value)
	return err
}

func (s *Store) meta(ctx context.Context, name string) (string, error) {
	v, err := s.queryTexts(ctx, "SELECT value FROM meta WHERE name = ?", name)
	return strings.Join(v, ""), err
}
