package matrix

import (
	"context"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// Bounds of looking back, for each room, from the first sync of a new state.
const (
	awayEvents  = 300
	awayFor     = 7 * 24 * time.Hour
	awayThreads = 200 // in all rooms together
	awayTries   = 10
)

// away is a room as the first sync of a new state found it.
type away struct {
	room   id.RoomID
	events []*event.Event // oldest first
	from   string         // where those before begin
}

// unheard is a thread of ours in which somebody had the last word.
type unheard struct {
	room id.RoomID
	root id.EventID
	last id.EventID
}

// sayAway says, in each thread of a job in which somebody had the last word, that
// it may not have been read: the first sync of a new state takes up nothing of
// before, and only whoever wrote it knows what we have missed.
func (m *stint) sayAway(ctx context.Context) {
	list := m.in.away
	m.in.away = nil
	said := 0
	for i := range list {
		for _, u := range m.unheardIn(ctx, &list[i]) {
			if said++; said > awayThreads {
				m.cfg.Log.Warn("matrix: more threads may hold messages that were not read than are told of it", "told", awayThreads)
				return
			}
			m.sayUnheard(ctx, u)
		}
	}
}

// unheardIn looks through the end of a room.
func (m *stint) unheardIn(ctx context.Context, a *away) (list []unheard) {
	l := lastWords{m: m, direct: m.direct(ctx, a.room), by: map[id.EventID]*event.Event{}}
	until, n := time.Now().Add(-awayFor).UnixMilli(), len(a.events)
	for i := len(a.events) - 1; i >= 0; i-- {
		l.note(a.events[i])
	}
	for from := a.from; from != "" && n < awayEvents && (len(a.events) == 0 || a.events[0].Timestamp >= until); {
		page, err := m.client.Messages(ctx, a.room, from, "", mautrix.DirectionBackward, gapFilter, gapPage)
		if err != nil {
			m.cfg.Log.Warn("matrix: look for messages that were not read", "room", a.room, "err", brief(err))
			break
		}
		n += gapPage
		for _, e := range ofRoom(a.room, page.Chunk) {
			if e.Timestamp < until {
				n = awayEvents
				break
			}
			l.note(e)
		}
		if page.End == from {
			break
		}
		from = page.End
	}
	for root, last := range l.unheard() {
		if thread, err := m.threadOfRoot(ctx, a.room, root); err == nil && thread != "" {
			list = append(list, unheard{a.room, root, last})
		}
	}
	return list
}

// lastWords finds who had the last word in each thread of a room, and in one where
// two talk in the room as a whole: what is said beside a thread is of its job
// there. It is told of events newest first.
type lastWords struct {
	m      *stint
	direct bool
	by     map[id.EventID]*event.Event // by root
	root   id.EventID                  // of the last thread of ours
	last   *event.Event                // of the room
}

func (l *lastWords) note(e *event.Event) {
	t := e.Type.Type
	if t != event.EventMessage.Type && t != event.EventEncrypted.Type || e.StateKey != nil || e.Unsigned.RedactedBecause != nil {
		return
	}
	rel, ours := relation(e), string(e.Sender) == l.m.cfg.User
	if rel.Type == event.RelReplace {
		return
	}
	root := rel.GetThreadParent()
	if ours && root == "" && rootsOn(e) != "" {
		root = e.ID
	}
	if l.last == nil {
		l.last = e
	}
	if ours && root != "" && l.root == "" {
		l.root = root
	}
	if root != "" && l.by[root] == nil {
		l.by[root] = e
	}
}

// unheard gives the threads in which it was not us, and what was said last.
func (l *lastWords) unheard() map[id.EventID]id.EventID {
	found := map[id.EventID]id.EventID{}
	if l.direct && l.root != "" && l.last != nil {
		l.by = map[id.EventID]*event.Event{l.root: l.last}
	}
	for root, e := range l.by {
		if string(e.Sender) != l.m.cfg.User {
			found[root] = e.ID
		}
	}
	return found
}

// awayWords are said where it may be that we have not read what was written.
const awayWords = "I was set up anew, and may not have read what was written here since my last message. Please send again what I did not take in."

func (m *stint) sayUnheard(ctx context.Context, u unheard) {
	r := rendered{body: awayWords}
	content := r.content(event.MsgText)
	content.RelatesTo = (&event.RelatesTo{}).SetThread(u.root, u.last)
	var b backoff
	for {
		err := m.recall(ctx, u.room)
		if err == nil {
			// Named by what was said last: of that it is said once, whatever is lost.
			_, err = m.post(ctx, &item{key: "away/" + u.last.String(), room: u.room, typ: event.EventMessage, content: content, rel: content.RelatesTo, target: u.root})
		}
		if err == nil || ctx.Err() != nil {
			return
		}
		wait := b.next(err)
		if final(err) || b.tries > awayTries || sleep(ctx, wait) != nil {
			m.cfg.Log.Warn("matrix: not said that messages may not have been read", "room", u.room, "err", brief(err))
			return
		}
	}
}
