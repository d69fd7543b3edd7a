package matrix

import (
	"context"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
	"milepost/bot"
)

// place finds the conversation a message is in. It is false where the message is
// in somebody else's.
func (m *stint) place(ctx context.Context, evt *event.Event, rel *event.RelatesTo, in *bot.Inbound) (bool, error) {
	return m.placeSaid(ctx, evt, rel, false, in)
}

// placeSaid does so with a message that was read. Where its client does not say who
// is called, replying to our words is calling us.
func (m *stint) placeSaid(ctx context.Context, evt *event.Event, rel *event.RelatesTo, replyCalls bool, in *bot.Inbound) (bool, error) {
	room := string(evt.RoomID)
	root := rel.GetThreadParent()
	if root != "" {
		thread, err := m.threadOfRoot(ctx, evt.RoomID, root)
		if err != nil {
			return false, err
		}
		if thread != "" {
			in.Thread = bot.Thread(thread)
			return true, nil
		}
		if ok, err := m.onAlert(ctx, evt.RoomID, root, in); err != nil || ok {
			return ok, err
		}
	}
	if to := rel.GetNonFallbackReplyTo(); to != "" { // from a client without threads, or in another thread
		thread, err := m.threadAt(ctx, to)
		if err != nil {
			return false, err
		}
		if thread != "" {
			in.Thread = bot.Thread(thread)
			return true, nil
		}
		if ok, err := m.onAlert(ctx, evt.RoomID, to, in); err != nil || ok {
			return ok, err
		}
		if !in.Called && replyCalls {
			if in.Called, err = m.isOurs(ctx, evt.RoomID, to); err != nil {
				return false, err
			}
		}
	}
	if root != "" && !in.Called { // other people's talk, unless a job was begun in it
		if begun, err := m.state.begunIn(ctx, room, string(root)); err != nil || !begun {
			return false, err
		}
	}
	in.Thread, in.Loose = threadName(room, string(evt.ID)), true
	in.Direct = in.Called && m.direct(ctx, evt.RoomID)
	return true, nil
}

// isOurs says whether an event of a room is known to be one of ours.
func (m *stint) isOurs(ctx context.Context, room id.RoomID, evt id.EventID) (bool, error) {
	sender, in, err := m.state.senderOf(ctx, string(evt))
	if err != nil || sender != "" {
		return sender == m.cfg.User && in == string(room), err
	}
	return m.state.isSent(ctx, string(room), string(evt))
}

// onAlert puts a message in the job that a post of ours in a room's main line is
// of, an alert say: what hangs on it is meant for that job.
func (m *stint) onAlert(ctx context.Context, room id.RoomID, target id.EventID, in *bot.Inbound) (bool, error) {
	thread, job, _, err := m.state.offered(ctx, string(target))
	if err != nil || job == "" {
		return false, err
	}
	of, start := splitThread(bot.Thread(thread))
	if start != "" {
		return false, nil // in a thread, which is known otherwise
	}
	home, err := m.state.homeOf(ctx, of)
	if err != nil || home != string(room) {
		return false, err
	}
	in.Thread, in.Loose, in.Job = threadName(string(room), string(target)), true, job
	return true, nil
}

// threadOfRoot gives our thread that hangs on an event. What is not known any
// more is found again: the card is ours, and says which event it answers.
func (m *stint) threadOfRoot(ctx context.Context, room id.RoomID, root id.EventID) (string, error) {
	if !soundID(string(root), "$") {
		return "", nil
	}
	thread, err := m.state.threadOf(ctx, string(root))
	if err != nil || thread != "" {
		return thread, err
	}
	// Somebody may have opened a thread on the message that began the job.
	begun := string(threadName(string(room), string(root)))
	card, err := m.state.rootOf(ctx, begun)
	if err != nil {
		return "", err
	}
	if card != "" {
		return begun, nil
	}
	sender, _, err := m.state.senderOf(ctx, string(root))
	if err != nil || sender != "" && sender != m.cfg.User {
		return "", err
	}
	evt, err := m.ask(ctx, room, root)
	if err != nil || evt == nil || string(evt.Sender) != m.cfg.User {
		return "", err
	}
	start := relation(evt).GetReplyTo()
	if !soundID(string(start), "$") {
		return "", nil
	}
	thread = string(threadName(string(room), string(start)))
	if home, err := m.state.homeOf(ctx, string(room)); err != nil || home != string(room) {
		return thread, err // it hangs on something else by now
	}
	return thread, m.state.setRoot(ctx, thread, string(root), string(room), "")
}

// threadAt gives our thread in which an event stands, "" if in none.
func (m *stint) threadAt(ctx context.Context, evt id.EventID) (string, error) {
	thread, _, _, err := m.state.offered(ctx, string(evt))
	if err != nil {
		return "", err
	}
	if _, start := splitThread(bot.Thread(thread)); start != "" {
		return thread, nil
	}
	if thread, err = m.state.threadOf(ctx, string(evt)); err != nil || thread != "" {
		return thread, err
	}
	lane, room, err := m.state.laneAt(ctx, string(evt))
	if err != nil || lane == "" {
		return "", err
	}
	if lane != room {
		if thread, err = m.state.threadOf(ctx, lane); err != nil || thread != "" {
			return thread, err
		}
		evt = id.EventID(lane)
	}
	begun := string(threadName(room, string(evt))) // of the message that began it
	card, err := m.state.rootOf(ctx, begun)
	if err != nil || card == "" {
		return "", err
	}
	return begun, nil
}

func (s *state) senderOf(ctx context.Context, evt string) (sender, room string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT sender, room FROM seen WHERE event = ?", evt).Scan(&sender, &room)
	return sender, room, own.IgnoreNone(err)
}

// begunIn says whether a message in somebody's thread has begun a job.
func (s *state) begunIn(ctx context.Context, room, root string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM seen JOIN root ON root.thread = seen.room || '/' || seen.event
		WHERE seen.lane = ? AND seen.room = ? LIMIT 1)`, root, room).Scan(&n)
	return n > 0, err
}

// isSent says whether an event of a room was sent by us.
func (s *state) isSent(ctx context.Context, room, evt string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM sent WHERE room = ? AND event = ?", room, evt).Scan(&n)
	return n > 0, err
}

func (s *state) laneAt(ctx context.Context, evt string) (lane, room string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT lane, room FROM seen WHERE event = ?", evt).Scan(&lane, &room)
	return lane, room, own.IgnoreNone(err)
}
