package sqlite

import (
	"context"
	"database/sql"
	"fmt"
)

// LimitPages makes the database as full as a disk can be: it may not grow by
// more than that many pages.
func (s *Store) LimitPages(ctx context.Context, more int) error {
	if err := s.take(ctx); err != nil {
		return err
	}
	defer s.release()
	var pages int
	if err := s.conn.QueryRowContext(ctx, "PRAGMA page_count").Scan(&pages); err != nil {
		return err
	}
	_, err := s.conn.ExecContext(ctx, fmt.Sprintf("PRAGMA max_page_count = %d", pages+more))
	return err
}

// Exec runs SQL on the connection that writes.
func (s *Store) Exec(ctx context.Context, query string, args ...any) error {
	_, err := s.conn.ExecContext(ctx, query, args...)
	return err
}

// Latest is the schema's version.
func Latest() int { return latest() }

// MakeVersion makes a database of an older schema, with rows put in by fill.
func MakeVersion(ctx context.Context, path string, version int, fill func(*sql.Conn) error) error {
	if err := makeFile(path); err != nil {
		return err
	}
	db, err := openDB(path, writerPragmas, "")
	if err != nil {
		return err
	}
	defer db.Close()
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if err := migrate(ctx, conn, version); err != nil {
		return err
	}
	return fill(conn)
}

// HoldOldPages reads in another connection and stays there while f runs. The
// wait for it is cut short.
func (s *Store) HoldOldPages(ctx context.Context, f func()) error {
	if err := s.Exec(ctx, "PRAGMA busy_timeout = 20"); err != nil {
		return err
	}
	tx, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var n int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM item").Scan(&n); err != nil {
		return err
	}
	f()
	return nil
}
