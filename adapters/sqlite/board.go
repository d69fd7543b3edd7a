package sqlite

import (
	"context"
	"database/sql"

	"milepost/bot"
)

// Index gives the board's rows, oldest waiting first.
func (s *Store) Index(ctx context.Context, shop string, openOnly bool) ([]bot.IndexRow, error) {
	var out []bot.IndexRow
	err := each(ctx, s.read.board, func(r *sql.Rows) error {
		var row bot.IndexRow
		var since, wake sql.NullInt64
		err := r.Scan(&row.Job, &row.Open, &since, &wake, &row.Seq, &row.Prev, &row.Data)
		row.Since, row.Wake = fromNanos(since), fromNanos(wake)
		out = append(out, row)
		return err
	}, shop, openOnly)
	return out, fault("read index", err)
}

// Reindex replaces a shop's rows and what its jobs and evidence are found by, in
// one transaction.
func (s *Store) Reindex(ctx context.Context, shop string, rows []bot.IndexRow) error {
	if err := s.take(ctx); err != nil {
		return fault("reindex", err)
	}
	defer s.release()
	ctx = context.WithoutCancel(ctx)
	return fault("reindex", s.transact(ctx, func() error {
		for _, table := range []string{"board", "found", "evidence"} {
			if _, err := s.conn.ExecContext(ctx, "DELETE FROM "+table+" WHERE shop = ?", shop); err != nil {
				return err
			}
		}
		for i := range rows {
			r := &rows[i]
			if err := s.addRow(ctx, shop, r); err != nil {
				return err
			}
			if err := s.addBeside(ctx, &bot.Batch{Shop: shop, Job: r.Job, Vehicles: r.Keys, Evidence: r.Evidence}); err != nil {
				return err
			}
		}
		return nil
	}))
}
