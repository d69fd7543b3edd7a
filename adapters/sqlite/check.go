package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot/journal"
)

// tailLeaves is how many leaves at the end of each shop's log are checked at the
// start.
const tailLeaves = 64

func damaged(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrDamaged, fmt.Sprintf(format, args...))
}

// quickCheck is SQLite's own look at the database's structure.
func quickCheck(ctx context.Context, q querier) error {
	var result string
	if err := q.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&result); err != nil {
		return fault("check database", err)
	}
	if result != "ok" {
		return damaged("%s", result)
	}
	return nil
}

// checkTails checks the end of each shop's log in a time that does not grow with
// it: the last leaves against the tree and the chain of their jobs, the tree
// against the last head.
func (s *Store) checkTails(ctx context.Context) error {
	if err := s.checkLast(ctx); err != nil {
		return fault("check log", err)
	}
	shops, err := s.shops(ctx)
	for _, shop := range shops {
		if err == nil {
			err = s.checkTail(ctx, shop)
		}
		if err != nil {
			return fault("check log of shop "+shop, err)
		}
	}
	return fault("check log", err)
}

// checkLast checks that the entry written last is in its shop's tree.
func (s *Store) checkLast(ctx context.Context) error {
	var shop string
	var n int64
	err := s.reader.QueryRowContext(ctx, "SELECT shop, n FROM leaf ORDER BY id DESC LIMIT 1").Scan(&shop, &n)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	t, err := s.tree(ctx, shop)
	if err == nil && n >= t.size {
		err = damaged("entry %d of shop %s is there, its tree has %d", n, shop, t.size)
	}
	return err
}

// shops lists the shops that have a log, by skipping through the index.
func (s *Store) shops(ctx context.Context) ([]string, error) {
	st, err := s.reader.PrepareContext(ctx, `WITH RECURSIVE s(shop) AS (
		SELECT min(shop) FROM hash UNION ALL
		SELECT (SELECT min(shop) FROM hash WHERE hash.shop > s.shop) FROM s WHERE s.shop IS NOT NULL)
		SELECT shop FROM s WHERE shop IS NOT NULL`)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	return texts(ctx, st)
}

type leafRow struct {
	job    string
	seq, n int64
	bytes  []byte
}

// eachLeaf runs a query for leaves.
func (s *Store) eachLeaf(ctx context.Context, query string, f func(leafRow) error, args ...any) error {
	st, err := s.reader.PrepareContext(ctx, query)
	if err != nil {
		return err
	}
	defer st.Close()
	return each(ctx, st, func(r *sql.Rows) error {
		var l leafRow
		if err := r.Scan(&l.job, &l.seq, &l.n, &l.bytes); err != nil {
			return err
		}
		return f(l)
	}, args...)
}

func (s *Store) checkTail(ctx context.Context, shop string) error {
	// In this order: beside a running program the head is not over leaves that
	// the tree read after it has not, and later leaves are passed over.
	note, given, err := text(ctx, s.read.lastHead, shop)
	if err != nil {
		return err
	}
	t, err := s.tree(ctx, shop)
	if err != nil {
		return err
	}
	edge, err := journal.LoadEdge(t.size, t)
	if err != nil {
		return err
	}
	root, err := edge.Root()
	if err != nil {
		return err
	}
	if given {
		if err := checkHead(note, t, root); err != nil {
			return err
		}
	}
	var tail []leafRow
	err = s.eachLeaf(ctx, `SELECT coalesce(l.job, ''), coalesce(l.seq, 0), coalesce(l.n, -1), coalesce(l.bytes, x'')
		FROM hash h LEFT JOIN leaf l ON l.id = h.leaf WHERE h.shop = ? AND h.n < ? ORDER BY h.n DESC LIMIT ?`, func(l leafRow) error {
		tail = append(tail, l)
		return nil
	}, shop, t.size, tailLeaves)
	if err != nil {
		return err
	}
	for i, l := range tail {
		if n := t.size - 1 - int64(i); l.n < 0 {
			return damaged("entry %d of %d is not there", n, t.size)
		} else if l.n != n {
			return damaged("entry %s/%d at %d stands in the place of %d", l.job, l.seq, l.n, n)
		}
		if err := s.checkLeaf(ctx, shop, t, l); err != nil {
			return err
		}
	}
	return nil
}

// checkLeaf checks one leaf against the tree and the one before it in its job.
func (s *Store) checkLeaf(ctx context.Context, shop string, t *tree, l leafRow) error {
	h, err := t.ReadHashes([]int64{tlog.StoredHashIndex(0, l.n)})
	if err != nil {
		return err
	}
	if h[0] != tlog.RecordHash(l.bytes) {
		return damaged("entry %s/%d is not the one in the tree at %d", l.job, l.seq, l.n)
	}
	parsed, err := journal.Parse(l.bytes)
	if err != nil {
		return damaged("entry %s/%d: %v", l.job, l.seq, err)
	}
	if parsed.Shop != shop || parsed.Job != l.job || parsed.Seq != l.seq {
		return damaged("entry %s/%d of shop %s stands in the place of %s/%d", parsed.Job, parsed.Seq, parsed.Shop, l.job, l.seq)
	}
	if l.seq == 1 {
		return nil
	}
	var before []byte
	err = s.reader.QueryRowContext(ctx, "SELECT bytes FROM leaf WHERE shop = ? AND job = ? AND seq = ?", shop, l.job, l.seq-1).Scan(&before)
	if errors.Is(err, sql.ErrNoRows) {
		return damaged("entry %s/%d has none before it", l.job, l.seq)
	}
	if err != nil {
		return err
	}
	if parsed.Prev != journal.Hash(before) {
		return damaged("entry %s/%d does not go on from the one before it", l.job, l.seq)
	}
	return nil
}

// checkHead checks the tree against a head that left the house. Its signature is
// for those to check who have the key.
func checkHead(note string, t *tree, root tlog.Hash) error {
	signed, _, _ := strings.Cut(note, "\n\n")
	h, err := journal.ParseHead(signed + "\n")
	if err != nil {
		return damaged("a head that was given out can't be read: %v", err)
	}
	if h.Size > t.size {
		return damaged("a head over %d entries was given out, the log has %d", h.Size, t.size)
	}
	if h.Size != t.size {
		if root, err = journal.Root(h.Size, t); err != nil {
			return err
		}
	}
	if root != h.Root {
		return damaged("the log does not agree with the head over %d entries that was given out", h.Size)
	}
	return nil
}
