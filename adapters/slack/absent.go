package slack

import (
	"context"
	"time"
)

// A channel may be without us for a while: we were taken out of it, or it was
// archived. Nothing said there comes then, nor later by itself, so since when is
// kept, and from there the channel and its threads are read back once we are in it
// again.

const (
	metaAbsent = "absent:"              // and the channel: since when, and since when the last time
	maxAbsent  = 500                    // channels, those that we were in last
	absentFor  = seenFor - 24*time.Hour // what is older is not read back: it may have been heard
)

// absent notes that we are not in a channel any more. The first time counts until
// it was read back.
func (s *state) absent(ctx context.Context, channel, since string) error {
	_, err := s.db.ExecContext(ctx, `INSERT INTO meta (k, v) VALUES (?1, ?2) ON CONFLICT (k) DO UPDATE SET v = substr(v, 1, ?3) || ' ' || excluded.v`,
		metaAbsent+channel, since, lenTS)
	if err != nil {
		return err
	}
	_, err = s.db.ExecContext(ctx, `DELETE FROM meta WHERE k >= ?1 AND k < ?2 AND k NOT IN
		(SELECT k FROM meta WHERE k >= ?1 AND k < ?2 ORDER BY v DESC LIMIT ?3)`, metaAbsent, metaAbsentEnd, maxAbsent)
	return err
}

const (
	lenTS         = len("1700000000.000001")
	metaAbsentEnd = "absent;"
)

// absences gives the channels to be read back from an earlier time than others, as
// they are kept.
func (s *state) absences(ctx context.Context) (map[string]string, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT substr(k, ?3), v FROM meta WHERE k >= ?1 AND k < ?2", metaAbsent, metaAbsentEnd, len(metaAbsent)+1)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	list := map[string]string{}
	for rows.Next() {
		var channel, v string
		if err := rows.Scan(&channel, &v); err != nil {
			return nil, err
		}
		list[channel] = v
	}
	return list, rows.Err()
}

// present forgets an absence that was read back, unless there was another meanwhile.
func (s *state) present(ctx context.Context, channel, was string) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM meta WHERE k = ? AND v = ?", metaAbsent+channel, was)
	return err
}

// left notes that we are not in a channel any more, as an event says.
func (e *ears) left(channel, at string) {
	if !isTS(at) {
		at = tsOf(time.Now())
	}
	e.noteAbsent(e.ctx, channel, at)
}

// returned has a channel read back that we are in again. Where it is not known since
// when we were not, it is from when we last heard.
func (e *ears) returned(channel string) {
	v, err := e.st.meta(e.ctx, metaAbsent+channel)
	if err == nil && v == "" {
		var alive time.Time
		if alive, _, err = e.heardLast(e.ctx); err == nil && alive.IsZero() {
			return // it never heard: there is nothing to miss
		}
		if err == nil {
			e.noteAbsent(e.ctx, channel, tsOf(alive))
		}
	}
	if err != nil && e.ctx.Err() == nil {
		e.s.log.Error("it is not known since when we were not in a channel", "channel", channel, "err", err)
	}
	e.mu.Lock()
	if e.rejoined == nil {
		e.rejoined = map[string]bool{}
	}
	e.rejoined[channel] = true
	e.mu.Unlock()
	e.lookSoon()
}

func (e *ears) noteAbsent(ctx context.Context, channel, at string) {
	if err := e.st.absent(ctx, channel, at); err != nil && ctx.Err() == nil {
		e.s.log.Error("note of a channel that we are not in can't be kept", "channel", channel, "err", err)
	}
}

// notIn are answers of channels that we are not in.
var notIn = []string{"not_in_channel", "channel_not_found", "is_archived"}

// sinceIn is since when something may have been missed in a channel.
func (b *back) sinceIn(channel string) string {
	v := b.absences[channel]
	if len(v) < lenTS {
		return b.since
	}
	return max(min(b.since, v[:lenTS]), tsOf(b.began.Add(-absentFor)), b.born)
}
