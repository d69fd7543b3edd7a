package matrix

import (
	"context"
	"errors"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// barred is the server's word that we may not write in a room just now: we are
// not in it, or have not the power.
type barred struct {
	again <-chan struct{}
	err   error
}

func (e *barred) Error() string { return e.err.Error() }
func (e *barred) Unwrap() error { return e.err }

// Again gives what is closed once it may be otherwise.
func (e *barred) Again() <-chan struct{} { return e.again }

// watched does what says something. Where we may not write, its error tells when
// that may have changed, from before the try on. A stranger need not be told of
// it later that he is one.
func (m *stint) watched(ctx context.Context, out bot.Outbound, do func(context.Context, bot.Outbound) error) error {
	room, _ := splitThread(out.Thread)
	home, err := m.state.homeOf(ctx, room)
	if err != nil {
		return storeFault(err)
	}
	again := m.out.rights(id.RoomID(home))
	err = do(ctx, out)
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Conflict {
		return err
	}
	if turnsAway(&out) {
		return &bot.Error{Kind: bot.Forbidden, Err: e.Err}
	}
	return &bot.Error{Kind: bot.Conflict, Err: &barred{again, e.Err}}
}

// turnsAway says whether a message tells a stranger that he is one.
func turnsAway(out *bot.Outbound) bool {
	return out.Job == "" && out.Reply.Kind == flow.Refusal && out.Reply.Role == flow.Stranger
}

// rights gives what is closed when our rights in a room may have changed.
func (o *outward) rights(room id.RoomID) <-chan struct{} {
	o.mu.Lock()
	defer o.mu.Unlock()
	ch := o.changes[room]
	if ch != nil {
		return ch
	}
	if len(o.changes) >= mostKept {
		o.allChanged()
	}
	ch = make(chan struct{})
	keep(&o.changes, room, ch)
	return ch
}

// changed tells those who wait for a room.
func (o *outward) changed(room id.RoomID) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if ch := o.changes[room]; ch != nil {
		close(ch)
		delete(o.changes, room)
	}
}

// over tells all who wait: this run has ended, and the next has rights of its own.
func (o *outward) over() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.allChanged()
}

// allChanged is called with mu held.
func (o *outward) allChanged() {
	for _, ch := range o.changes {
		close(ch)
	}
	o.changes = nil
}

// ourRights says whether what has come of a room may have changed what we may do
// there.
func (m *stint) ourRights(lists ...[]*event.Event) bool {
	for _, events := range lists {
		for _, e := range events {
			if e != nil && e.StateKey != nil && (e.Type.Type == event.StatePowerLevels.Type || m.ownMembership(e) == event.MembershipJoin) {
				return true
			}
		}
	}
	return false
}
