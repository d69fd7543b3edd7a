package sqlite

import (
	"context"
	"database/sql"
	"encoding/hex"
	"io"
	"os"

	"milepost/bot/journal"
)

// Verify checks everything there is: SQLite's integrity check, every leaf, hash
// and item, every head and every file of evidence. It takes a time that grows
// with the store, and may run beside a running program.
func (s *Store) Verify(ctx context.Context) error {
	var result string
	if err := s.reader.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&result); err != nil {
		return fault("verify", err)
	}
	if result != "ok" {
		return fault("verify", damaged("%s", result))
	}
	if err := s.checkTails(ctx); err != nil {
		return fault("verify", err)
	}
	shops, err := s.shops(ctx)
	if err != nil {
		return fault("verify", err)
	}
	for _, shop := range shops {
		if err := s.verifyShop(ctx, shop); err != nil {
			return fault("verify shop "+shop, err)
		}
	}
	return fault("verify", s.verifyEvidence(ctx))
}

func (s *Store) verifyShop(ctx context.Context, shop string) error {
	heads, err := s.Heads(ctx, shop) // before the tree, as in checkTail
	if err != nil {
		return err
	}
	t, err := s.tree(ctx, shop)
	if err != nil {
		return err
	}
	var edge journal.Edge
	ends := map[string]leafRow{}
	err = s.eachLeaf(ctx, "SELECT job, seq, n, bytes FROM leaf WHERE shop = ? AND n < ? ORDER BY id", func(l leafRow) error {
		if l.n != edge.Size() {
			return damaged("leaf %d is not there", edge.Size())
		}
		return s.verifyLeaf(ctx, shop, t, &edge, ends, l)
	}, shop, t.size)
	if err != nil {
		return err
	}
	if edge.Size() != t.size {
		return damaged("the tree has %d leaves, %d are there", t.size, edge.Size())
	}
	root, err := edge.Root()
	if err != nil {
		return err
	}
	for _, h := range heads {
		if err := checkHead(h.Note, t, root); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) verifyLeaf(ctx context.Context, shop string, t *tree, edge *journal.Edge, ends map[string]leafRow, l leafRow) error {
	hashes, err := edge.Append(l.bytes)
	if err != nil {
		return err
	}
	var stored []byte
	err = s.read.hash.QueryRowContext(ctx, shop, l.n).Scan(&stored)
	if err != nil {
		return err
	}
	if string(stored) != string(joinHashes(nil, hashes)) {
		return damaged("entry %s/%d is not the one in the tree at %d", l.job, l.seq, l.n)
	}
	parsed, err := journal.Parse(l.bytes)
	if err != nil {
		return damaged("entry %s/%d: %v", l.job, l.seq, err)
	}
	before := ends[l.job]
	prev := ""
	if before.seq > 0 {
		prev = hex.EncodeToString(before.bytes)
	}
	if parsed.Shop != shop || parsed.Job != l.job || parsed.Seq != l.seq || l.seq != before.seq+1 || parsed.Prev != prev {
		return damaged("entry %s/%d does not go on from %s/%d", l.job, l.seq, l.job, before.seq)
	}
	ends[l.job] = leafRow{seq: l.seq, bytes: hashes[0][:]}
	return s.verifyItems(ctx, shop, parsed)
}

func (s *Store) verifyItems(ctx context.Context, shop string, l journal.Leaf) error {
	return each(ctx, s.read.itemsOf, func(r *sql.Rows) error {
		var salt []byte
		var it journal.Item
		if err := r.Scan(&it.Label, &salt, &it.Content); err != nil {
			return err
		}
		if copy(it.Salt[:], salt) != len(salt) || it.Hash() != l.Items[it.Label] {
			return damaged("item %s of entry %s/%d is not the one that was hashed", it.Label, l.Job, l.Seq)
		}
		return nil
	}, shop, l.Job, l.Seq)
}

func (s *Store) verifyEvidence(ctx context.Context) error {
	sums, err := s.evidence(ctx)
	for _, sum := range sums {
		if err != nil {
			break
		}
		err = s.verifyFile(ctx, sum)
	}
	return err
}

func (s *Store) verifyFile(ctx context.Context, sum string) error {
	r, err := s.Open(ctx, sum)
	if err != nil {
		return err
	}
	defer r.Close()
	_, err = io.Copy(io.Discard, ctxReader{ctx, r})
	return err
}

// evidence lists, in order, every file that some job holds, and those that are
// there and that an item names: the table of evidence is only an index.
func (s *Store) evidence(ctx context.Context) ([]string, error) {
	st, err := s.reader.PrepareContext(ctx, `SELECT sha256, max(held) FROM (
		SELECT sha256, 1 AS held FROM evidence UNION ALL
		SELECT CAST(content AS TEXT), 0 FROM item WHERE length(content) = 64) GROUP BY 1 ORDER BY 1`)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	var sums []string
	err = each(ctx, st, func(r *sql.Rows) error {
		var sum string
		var held bool
		if err := r.Scan(&sum, &held); err != nil || !isSum(sum) {
			return err
		}
		if !held {
			if _, err := os.Stat(s.path(sum)); err != nil {
				return nil
			}
		}
		sums = append(sums, sum)
		return nil
	})
	return sums, err
}
