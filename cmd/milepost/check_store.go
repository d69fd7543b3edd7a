package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	_ "milepost/adapters/sqlite" // the database's driver
	"milepost/bot"
)

// checkStore looks at the store's database, or whether it could be made.
func checkStore(ctx context.Context, c *config) bot.Finding {
	bad := func(what, mend string) bot.Finding { return bot.Finding{Area: "store", What: what, Mend: mend} }
	if err := checkOwner(c.store, ownerServe); err != nil {
		return bad("it is another's", err.Error())
	}
	path := filepath.Join(c.store, "milepost.db")
	switch _, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		if err := canMake(c.store); err != nil {
			return bad(c.store+" is not there and can't be made", err.Error())
		}
		return bot.Finding{Area: "store", What: c.store + " is not there yet; the first start makes it", OK: true}
	case err != nil:
		return bad(c.store+" can't be looked at", err.Error())
	}
	if err := mayWrite(c.store); err != nil {
		return bad(c.store+" can't be written to", err.Error())
	}
	if err := quickCheck(ctx, path); err != nil {
		return bad(c.store+": the database is not sound", err.Error()+"\nstop serve, keep the directory as it is, and restore a backup into an empty one")
	}
	return bot.Finding{Area: "store", What: c.store + ": the database is sound (quick_check)", OK: true}
}

// quickCheck is SQLite's own look at a database. The store itself would leave a
// write-ahead log beside it, empty, where none was: a database that nobody has
// open is read without one.
func quickCheck(ctx context.Context, path string) (err error) {
	q := url.Values{"mode": {"ro"}, "_pragma": {"query_only(ON)", "busy_timeout(5000)", "trusted_schema(OFF)", "temp_store(MEMORY)"}}
	if _, err := os.Lstat(path + "-wal"); errors.Is(err, fs.ErrNotExist) {
		q.Set("immutable", "1")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: filepath.ToSlash(abs)}).EscapedPath()+"?"+q.Encode())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	var result string
	if err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&result); err != nil {
		return err
	}
	if result != "ok" {
		return errors.New(result)
	}
	return nil
}

// canMake says whether a directory that is not there, or empty, could be made and
// written to. Nothing is tried: a look at its nearest parent has to do.
func canMake(dir string) error {
	for {
		fi, err := os.Stat(dir)
		switch {
		case err == nil && !fi.IsDir():
			return fmt.Errorf("%s is no directory", dir)
		case err == nil:
			if err := mayWrite(dir); err != nil {
				return fmt.Errorf("%s can't be written to: %w", dir, err)
			}
			return nil
		case !errors.Is(err, fs.ErrNotExist), dir == filepath.Dir(dir):
			return err
		}
		dir = filepath.Dir(dir)
	}
}
