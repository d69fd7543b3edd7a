package matrix

import (
	"context"
	"errors"
	"fmt"

	"milepost/bot"
)

// Inbox is what came in and is not dealt with. Contact is the last sync that
// worked; one ends each pollFor, whether anybody wrote or not.
func (m *Matrix) Inbox(ctx context.Context) (bot.Inbox, error) {
	in := bot.Inbox{Contact: m.contact()}
	r, leave := m.on.held()
	defer leave()
	if r == nil {
		return in, &bot.Error{Kind: bot.Unavailable, Err: errors.New("read inbox: not connected just now")}
	}
	if err := r.state.count(ctx, &in); err != nil {
		return in, storeFault(fmt.Errorf("read inbox: %w", err))
	}
	return in, nil
}

var _ bot.Receiver = (*Matrix)(nil)

// count counts the inbox's rows by what they wait for.
func (s *state) count(ctx context.Context, in *bot.Inbox) error {
	return s.db.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE waits = ?), count(*) FILTER (WHERE waits = ?), count(*) FILTER (WHERE waits = ?) FROM inbox`,
		waitsNot, waitsSaid, waitsPoisoned).Scan(&in.Waiting, &in.Unread, &in.Aside)
}
