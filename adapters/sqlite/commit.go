package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
	"milepost/bot/journal"
)

// writeStatements are prepared on the one connection that writes.
type writeStatements struct {
	begin, commit, rollback                *sql.Stmt
	delivery, last                         *sql.Stmt
	leaf, hash, item                       inserter
	outbox, sent                           *sql.Stmt
	board, current, thread, found, holding *sql.Stmt

	all []*sql.Stmt
}

func (w *writeStatements) prepare(ctx context.Context, conn *sql.Conn) error {
	for _, p := range []struct {
		to    **sql.Stmt
		query string
	}{
		{&w.begin, "BEGIN IMMEDIATE"},
		{&w.commit, "COMMIT"},
		{&w.rollback, "ROLLBACK"},
		{&w.delivery, "INSERT INTO delivery (shop, key, job) VALUES (?, ?, ?)"},
		{&w.last, "SELECT coalesce(max(seq), 0) FROM leaf WHERE shop = ? AND job = ?"},
		{&w.outbox, "INSERT INTO outbox (key, shop, job, network, thread, payload) VALUES (?, ?, ?, ?, ?, ?)"},
		{&w.sent, "DELETE FROM outbox WHERE key = ?"},
		{&w.board, `INSERT INTO board (shop, job, open, since, wake, seq, prev, data) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET open = excluded.open, since = excluded.since, wake = excluded.wake,
			seq = excluded.seq, prev = excluded.prev, data = excluded.data`},
		{&w.current, "INSERT INTO current (shop, identity, job) VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET job = excluded.job"},
		{&w.thread, "INSERT INTO thread (shop, job, network, thread, role) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET role = excluded.role"},
		{&w.found, "INSERT INTO found (shop, key, job) VALUES (?, ?, ?) ON CONFLICT DO NOTHING"},
		{&w.holding, "INSERT INTO evidence (shop, sha256, job) VALUES (?, ?, ?) ON CONFLICT DO NOTHING"},
	} {
		st, err := conn.PrepareContext(ctx, p.query)
		if err != nil {
			return err
		}
		*p.to, w.all = st, append(w.all, st)
	}
	for _, p := range []struct {
		to      *inserter
		insert  string
		columns int
	}{
		{&w.leaf, "INSERT INTO leaf (shop, job, seq, n, bytes)", 5},
		{&w.hash, "INSERT INTO hash (shop, n, hashes, leaf)", 4},
		{&w.item, "INSERT INTO item (shop, job, seq, label, salt, content)", 6},
	} {
		sts, err := p.to.prepare(ctx, conn, p.insert, p.columns)
		if err != nil {
			return err
		}
		w.all = append(w.all, sts...)
	}
	return nil
}

// close closes the statements. The connection would not do it by itself, and
// with one of them open SQLite leaves its write-ahead log behind.
func (w *writeStatements) close() error {
	var errs []error
	for _, st := range w.all {
		errs = append(errs, st.Close())
	}
	return errors.Join(errs...)
}

// Commit adds a batch in one transaction, durable on return. A known delivery is
// found before a wrong sequence: a repeat is a repeat, wherever the job stands.
func (s *Store) Commit(ctx context.Context, b *bot.Batch) error {
	return s.add(ctx, "commit", b, nil)
}

// add is Commit with more to be done first in the same transaction.
func (s *Store) add(ctx context.Context, op string, b *bot.Batch, first func(context.Context) error) error {
	if err := s.take(ctx); err != nil {
		return fault(op, err)
	}
	defer s.release()
	// From here on the caller can't break off: it would not know what holds.
	ctx = context.WithoutCancel(ctx)

	edge, err := s.edge(ctx, b.Shop)
	if err != nil {
		return fault(op, err)
	}
	next := *edge
	if err := s.transact(ctx, func() error {
		if err := s.expect(ctx, b); err != nil {
			return err
		}
		if first != nil {
			if err := first(ctx); err != nil {
				return err
			}
		}
		if err := s.addLeaves(ctx, b, &next); err != nil {
			return err
		}
		return s.addBeside(ctx, b)
	}); err != nil {
		return fault(op, err)
	}
	s.edges[b.Shop] = &next
	s.remember(b)
	return nil
}

// transact runs f in a transaction. After an error nothing of it stands; what is
// kept in memory is read again, as it is all that could be wrong.
func (s *Store) transact(ctx context.Context, f func() error) error {
	if _, err := s.write.begin.ExecContext(ctx); err != nil {
		return err
	}
	err := f()
	if err == nil {
		if _, err = s.write.commit.ExecContext(ctx); err == nil {
			return nil
		}
	}
	clear(s.edges)
	clear(s.last)
	// On a full disk SQLite may have rolled back by itself, and this then fails.
	_, _ = s.write.rollback.ExecContext(ctx)
	return err
}

