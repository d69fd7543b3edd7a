package sqlite

import (
	"context"
	"database/sql"
	"strings"
)

// maxRows is how many rows one statement inserts at the most.
const maxRows = 8

// inserter inserts rows of one table, several with one statement: a message
// brings a handful, and each call of a statement costs beside its rows.
type inserter struct {
	columns int
	of      [maxRows + 1]*sql.Stmt // by the number of rows
	args    []any                  // of the rows not yet inserted; owned by the one writer
}

// prepare makes the statements of "INSERT INTO table (columns)".
func (i *inserter) prepare(ctx context.Context, conn *sql.Conn, insert string, columns int) ([]*sql.Stmt, error) {
	i.columns = columns
	row := "(?" + strings.Repeat(", ?", columns-1) + ")"
	for n := 1; n <= maxRows; n++ {
		st, err := conn.PrepareContext(ctx, insert+" VALUES "+row+strings.Repeat(", "+row, n-1))
		if err != nil {
			return nil, err
		}
		i.of[n] = st
	}
	return i.of[1:], nil
}

// add takes a row; it is inserted with those after it, at the latest by flush.
func (i *inserter) add(ctx context.Context, args ...any) error {
	i.args = append(i.args, args...)
	if len(i.args) < maxRows*i.columns {
		return nil
	}
	_, err := i.flush(ctx)
	return err
}

// flush inserts the rows that wait and gives the id of the last.
func (i *inserter) flush(ctx context.Context) (last int64, err error) {
	n := len(i.args) / i.columns
	if n == 0 {
		return 0, nil
	}
	r, err := i.of[n].ExecContext(ctx, i.args...)
	i.drop()
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

// drop forgets the rows that wait: they belong to a transaction that failed.
func (i *inserter) drop() {
	clear(i.args)
	i.args = i.args[:0]
}
