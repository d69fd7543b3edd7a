package matrix

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"runtime/debug"
	"slices"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// timeline is how many events of a room a sync brings; more are paged for.
const timeline = 50

// syncFilter asks for what is used only. It is sent with each request, not kept
// at the server, so that a later version needs no care.
var syncFilter = func() string {
	none := &mautrix.FilterPart{NotTypes: []event.Type{{Type: "*"}}}
	f, err := json.Marshal(mautrix.Filter{
		Presence:    none,
		AccountData: &mautrix.FilterPart{Types: []event.Type{event.AccountDataDirectChats}},
		Room: &mautrix.RoomFilter{
			AccountData: none,
			Ephemeral:   none,
			Timeline:    &mautrix.FilterPart{Limit: timeline},
		},
	})
	if err != nil {
		panic(err) // of constants
	}
	return string(f)
}()

// syncLoop takes one response after the other. It returns an error only where
// trying again is no use.
func (m *Matrix) syncLoop(ctx context.Context) error {
	since, err := m.state.get(ctx, metaSince)
	if err != nil {
		return fmt.Errorf("read sync position: %w", err)
	}
	var b backoff
	var hold time.Duration // the first answer shall come at once
	for ctx.Err() == nil {
		err := m.syncOnce(ctx, &since, hold)
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, mautrix.MUnknownToken):
			return m.tokenGone(err)
		case err == nil:
			b, hold = backoff{}, pollFor
			m.stands(nil)
			continue
		}
		hold = 0
		wait := b.next(err)
		m.stands(&bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("matrix: sync: %w", err)})
		m.cfg.Log.Warn("matrix: sync", "err", err, "again in", wait.Round(time.Millisecond))
		if sleep(ctx, wait) != nil {
			return nil
		}
	}
	return nil
}

func (m *Matrix) syncOnce(ctx context.Context, since *string, hold time.Duration) error {
	req := mautrix.ReqSync{Timeout: int(hold.Milliseconds()), Since: *since, FilterID: syncFilter, SetPresence: event.PresenceOffline, Client: m.in.poll}
	if *since == "" {
		req.Client = nil // the first answer can take its time
	}
	resp, err := m.client.FullSyncRequest(ctx, req)
	if err != nil {
		return err
	}
	if resp == nil || resp.NextBatch == "" {
		return errors.New("the answer has no position")
	}
	if err := m.take(ctx, resp, *since); err != nil {
		return err
	}
	*since = resp.NextBatch
	select {
	case <-m.synced:
	default:
		close(m.synced)
	}
	return nil
}

// take stores a response. Keys come first and are durable before the messages
// they are for; then all that was read, with the position, in one transaction.
// A crash anywhere before its commit brings the same response again.
func (m *Matrix) take(ctx context.Context, resp *mautrix.RespSync, since string) error {
	if m.cipher != nil {
		err := m.contain("keys of a sync", func() error { return m.cipher.ProcessSync(ctx, resp, since) })
		if err != nil {
			return fmt.Errorf("take keys: %w", err)
		}
	}
	news, err := m.read(ctx, resp, since)
	if err != nil {
		return err
	}
	now := time.Now().UnixMilli()
	err = m.state.tx(ctx, func(tx *sql.Tx) error {
		for _, r := range news {
			if err := m.putRoom(ctx, tx, r, now); err != nil {
				return err
			}
		}
		if err := m.putInvites(ctx, tx, resp, since, now); err != nil {
			return err
		}
		if err := putDirect(ctx, tx, resp.AccountData.Events); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO meta (k, v) VALUES (?, ?)", metaSince, resp.NextBatch)
		return err
	})
	if err != nil {
		return fmt.Errorf("store messages: %w", err)
	}
	return m.load(ctx)
}

// contain makes a panic an error, counted: one event must not stop all others.
func (m *Matrix) contain(what string, f func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			m.in.panics.Add(1)
			m.cfg.Log.Error("matrix: panic in "+what, "type", fmt.Sprintf("%T", r), "stack", string(debug.Stack()))
			err = &bot.Error{Kind: bot.Internal, Err: fmt.Errorf("panic in %s", what)}
		}
	}()
	return f()
}

// roomNews is what a response says of a room, older events fetched already.
type roomNews struct {
	id        id.RoomID
	events    []*event.Event // oldest first
	floor     int            // events before this one are not answered
	joined    int64          // since when we are in it by the server's clock, 0 if we are not
	encrypted bool
	gap       string // from where older ones could not be fetched
}

// read looks through the rooms of a response, in an order that is always the
// same, and fetches what the response left out.
func (m *Matrix) read(ctx context.Context, resp *mautrix.RespSync, since string) ([]*roomNews, error) {
	var news []*roomNews
	for _, room := range slices.Sorted(maps.Keys(resp.Rooms.Join)) {
		j := resp.Rooms.Join[room]
		if j == nil {
			continue
		}
		state := j.State.Events
		if j.StateAfter != nil {
			state = j.StateAfter.Events
		}
		r := &roomNews{id: room, events: ofRoom(room, j.Timeline.Events)}
		r.encrypted = m.learn(ctx, room, state, r.events)
		was, err := m.state.joinedAt(ctx, string(room))
		if err != nil {
			return nil, err
		}
		if r.joined = was; was == 0 {
			m.forgetMembers(string(room)) // those of an earlier stay
		}
		if since != "" && j.Timeline.Limited {
			if err := m.fillGap(ctx, r, j.Timeline.PrevBatch); err != nil {
				return nil, err
			}
		}
		m.since(r, state, was, since == "")
		news = append(news, r)
	}
	for _, room := range slices.Sorted(maps.Keys(resp.Rooms.Leave)) {
		l := resp.Rooms.Leave[room]
		was, err := m.state.joinedAt(ctx, string(room))
		if err != nil {
			return nil, err
		}
		if l == nil || was == 0 {
			continue // an invitation declined, or known already
		}
		r := &roomNews{id: room, events: ofRoom(room, l.Timeline.Events)}
		m.noteLeft(room, slices.Concat(l.State.Events, r.events))
		news = append(news, r)
	}
	return news, nil
}

