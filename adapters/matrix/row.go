package matrix

import (
	"context"
	"database/sql"
	"encoding/json"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
)

// putRoom stores what is new of a room.
func (m *stint) putRoom(ctx context.Context, tx *sql.Tx, r *roomNews, now int64) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO room (id, encrypted, joined, gap) VALUES (?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET encrypted = max(encrypted, excluded.encrypted), joined = excluded.joined, gap = CASE WHEN excluded.gap = '' THEN gap ELSE excluded.gap END`,
		r.id, r.encrypted, r.joined, r.gap)
	if err != nil {
		return err
	}
	for i, e := range r.events {
		// Where a room has gone counts, however long ago.
		if err := m.putEvent(ctx, tx, e, i < r.floor && !isTombstone(e), now); err != nil {
			return err
		}
	}
	if r.tombstone == nil {
		return nil
	}
	return m.putEvent(ctx, tx, r.tombstone, false, now)
}

// putEvent stores an event: that it was seen and, if it is somebody's word and
// not to be passed over, its row in the inbox. Once only.
func (m *stint) putEvent(ctx context.Context, tx *sql.Tx, e *event.Event, over bool, now int64) error {
	lane, err := laneOf(ctx, tx, e)
	if err != nil {
		return err
	}
	res, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO seen (event, room, lane, sender) VALUES (?, ?, ?, ?)", e.ID, e.RoomID, lane, e.Sender)
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return err
	}
	if string(e.Sender) == m.cfg.User {
		if e.Unsigned.TransactionID == "" {
			return nil
		}
		return closeRow(ctx, tx, e.Unsigned.TransactionID, string(e.ID))
	}
	if over || !heard(e) {
		return nil
	}
	return putInbox(ctx, tx, e, lane, now)
}

func putInbox(ctx context.Context, tx *sql.Tx, e *event.Event, lane string, now int64) error {
	raw, err := pack(e)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT OR IGNORE INTO inbox (event, room, lane, sender, raw, came) VALUES (?, ?, ?, ?, ?, ?)", e.ID, e.RoomID, lane, e.Sender, raw, now)
	return err
}

// heard says whether an event goes into the inbox: words, reactions, what takes
// them back, and rooms that move. Of what was taken back there is nothing left.
func heard(e *event.Event) bool {
	if e.Unsigned.RedactedBecause != nil {
		return false
	}
	switch e.Type.Type {
	case event.EventMessage.Type, event.EventEncrypted.Type, event.EventReaction.Type, event.EventRedaction.Type:
		return e.StateKey == nil
	case event.StateTombstone.Type:
		return isTombstone(e)
	}
	return false
}

// pack gives an event's stored form: what the sender wrote, byte for byte,
// without what servers add.
func pack(e *event.Event) ([]byte, error) {
	c := *e
	c.Unsigned = event.Unsigned{}
	if len(e.Content.VeryRaw) > 0 {
		c.Content = event.Content{VeryRaw: e.Content.VeryRaw}
	}
	return json.Marshal(&c)
}

// laneOf gives the lane an event is handled in: its thread's root, or the lane
// of the event it hangs on, or the room. The relation is in clear on encrypted
// events too.
func laneOf(ctx context.Context, tx *sql.Tx, e *event.Event) (string, error) {
	room := string(e.RoomID)
	if e.Type.Type == event.EventRedaction.Type {
		return seenLane(ctx, tx, redacted(e), room)
	}
	rel := relation(e)
	switch rel.Type {
	case event.RelThread:
		if rel.EventID != "" {
			return string(rel.EventID), nil
		}
	case event.RelReplace, event.RelAnnotation:
		return seenLane(ctx, tx, rel.EventID, room)
	}
	if to := rel.GetReplyTo(); to != "" {
		return seenLane(ctx, tx, to, room)
	}
	return room, nil
}

// seenLane gives the lane of what hangs on an event: the thread of a root of
// ours, else the event's own.
func seenLane(ctx context.Context, tx *sql.Tx, target id.EventID, room string) (lane string, err error) {
	err = tx.QueryRowContext(ctx, `SELECT event FROM root WHERE event = ?1 UNION ALL SELECT lane FROM seen WHERE event = ?1 AND room = ?2 LIMIT 1`, target, room).Scan(&lane)
	if lane == "" {
		lane = room
	}
	return lane, own.IgnoreNone(err)
}

// relation reads how an event hangs on others. Nothing of it is sure.
func relation(e *event.Event) *event.RelatesTo {
	return relationIn(e.Content.VeryRaw)
}

// redacted gives what a redaction takes back; where it says so depends on the
// room's version.
func redacted(e *event.Event) id.EventID {
	if s, ok := e.Content.Raw["redacts"].(string); ok && s != "" {
		return id.EventID(s)
	}
	return e.Redacts
}
