package matrix

import (
	"context"
	"errors"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Bounds of looking for what may be there already.
const (
	pageSize  = 100
	mostPages = 20
	// The server's clock is not ours: what it calls older than a try by this much
	// was there before.
	clockSlack = time.Hour
	// For how long a server may go on with what its caller has given up.
	settleWait = time.Second
)

// find looks for an event of ours whose fate is unknown: a try was begun at a
// time of ours and its end was not seen. "" if the server does not have it. One
// that was given up a moment ago may still be on its way inside the server: it is
// looked for once more.
func (m *stint) find(ctx context.Context, it *item, txn string, at time.Time) (found id.EventID, err error) {
	look := func() error {
		return m.scan(ctx, it.room, it.target, relationOf(it), func(e *event.Event) bool {
			if m.ours(e) == txn {
				found = e.ID
			}
			return found != "" || e.Timestamp < at.Add(-clockSlack).UnixMilli()
		})
	}
	if err = look(); err != nil || found != "" {
		return found, err
	}
	wait := time.Until(m.out.triedLast(txn).Add(settleWait))
	if wait <= 0 {
		return "", nil
	}
	select {
	case <-time.After(wait):
		err = look()
		return found, err
	case <-ctx.Done():
		return "", sendFault(ctx, "look for what was sent", ctx.Err())
	}
}

// triedLast is when the last try of a message ended without an answer: at the
// latest when this process began.
func (o *outward) triedLast(txn string) time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	if at, ok := o.unsure[txn]; ok {
		return at
	}
	return o.since
}

// unanswered notes that a try ended without an answer.
func (o *outward) unanswered(txn string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	keep(&o.unsure, txn, time.Now())
}

func relationOf(it *item) event.RelationType {
	if it.typ == event.EventReaction {
		return event.RelAnnotation
	}
	return event.RelThread
}

// scan goes backwards through what hangs on an event, or through the room where
// that is "", until done says so.
func (m *stint) scan(ctx context.Context, room id.RoomID, target id.EventID, rel event.RelationType, done func(*event.Event) bool) error {
	from := ""
	for range mostPages {
		var chunk []*event.Event
		var next string
		if target != "" {
			resp, err := m.client.GetRelations(ctx, room, target, &mautrix.ReqGetRelations{RelationType: rel, Dir: mautrix.DirectionBackward, From: from, Limit: pageSize})
			if err != nil {
				return sendFault(ctx, "look for what was sent", err)
			}
			chunk, next = resp.Chunk, resp.NextBatch
		} else {
			resp, err := m.client.Messages(ctx, room, from, "", mautrix.DirectionBackward, nil, pageSize)
			if err != nil {
				return sendFault(ctx, "look for what was sent", err)
			}
			chunk, next = resp.Chunk, resp.End
		}
		for _, e := range chunk {
			if done(e) {
				return nil
			}
		}
		if next == "" || next == from || len(chunk) == 0 {
			return nil
		}
		from = next
	}
	return nil
}

// ours is the transaction that an event of ours carries, "" for all others.
func (m *stint) ours(e *event.Event) string {
	if e.Sender != m.client.UserID {
		return ""
	}
	txn, _ := e.Content.Raw[keyName].(string)
	return txn
}

// recall looks, once, through the end of a room in which this state has sent
// nothing: if it was lost, our messages of before are there.
func (m *stint) recall(ctx context.Context, room id.RoomID) error {
	if m.out.recalled(room) {
		return nil
	}
	known, err := m.state.hasSent(ctx, room.String())
	if err != nil {
		return storeFault(err)
	}
	if !known {
		n, roots := 0, map[id.EventID]id.EventID{}
		err := m.scan(ctx, room, "", "", func(e *event.Event) bool {
			n++
			if txn := m.ours(e); txn != "" {
				m.out.recollect(txn, e.ID)
				if begins := rootsOn(e); begins != "" {
					roots[begins] = e.ID
				}
			}
			return n >= pageSize
		})
		if err != nil {
			return err
		}
		for begins, root := range roots {
			if err := m.state.setRoot(ctx, string(threadName(room.String(), begins.String())), root.String(), room.String(), ""); err != nil {
				return storeFault(err)
			}
		}
	}
	m.out.setRecalled(room)
	return nil
}

// findRoot finds the card of a thread whose root is not known, "" if it has
// none. A thread whose beginning this state has seen has its root kept here, or
// none, unless it was forgotten.
func (m *stint) findRoot(ctx context.Context, p *place, out *bot.Outbound) (root string, err error) {
	lane, _, err := m.state.laneAt(ctx, p.begins.String())
	if err != nil {
		return "", storeFault(err)
	}
	if lane != "" || m.out.hasLooked(string(out.Thread)) {
		return "", nil
	}
	resp, err := m.client.Context(ctx, p.room, p.begins, nil, pageSize)
	if err != nil && !errors.Is(err, mautrix.MNotFound) {
		return "", sendFault(ctx, "look for the thread", err)
	}
	if err == nil {
		for _, e := range resp.EventsAfter {
			if m.ours(e) != "" && rootsOn(e) == p.begins {
				root = e.ID.String()
				break
			}
		}
	}
	if root == "" {
		m.out.setLooked(string(out.Thread))
		return "", nil
	}
	// What was said in it before is not said again.
	n := 0
	err = m.scan(ctx, p.room, id.EventID(root), event.RelThread, func(e *event.Event) bool {
		n++
		if txn := m.ours(e); txn != "" {
			m.out.recollect(txn, e.ID)
		}
		return n >= 5*pageSize
	})
	if err != nil {
		return "", err
	}
	return root, storeFault(m.state.setRoot(ctx, string(out.Thread), root, p.room.String(), out.Job))
}

// rootsOn gives the message that an event of ours answers as the card of a new
// thread, "" if it is no such card.
func rootsOn(e *event.Event) id.EventID {
	if root, _ := e.Content.Raw[rootName].(bool); !root {
		return ""
	}
	rel, _ := e.Content.Raw["m.relates_to"].(map[string]any)
	to, _ := rel["m.in_reply_to"].(map[string]any)
	begins, _ := to["event_id"].(string)
	return id.EventID(begins)
}

func (o *outward) recalled(room id.RoomID) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.rooms[room]
}

func (o *outward) setRecalled(room id.RoomID) {
	o.mu.Lock()
	defer o.mu.Unlock()
	keep(&o.rooms, room, true)
}

func (o *outward) hasLooked(thread string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.looked[thread]
}

func (o *outward) setLooked(thread string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	keep(&o.looked, thread, true)
}

func (o *outward) recollect(txn string, ev id.EventID) {
	o.mu.Lock()
	defer o.mu.Unlock()
	keep(&o.found, txn, ev)
}

func (o *outward) recollected(txn string) id.EventID {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.found[txn]
}