// ofRoom drops what is no event and puts the room into the rest: it is not in a
// sync's events.
func ofRoom(room id.RoomID, events []*event.Event) []*event.Event {
	events = slices.DeleteFunc(slices.Clone(events), func(e *event.Event) bool { return e == nil || e.ID == "" })
	for _, e := range events {
		e.RoomID = room
	}
	return events
}

// learn keeps the state of a room: members, encryption, power. It says whether
// the room has been found to be encrypted.
func (m *Matrix) learn(ctx context.Context, room id.RoomID, lists ...[]*event.Event) (encrypted bool) {
	for _, events := range lists {
		for _, e := range events {
			if e == nil || e.StateKey == nil {
				continue
			}
			e.RoomID, e.Type.Class = room, event.StateEventType
			_ = m.contain("state of a room", func() error {
				if err := e.Content.ParseRaw(e.Type); err == nil || errors.Is(err, event.ErrContentAlreadyParsed) {
					mautrix.UpdateStateStore(ctx, m.store, e)
					m.learntMeanwhile(string(room), e)
				}
				return nil
			})
			encrypted = encrypted || e.Type == event.StateEncryption && *e.StateKey == ""
		}
	}
	return encrypted
}

// since finds from which event on a room's messages are for us: where we have
// just come in, from the invitation on; at the very first sync, none.
func (m *Matrix) since(r *roomNews, state []*event.Event, was int64, first bool) {
	if was != 0 && !first {
		return
	}
	invited, came := -1, -1
	for i, e := range r.events {
		switch m.ownMembership(e) {
		case event.MembershipInvite:
			invited = i
		case event.MembershipJoin:
			if came < 0 || invited > came {
				came = i
			}
		case event.MembershipLeave, event.MembershipBan:
			invited, came = -1, -1
		}
	}
	if came >= 0 {
		r.joined, r.floor = r.events[came].Timestamp, came
		if invited >= 0 && invited < came {
			r.floor = invited // whoever writes to the invited means them
		}
	}
	for _, e := range state {
		if r.joined == 0 && m.ownMembership(e) == event.MembershipJoin {
			r.joined = e.Timestamp
		}
	}
	if r.joined == 0 {
		r.joined = time.Now().UnixMilli()
	}
	if first {
		r.floor = len(r.events)
	}
}

// ownMembership gives what a member event makes of us, "" if it is none of ours.
func (m *Matrix) ownMembership(e *event.Event) event.Membership {
	if e == nil || e.Type.Type != event.StateMember.Type || e.StateKey == nil || *e.StateKey != m.cfg.User {
		return ""
	}
	s, _ := e.Content.Raw["membership"].(string)
	return event.Membership(s)
}

// putRoom stores what is new of a room.
func (m *Matrix) putRoom(ctx context.Context, tx *sql.Tx, r *roomNews, now int64) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO room (id, encrypted, joined, gap) VALUES (?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET encrypted = max(encrypted, excluded.encrypted), joined = excluded.joined, gap = CASE WHEN excluded.gap = '' THEN gap ELSE excluded.gap END`,
		r.id, r.encrypted, r.joined, r.gap)
	if err != nil {
		return err
	}
	for i, e := range r.events {
		if err := m.putEvent(ctx, tx, e, i < r.floor, now); err != nil {
			return err
		}
	}
	return nil
}

// putEvent stores an event: that it was seen and, if it is somebody's word and
// not to be passed over, its row in the inbox. Once only.
func (m *Matrix) putEvent(ctx context.Context, tx *sql.Tx, e *event.Event, over bool, now int64) error {
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
		return e.StateKey != nil && *e.StateKey == ""
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
	return lane, ignoreNone(err)
}

// relation reads how an event hangs on others. Nothing of it is sure.
func relation(e *event.Event) *event.RelatesTo {
	var c struct {
		RelatesTo event.RelatesTo `json:"m.relates_to"`
	}
	raw := e.Content.VeryRaw
	if len(raw) == 0 || json.Unmarshal(raw, &c) != nil {
		return &event.RelatesTo{}
	}
	return &c.RelatesTo
}

// redacted gives what a redaction takes back; where it says so depends on the
// room's version.
func redacted(e *event.Event) id.EventID {
	if s, ok := e.Content.Raw["redacts"].(string); ok && s != "" {
		return id.EventID(s)
	}
	return e.Redacts
}

// joinedAt gives since when we are in a room, 0 if we are not or don't know it.
func (s *state) joinedAt(ctx context.Context, room string) (at int64, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT joined FROM room WHERE id = ?", room).Scan(&at)
	return at, ignoreNone(err)
}

// putDirect notes which rooms our account has listed for talk with one person.
func putDirect(ctx context.Context, tx *sql.Tx, events []*event.Event) error {
	for _, e := range events {
		if e == nil || e.Type.Type != event.AccountDataDirectChats.Type {
			continue
		}
		var list map[string][]string
		if json.Unmarshal(e.Content.VeryRaw, &list) != nil {
			continue
		}
		for _, rooms := range list {
			for _, room := range rooms {
				if _, err := tx.ExecContext(ctx, "INSERT INTO room (id, direct) VALUES (?, 1) ON CONFLICT (id) DO UPDATE SET direct = 1", room); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
