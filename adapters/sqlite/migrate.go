package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
)

// Migrations are numbered from 1 without a gap and never edited once released:
// a new form of the tables is a new file.
//
//go:embed migrations/*.sql
var migrations embed.FS

// appID marks our databases in SQLite's header ("MPst"), so that another
// program's file is not taken for one.
const appID = 0x4d507374

// latest is the schema's version in this program.
func latest() int {
	files, _ := fs.Glob(migrations, "migrations/*.sql") // the pattern is sound
	return len(files)
}

func readMigration(version int) (string, error) {
	files, err := fs.Glob(migrations, fmt.Sprintf("migrations/%04d_*.sql", version))
	if err != nil || len(files) != 1 {
		return "", fmt.Errorf("migration %d: %d files", version, len(files))
	}
	b, err := migrations.ReadFile(files[0])
	return string(b), err
}

type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// schema reads whose database this is and which version; 0 is an empty one.
func schema(ctx context.Context, q querier) (version int, err error) {
	var app, tables int
	err = q.QueryRowContext(ctx, "SELECT (SELECT user_version FROM pragma_user_version), (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)").
		Scan(&version, &app, &tables)
	switch {
	case err != nil:
		return 0, fault("read schema", err)
	case version == 0 && app == 0 && tables == 0:
		return 0, nil
	case app != appID:
		return 0, fmt.Errorf("%s is not a database of this program", dbName)
	case version > latest():
		return 0, fmt.Errorf("the store has schema %d, this program knows up to %d: use a newer one", version, latest())
	}
	return version, nil
}

// checkSchema refuses a store that would have to be migrated before use.
func checkSchema(ctx context.Context, q querier) error {
	version, err := schema(ctx, q)
	if err == nil && version == 0 {
		err = ErrNoStore
	}
	if err == nil && version < latest() {
		err = fmt.Errorf("the store has schema %d, this program wants %d: start it once with this version", version, latest())
	}
	return err
}

// migrate brings a database to a version, each step in a transaction of its own:
// if we crash between two, the next start goes on.
func migrate(ctx context.Context, conn *sql.Conn, to int) error {
	from, err := schema(ctx, conn)
	if err != nil {
		return err
	}
	for v := from + 1; v <= to; v++ {
		text, err := readMigration(v)
		if err != nil {
			return err
		}
		tx, err := conn.BeginTx(ctx, nil)
		if err != nil {
			return fault("migrate", err)
		}
		_, err = tx.ExecContext(ctx, text)
		if err == nil {
			_, err = tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d; PRAGMA application_id = %d", v, appID))
		}
		if err == nil {
			err = tx.Commit()
		}
		if err != nil {
			_ = tx.Rollback()
			return fault(fmt.Sprintf("migrate to %d", v), err)
		}
	}
	return nil
}
