package sqlite

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"milepost/bot"
	"milepost/bot/journal"
)

// eraseAgain erases what a list names in a store that was restored, and all that
// was made of it. The list has no shops: an item of the same name in another
// shop goes too. It gives the number of items that were there.
func (s *Store) eraseAgain(ctx context.Context, list []journal.ItemID) (int, error) {
	if err := s.take(ctx); err != nil {
		return 0, err
	}
	defer s.release()
	shops, err := s.shops(ctx)
	if err != nil {
		return 0, err
	}
	erased := 0
	err = s.transact(ctx, func() error {
		for _, shop := range shops {
			again, err := journal.EraseAgain(list, func(id journal.ItemID) (there bool, err error) {
				err = s.conn.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM item WHERE shop = ? AND job = ? AND seq = ? AND label = ?)",
					shop, id.Job, id.Seq, id.Label).Scan(&there)
				return there, err
			})
			for _, id := range again {
				if err == nil {
					err = s.eraseOne(ctx, shop, id)
				}
			}
			if err != nil {
				return err
			}
			erased += len(again)
		}
		if erased == 0 {
			return nil
		}
		return s.setMeta(ctx, "scrub", "1")
	})
	if err != nil {
		return 0, err
	}
	return erased, errors.Join(s.removeDoomed(ctx), s.scrub(ctx))
}

// eraseOne erases an item and empties what was made of its job. There is nobody
// who says what of it still stands, as in a batch: people and evidence stay that
// an item still names, indexes are to be rebuilt.
func (s *Store) eraseOne(ctx context.Context, shop string, id journal.ItemID) error {
	gone, err := s.queryTexts(ctx, "DELETE FROM item WHERE shop = ? AND job = ? AND seq = ? AND label = ? RETURNING content",
		shop, id.Job, id.Seq, id.Label)
	if err == nil {
		err = s.doom(ctx, gone)
	}
	if err != nil {
		return err
	}
	const named = "EXISTS (SELECT 1 FROM item i WHERE i.shop = t.shop AND i.job = t.job AND instr(i.content, CAST(%s AS BLOB)) > 0)"
	for _, q := range []string{
		"DELETE FROM outbox WHERE shop = ?1 AND job = ?2",
		"DELETE FROM board WHERE shop = ?1 AND job = ?2",
		"DELETE FROM found WHERE shop = ?1 AND job = ?2",
		"DELETE FROM current AS t WHERE shop = ?1 AND job = ?2 AND NOT " + fmt.Sprintf(named, "t.identity"),
		"DELETE FROM evidence AS t WHERE shop = ?1 AND job = ?2 AND NOT " + fmt.Sprintf(named, "t.sha256"),
	} {
		if _, err := s.conn.ExecContext(ctx, q, shop, id.Job); err != nil {
			return err
		}
	}
	for _, word := range gone {
		if _, err := s.conn.ExecContext(ctx, "DELETE FROM thread WHERE shop = ?1 AND job = ?2 AND ?3 IN (thread, network || ':' || thread)", shop, id.Job, word); err != nil {
			return err
		}
	}
	return nil
}

// addErased adds to the list of erased items and puts the new list in the place
// of the old. Called in the transaction: if we crash before its commit, a
// restore erases too much, not too little.
func (s *Store) addErased(items []bot.ItemRef) error {
	ids, err := readErased(s.erasedList)
	if err != nil {
		return err
	}
	for _, it := range items {
		ids = append(ids, journal.ItemID(it))
	}
	return writeErased(s.erasedList, ids)
}

// readErased reads the list; no file is an empty one.
func readErased(path string) ([]journal.ItemID, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return journal.ReadErased(bytes.NewReader(b))
}

func writeErased(path string, ids []journal.ItemID) error {
	var b bytes.Buffer
	if err := journal.WriteErased(&b, ids); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*.tmp") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already if all went well
	if _, err = f.Write(b.Bytes()); err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// syncDir makes a directory's names durable. Windows has no such call for a
// directory; its file system keeps names in order by itself.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
