package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"milepost/bot"
	"milepost/bot/journal"
)

// readStatements are prepared on each connection that reads, at its first use.
type readStatements struct {
	leaves, items, itemsOf, delivered, unsent    *sql.Stmt
	current                                      *sql.Stmt
	threads, threadJob, board, found, jobs       *sql.Stmt
	holders, size, hash, hashes, heads, lastHead *sql.Stmt
}

func (r *readStatements) prepare(ctx context.Context, db *sql.DB) error {
	for _, p := range []struct {
		to    **sql.Stmt
		query string
	}{
		{&r.leaves, "SELECT seq, n, bytes FROM leaf WHERE shop = ? AND job = ? AND seq > ? ORDER BY seq"},
		{&r.items, "SELECT seq, label, salt, content FROM item WHERE shop = ? AND job = ? AND seq > ? ORDER BY seq, label"},
		{&r.itemsOf, "SELECT label, salt, content FROM item WHERE shop = ? AND job = ? AND seq = ?"},
		{&r.delivered, "SELECT job FROM delivery WHERE shop = ? AND key = ?"},
		{&r.unsent, "SELECT key, shop, job, network, thread, payload FROM outbox ORDER BY id LIMIT ?"},
		{&r.current, "SELECT job FROM current WHERE shop = ? AND identity = ?"},
		{&r.threads, "SELECT network, thread, role FROM thread WHERE shop = ? AND job = ? ORDER BY id"},
		{&r.threadJob, "SELECT job FROM thread WHERE shop = ? AND network = ? AND thread = ? ORDER BY id DESC LIMIT 1"},
		{&r.board, "SELECT job, open, since, wake, seq, prev, data FROM board WHERE shop = ? AND open >= ? ORDER BY since, job"},
		{&r.found, `SELECT f.job FROM found f LEFT JOIN leaf l ON l.shop = f.shop AND l.job = f.job AND l.seq = 1
			WHERE f.shop = ? AND f.key = ? ORDER BY l.id DESC`},
		{&r.jobs, "SELECT job FROM leaf WHERE shop = ? AND seq = 1 ORDER BY id"},
		{&r.holders, `SELECT e.job FROM evidence e LEFT JOIN leaf l ON l.shop = e.shop AND l.job = e.job AND l.seq = 1
			WHERE e.shop = ? AND e.sha256 = ? ORDER BY l.id`},
		{&r.size, "SELECT coalesce(max(n) + 1, 0) FROM hash WHERE shop = ?"},
		{&r.hash, "SELECT hashes FROM hash WHERE shop = ? AND n = ?"},
		{&r.hashes, "SELECT n, hashes FROM hash WHERE shop = ? AND n BETWEEN ? AND ?"},
		{&r.heads, "SELECT size, note, time FROM head WHERE shop = ? ORDER BY size, id"},
		{&r.lastHead, "SELECT note FROM head WHERE shop = ? ORDER BY size DESC, id DESC LIMIT 1"},
	} {
		var err error
		if *p.to, err = db.PrepareContext(ctx, p.query); err != nil {
			return err
		}
	}
	return nil
}

