package slack

import (
	"context"
	"database/sql"
	"slices"
	"strings"

	"milepost/adapters/own"
)

// restOf says whether a message that is known has files which it came without before:
// a mention may be told of before its files are (docs.slack.dev, app_mention, whose
// example has none). They are noted, and the arrival becomes one of them alone.
func restOf(ctx context.Context, tx *sql.Tx, a *arrival) (bool, error) {
	if !strings.HasPrefix(a.key, keyMessage) {
		return false, nil
	}
	var had string
	err := tx.QueryRowContext(ctx, "SELECT parts FROM seen WHERE key = ? AND user <> '' AND NOT EXISTS (SELECT 1 FROM seen WHERE key = ?)",
		a.key, keyDelete+strings.TrimPrefix(a.key, keyMessage)).Scan(&had)
	if err != nil {
		return false, own.IgnoreNone(err) // its author was erased, or it was deleted
	}
	var more []string
	for _, part := range strings.Fields(a.parts) {
		if part != partText && !slices.Contains(strings.Fields(had), part) {
			more = append(more, part)
		}
	}
	if len(more) == 0 {
		return false, nil
	}
	rest := strings.Join(more, " ")
	if _, err = tx.ExecContext(ctx, "UPDATE seen SET parts = ? WHERE key = ?", strings.TrimSpace(had+" "+rest), a.key); err != nil {
		return false, err
	}
	a.key += keyRest + rest
	return true, nil
}

// holds says whether a part of a message is what a row is for: all of it is, or some
// files that were not known when the message came.
func (r *row) holds(part string) bool {
	_, rest, some := strings.Cut(r.key, keyRest)
	return !some || slices.Contains(strings.Fields(rest), part)
}
