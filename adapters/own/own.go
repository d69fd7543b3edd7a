// Package own is what the adapters of chat networks have in common for what they
// keep of their own beside the store: a SQLite database with one writer, in which
// what is committed survives a loss of power and what is deleted is overwritten.
// It knows no table of theirs.
package own

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Open opens or makes a database, of mode 0600, with one connection.
func Open(ctx context.Context, path string) (*sql.DB, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600) // before the driver first opens it
	if err != nil {
		return nil, fmt.Errorf("open state: %w", err)
	}
	if err := f.Close(); err != nil {
		return nil, fmt.Errorf("open state: %w", err)
	}
	dsn := "file:" + (&url.URL{Path: path}).EscapedPath() +
		"?_txlock=immediate&_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=secure_delete(1)"
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return nil, fmt.Errorf("open state: %w", err)
	}
	db.SetMaxOpenConns(1)
	if err := db.PingContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open state %s: %w", path, err), db.Close())
	}
	return db, nil
}

// OpenAs is Open of a database with tables, in a directory of mode 0700 that is
// made if necessary. The schema's statements are its versions, the first one
// first, counted by PRAGMA user_version; those still missing are run.
func OpenAs(ctx context.Context, dir, path string, schema []string) (*sql.DB, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("open state: %w", err)
	}
	db, err := Open(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := migrate(ctx, db, schema); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

func migrate(ctx context.Context, db *sql.DB, schema []string) error {
	var v int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&v); err != nil {
		return fmt.Errorf("open state: %w", err)
	}
	if v > len(schema) {
		return fmt.Errorf("open state: it is of a later version (%d) of this program", v)
	}
	for ; v < len(schema); v++ {
		err := Tx(ctx, db, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, schema[v]); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", v+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("open state: version %d: %w", v+1, err)
		}
	}
	return nil
}

// Tx runs f in one durable transaction: all of it or nothing.
func Tx(ctx context.Context, db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// IgnoreNone makes a row that is not there no error.
func IgnoreNone(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}