// expect enters the delivery and sees whether the job is where the batch wants it.
func (s *Store) expect(ctx context.Context, b *bot.Batch) error {
	if b.Delivery != "" {
		if _, err := s.write.delivery.ExecContext(ctx, b.Shop, b.Delivery, b.Job); isUnique(err) {
			return bot.ErrDelivered
		} else if err != nil {
			return err
		}
	}
	last, known := s.last[jobKey{b.Shop, b.Job}]
	if !known {
		if err := s.write.last.QueryRowContext(ctx, b.Shop, b.Job).Scan(&last); err != nil {
			return err
		}
	}
	if last != b.Expect {
		return bot.ErrSequence
	}
	for i, l := range b.Leaves {
		if l.Seq != b.Expect+int64(i)+1 {
			return fmt.Errorf("leaf %d of the batch has sequence %d, want %d", i, l.Seq, b.Expect+int64(i)+1)
		}
	}
	return nil
}

// addLeaves adds the leaves of a batch, their hashes and items. Ids of leaves
// inserted by one statement follow each other: there is one writer.
func (s *Store) addLeaves(ctx context.Context, b *bot.Batch, edge *journal.Edge) error {
	w := &s.write
	for _, i := range []*inserter{&w.leaf, &w.hash, &w.item} {
		i.drop() // of a transaction that failed
	}
	for from := 0; from < len(b.Leaves); from += maxRows {
		some := b.Leaves[from:min(from+maxRows, len(b.Leaves))]
		first := edge.Size()
		joined := make([][]byte, len(some))
		for i, l := range some {
			hashes, err := edge.Append(l.Bytes)
			if err != nil {
				return err
			}
			joined[i] = joinHashes(nil, hashes)
			w.leaf.args = append(w.leaf.args, b.Shop, b.Job, l.Seq, first+int64(i), l.Bytes)
		}
		last, err := w.leaf.flush(ctx)
		if err != nil {
			return err
		}
		for i, l := range some {
			id := last - int64(len(some)-1-i)
			if err := w.hash.add(ctx, b.Shop, first+int64(i), joined[i], id); err != nil {
				return err
			}
			for _, it := range l.Items {
				if err := w.item.add(ctx, b.Shop, b.Job, l.Seq, it.Label, it.Salt[:], blob(it.Content)); err != nil {
					return err
				}
			}
		}
	}
	if _, err := w.hash.flush(ctx); err != nil {
		return err
	}
	_, err := w.item.flush(ctx)
	return err
}

func joinHashes(to []byte, hashes []tlog.Hash) []byte {
	for _, h := range hashes {
		to = append(to, h[:]...)
	}
	return to
}

// addBeside adds all of a batch that is not the log.
func (s *Store) addBeside(ctx context.Context, b *bot.Batch) error {
	for _, key := range b.Sent {
		if _, err := s.write.sent.ExecContext(ctx, key); err != nil {
			return err
		}
	}
	for _, o := range b.Outbox {
		if _, err := s.write.outbox.ExecContext(ctx, o.Key, o.Shop, o.Job, o.Network, string(o.Thread), blob(o.Payload)); err != nil {
			return err
		}
	}
	if b.Index != nil {
		if err := s.addRow(ctx, b.Shop, b.Index); err != nil {
			return err
		}
	}
	if b.Current != "" {
		if _, err := s.write.current.ExecContext(ctx, b.Shop, string(b.Current), b.Job); err != nil {
			return err
		}
	}
	if t := b.Thread; t != nil {
		if _, err := s.write.thread.ExecContext(ctx, b.Shop, b.Job, t.Network, string(t.Thread), string(t.For)); err != nil {
			return err
		}
	}
	for _, sum := range b.Evidence {
		if _, err := s.write.holding.ExecContext(ctx, b.Shop, sum, b.Job); err != nil {
			return err
		}
	}
	for _, key := range b.Vehicles {
		if _, err := s.write.found.ExecContext(ctx, b.Shop, key, b.Job); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) addRow(ctx context.Context, shop string, r *bot.IndexRow) error {
	_, err := s.write.board.ExecContext(ctx, shop, r.Job, r.Open, nanos(r.Since), nanos(r.Wake), r.Seq, r.Prev, blob(r.Data))
	return err
}

// remember keeps what the next commit to the job would have to read.
func (s *Store) remember(b *bot.Batch) {
	if len(s.last) >= maxLast {
		clear(s.last)
	}
	s.last[jobKey{b.Shop, b.Job}] = b.Expect + int64(len(b.Leaves))
	if len(b.Evidence) > 0 {
		s.freshMu.Lock()
		defer s.freshMu.Unlock()
		for _, sum := range b.Evidence {
			delete(s.fresh, sum)
		}
	}
}

// maxLast bounds how many jobs' sequences are kept.
const maxLast = 10_000

// edge gives the right edge of a shop's tree, read once. It must not be changed.
func (s *Store) edge(ctx context.Context, shop string) (*journal.Edge, error) {
	if e := s.edges[shop]; e != nil {
		return e, nil
	}
	t, err := s.tree(ctx, shop)
	if err != nil {
		return nil, err
	}
	e, err := journal.LoadEdge(t.size, t)
	if err != nil {
		return nil, err
	}
	s.edges[shop] = &e
	return &e, nil
}

// nanos is a time as stored, NULL for none.
func nanos(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixNano()
}

func fromNanos(n sql.NullInt64) time.Time {
	if !n.Valid {
		return time.Time{}
	}
	return time.Unix(0, n.Int64).UTC()
}

// blob is bytes as stored: never NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