// each runs a query and hands each row to scan.
func each(ctx context.Context, q *sql.Stmt, scan func(*sql.Rows) error, args ...any) error {
	rows, err := q.QueryContext(ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// texts runs a query for one text a row.
func texts(ctx context.Context, q *sql.Stmt, args ...any) ([]string, error) {
	var out []string
	err := each(ctx, q, func(r *sql.Rows) error {
		var s string
		err := r.Scan(&s)
		out = append(out, s)
		return err
	}, args...)
	return out, err
}

// text runs a query for one text, "" if there is no row.
func text(ctx context.Context, q *sql.Stmt, args ...any) (string, bool, error) {
	var s string
	err := q.QueryRowContext(ctx, args...).Scan(&s)
	if errors.Is(err, sql.ErrNoRows) {
		return "", false, nil
	}
	return s, err == nil, err
}

// Entries gives a job's leaves after a sequence. The items are read after the
// leaves: one erased between is not there, as it will not be from now on.
func (s *Store) Entries(ctx context.Context, shop, job string, after int64) ([]bot.Stored, error) {
	var out []bot.Stored
	err := each(ctx, s.read.leaves, func(r *sql.Rows) error {
		var e bot.Stored
		err := r.Scan(&e.Seq, &e.Index, &e.Bytes)
		out = append(out, e)
		return err
	}, shop, job, after)
	if err != nil || len(out) == 0 {
		return nil, fault("read entries", err)
	}
	i := 0
	err = each(ctx, s.read.items, func(r *sql.Rows) error {
		var seq int64
		var salt sql.RawBytes
		var it journal.Item
		if err := r.Scan(&seq, &it.Label, &salt, &it.Content); err != nil {
			return err
		}
		if len(salt) != journal.SaltSize {
			return fmt.Errorf("item %s/%d/%s: %w: salt of %d bytes", job, seq, it.Label, ErrDamaged, len(salt))
		}
		copy(it.Salt[:], salt)
		for i < len(out) && out[i].Seq < seq {
			i++
		}
		if i < len(out) && out[i].Seq == seq {
			out[i].Items = append(out[i].Items, it)
		}
		return nil
	}, shop, job, after)
	if err != nil {
		return nil, fault("read items", err)
	}
	return out, nil
}

// Delivered says whether a delivery was handled before, and in which job.
func (s *Store) Delivered(ctx context.Context, shop, key string) (string, bool, error) {
	job, ok, err := text(ctx, s.read.delivered, shop, key)
	return job, ok, fault("find delivery", err)
}

// Unsent gives outgoing rows, oldest first.
func (s *Store) Unsent(ctx context.Context, limit int) ([]bot.OutRow, error) {
	var out []bot.OutRow
	err := each(ctx, s.read.unsent, func(r *sql.Rows) error {
		var o bot.OutRow
		err := r.Scan(&o.Key, &o.Shop, &o.Job, &o.Network, &o.Thread, &o.Payload)
		out = append(out, o)
		return err
	}, limit)
	return out, fault("read outbox", err)
}

// MarkSent deletes rows that went out: they were said, and stand in the log.
func (s *Store) MarkSent(ctx context.Context, keys []string) error {
	if len(keys) == 0 {
		return nil
	}
	if err := s.take(ctx); err != nil {
		return fault("mark sent", err)
	}
	defer s.release()
	ctx = context.WithoutCancel(ctx)
	return fault("mark sent", s.transact(ctx, func() error {
		for _, k := range keys {
			if _, err := s.write.sent.ExecContext(ctx, k); err != nil {
				return err
			}
		}
		return nil
	}))
}

// Current gives the job an identity is working in.
func (s *Store) Current(ctx context.Context, shop string, id bot.Identity) (string, error) {
	job, _, err := text(ctx, s.read.current, shop, string(id))
	return job, fault("read current job", err)
}

// Threads gives a job's threads in the order they joined.
func (s *Store) Threads(ctx context.Context, shop, job string) ([]bot.JobThread, error) {
	var out []bot.JobThread
	err := each(ctx, s.read.threads, func(r *sql.Rows) error {
		var t bot.JobThread
		err := r.Scan(&t.Network, &t.Thread, &t.For)
		out = append(out, t)
		return err
	}, shop, job)
	return out, fault("read threads", err)
}

// ThreadJob gives the job that a thread joined last.
func (s *Store) ThreadJob(ctx context.Context, shop, network string, t bot.Thread) (string, error) {
	job, _, err := text(ctx, s.read.threadJob, shop, network, string(t))
	return job, fault("find job of thread", err)
}

// Known gives the jobs found under a key, those begun last first.
func (s *Store) Known(ctx context.Context, shop, key string) ([]string, error) {
	jobs, err := texts(ctx, s.read.found, shop, key)
	return jobs, fault("find jobs", err)
}

// Jobs lists every job of a shop in the order they began.
func (s *Store) Jobs(ctx context.Context, shop string) ([]string, error) {
	jobs, err := texts(ctx, s.read.jobs, shop)
	return jobs, fault("list jobs", err)
}

// EvidenceJobs lists the jobs that hold evidence.
func (s *Store) EvidenceJobs(ctx context.Context, shop, sha256 string) ([]string, error) {
	jobs, err := texts(ctx, s.read.holders, shop, sha256)
	return jobs, fault("find jobs of evidence", err)
}
