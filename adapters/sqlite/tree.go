package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
)

// tree reads the stored hashes of a shop's tree of a size. Hashes never change,
// so what it gives is of the moment it was made, whatever is added since.
type tree struct {
	ctx  context.Context // of the caller who asked for it; tlog's interface has none
	s    *Store
	shop string
	size int64
}

// Tree gives the tree as it stands. It must not be used after ctx has ended.
func (s *Store) Tree(ctx context.Context, shop string) (bot.TreeReader, error) {
	t, err := s.tree(ctx, shop)
	if err != nil {
		return nil, fault("read tree", err)
	}
	return t, nil
}

func (s *Store) tree(ctx context.Context, shop string) (*tree, error) {
	t := &tree{ctx: ctx, s: s, shop: shop}
	err := s.read.size.QueryRowContext(ctx, shop).Scan(&t.size)
	return t, err
}

// Size is the number of leaves.
func (t *tree) Size() int64 { return t.size }

// ReadHashes implements tlog.HashReader. An index beyond the tree is an error.
func (t *tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	at := make([]place, len(indexes))
	low, high := t.size, int64(-1)
	for i, index := range indexes {
		at[i] = placeOf(index)
		if at[i].n < 0 || at[i].n >= t.size {
			return nil, fmt.Errorf("read hash %d: not in a tree of %d", index, t.size)
		}
		low, high = min(low, at[i].n), max(high, at[i].n)
	}
	// Many hashes side by side, as the leaf hashes of an export, are one query.
	if len(indexes) > 16 && high-low < 4*int64(len(indexes)) {
		return out, t.readRange(low, high, at, out)
	}
	for i, p := range at {
		var b sql.RawBytes
		rows, err := t.s.read.hash.QueryContext(t.ctx, t.shop, p.n)
		if err != nil {
			return nil, fault("read hash", err)
		}
		if rows.Next() {
			err = rows.Scan(&b)
		}
		if err == nil {
			err = rows.Err()
		}
		if err == nil {
			err = p.take(b, &out[i])
		}
		rows.Close()
		if err != nil {
			return nil, fault("read hash", err)
		}
	}
	return out, nil
}

func (t *tree) readRange(low, high int64, at []place, out []tlog.Hash) error {
	stored := make([][]byte, high-low+1)
	err := each(t.ctx, t.s.read.hashes, func(r *sql.Rows) error {
		var n int64
		var b []byte
		if err := r.Scan(&n, &b); err != nil {
			return err
		}
		stored[n-low] = b
		return nil
	}, t.shop, low, high)
	if err != nil {
		return fault("read hashes", err)
	}
	for i, p := range at {
		if err := p.take(stored[p.n-low], &out[i]); err != nil {
			return fault("read hashes", err)
		}
	}
	return nil
}

// place is where a hash is stored: with the leaf that completed it, at its level.
type place struct {
	n     int64
	level int
}

// placeOf: hash i of level l covers leaves i·2^l to (i+1)·2^l - 1 and is complete
// with the last of them.
func placeOf(index int64) place {
	l, i := tlog.SplitStoredHashIndex(index)
	return place{(i+1)<<l - 1, l}
}

func (p place) take(hashes []byte, to *tlog.Hash) error {
	const size = tlog.HashSize
	if len(hashes) < (p.level+1)*size {
		return fmt.Errorf("%w: hash of level %d at leaf %d is not there", ErrDamaged, p.level, p.n)
	}
	copy(to[:], hashes[p.level*size:])
	return nil
}

// SaveHead keeps a head; the same again is kept once.
func (s *Store) SaveHead(ctx context.Context, shop string, h bot.Head) error {
	if err := s.take(ctx); err != nil {
		return fault("save head", err)
	}
	defer s.release()
	_, err := s.conn.ExecContext(context.WithoutCancel(ctx),
		"INSERT INTO head (shop, size, note, time) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", shop, h.Size, h.Note, nanos(h.Time))
	return fault("save head", err)
}

// Heads gives the heads by size, those of one size in the order they were saved.
func (s *Store) Heads(ctx context.Context, shop string) ([]bot.Head, error) {
	var out []bot.Head
	err := each(ctx, s.read.heads, func(r *sql.Rows) error {
		var h bot.Head
		var t sql.NullInt64
		err := r.Scan(&h.Size, &h.Note, &t)
		h.Time = fromNanos(t)
		out = append(out, h)
		return err
	}, shop)
	return out, fault("read heads", err)
}
