package person

import (
	"context"
	"errors"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// room is what a person was told of one room.
type room struct {
	events  []*record // in the order of the room
	byID    map[id.EventID]*record
	members map[id.UserID]event.Membership
}

// room is that of the person's rooms, made if it is a new one.
func (p *Person) room(name id.RoomID) *room {
	r := p.rooms[name]
	if r == nil {
		r = &room{byID: map[id.EventID]*record{}, members: map[id.UserID]event.Membership{}}
		p.rooms[name] = r
	}
	return r
}

// record is an event as it came, and as it could be read.
type record struct {
	raw   *event.Event
	plain *event.Event // nil while it can't be read
	err   error        // why
}

// syncer reads what is encrypted after each answer as a whole, when its keys
// have been taken in, and tries again at each answer: nothing runs beside it.
type syncer struct {
	*mautrix.DefaultSyncer
	p *Person
}

func (p *Person) newSyncer() *syncer {
	s := &syncer{mautrix.NewDefaultSyncer(), p}
	s.FilterJSON = &mautrix.Filter{Room: &mautrix.RoomFilter{Timeline: &mautrix.FilterPart{Limit: perSync}}}
	s.OnEvent(p.take)
	s.OnEvent(p.Client.StateStoreSyncHandler)
	s.OnEventType(event.StateMember, p.invited)
	return s
}

func (s *syncer) ProcessResponse(ctx context.Context, res *mautrix.RespSync, since string) error {
	s.p.whole.Lock()
	defer s.p.whole.Unlock()
	err := s.DefaultSyncer.ProcessResponse(ctx, res, since)
	s.p.read(ctx)
	return err
}

// OnFailedSync waits shortly: servers are stopped and started in tests.
func (s *syncer) OnFailedSync(_ *mautrix.RespSync, err error) (time.Duration, error) {
	if errors.Is(err, mautrix.MUnknownToken) {
		return 0, err
	}
	return 200 * time.Millisecond, nil
}

// take notes an event of a room. An answer that comes twice changes nothing.
func (p *Person) take(_ context.Context, e *event.Event) {
	source := e.Mautrix.EventSource
	if e.RoomID == "" || source&(event.SourceTimeline|event.SourceState) == 0 {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	r := p.room(e.RoomID)
	if e.Type == event.StateMember {
		r.members[id.UserID(e.GetStateKey())] = e.Content.AsMember().Membership
	}
	if e.ID == "" || source&event.SourceTimeline == 0 {
		return
	}
	if r.byID[e.ID] != nil {
		return
	}
	rec := &record{raw: e}
	if e.Type != event.EventEncrypted {
		rec.plain = e
	} else if p.crypt == nil {
		rec.err = errors.New("this person has no encryption")
	}
	r.byID[e.ID] = rec
	r.events = append(r.events, rec)
}

// read decrypts what can be by now, and tells those who wait. Only the goroutine
// that syncs comes here.
func (p *Person) read(ctx context.Context) {
	p.mu.Lock()
	var closed []*record
	for _, r := range p.rooms {
		for _, rec := range r.events {
			if rec.plain == nil && p.crypt != nil && rec.raw.Unsigned.RedactedBecause == nil {
				closed = append(closed, rec)
			}
		}
	}
	p.mu.Unlock()
	for _, rec := range closed {
		plain, err := p.crypt.Decrypt(ctx, rec.raw)
		p.mu.Lock()
		rec.plain, rec.err = plain, err
		p.mu.Unlock()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	close(p.changed)
	p.changed = make(chan struct{})
}

// invited joins, unless the person waits. The same invitation can come again in
// the timeline of the room once joined, which is not one.
func (p *Person) invited(ctx context.Context, e *event.Event) {
	if p.waits || e.Mautrix.EventSource&event.SourceInvite == 0 || e.GetStateKey() != string(p.ID) ||
		e.Content.AsMember().Membership != event.MembershipInvite {
		return
	}
	if err := p.enter(ctx, e.RoomID); err != nil && ctx.Err() == nil {
		p.t.Errorf("%s: join %s: %v", p.ID, e.RoomID, err)
	}
}

// enter joins a room; the caller holds whole.
func (p *Person) enter(ctx context.Context, room id.RoomID) error {
	if err := p.ask(ctx, room, "join", map[string]any{}); err != nil {
		return err
	}
	return p.fetch(ctx, room)
}

// fetch takes in a room's state with all its members: without them the keys of
// what is said would go only to those whose joining was seen. The caller holds
// whole, so that no newer answer is taken in between and then overwritten.
func (p *Person) fetch(ctx context.Context, room id.RoomID) error {
	state, err := p.Client.State(ctx, room)
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for user, e := range state[event.StateMember] {
		p.room(room).members[id.UserID(user)] = e.Content.AsMember().Membership
	}
	return nil
}
