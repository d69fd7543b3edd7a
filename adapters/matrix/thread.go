package matrix

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// place is where a message goes.
type place struct {
	room   id.RoomID
	begins id.EventID // the message that began the job, "" in a room's main line
	moved  bool       // that message is in the room that this one replaced
	root   id.EventID // the card on which the thread hangs, "" where there is none (yet)
	last   id.EventID // what people last wrote in the thread: clients without threads show it as an answer to that
}

// destination finds where a message goes. A thread without a root is the main line,
// there as an answer to the message that began it.
func (m *stint) destination(ctx context.Context, out *bot.Outbound) (*place, error) {
	room, begins := splitThread(out.Thread)
	if !strings.HasPrefix(room, "!") || begins != "" && !strings.HasPrefix(begins, "$") {
		return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("send: %.200q is no thread of this network", out.Thread)}
	}
	home, err := m.state.homeOf(ctx, room)
	if err != nil {
		return nil, storeFault(err)
	}
	p := &place{room: id.RoomID(home), begins: id.EventID(begins), moved: home != room}
	if err := m.recall(ctx, p.room); err != nil {
		return nil, err
	}
	if begins == "" {
		return p, nil
	}
	root, err := m.state.rootOf(ctx, string(out.Thread))
	if err != nil {
		return nil, storeFault(err)
	}
	if root == "" && !p.moved {
		if root, err = m.findRoot(ctx, p, out); err != nil || root == "" {
			return p, err
		}
	}
	if root == "" {
		return p, nil
	}
	p.root = id.EventID(root)
	last, err := m.state.lastOf(ctx, root, m.cfg.User)
	if err != nil {
		return nil, storeFault(err)
	}
	if p.last = id.EventID(last); last == "" {
		p.last = p.root
	}
	return p, nil
}

// relation is how a message hangs on what was there before.
func (p *place) relation() *event.RelatesTo {
	switch {
	case p.root != "":
		return (&event.RelatesTo{}).SetThread(p.root, p.last)
	case p.begins != "" && !p.moved:
		return (&event.RelatesTo{}).SetReplyTo(p.begins)
	}
	return nil
}

// outward is what is kept in memory of rooms that we write to. It can be lost at
// any moment.
type outward struct {
	mu      sync.Mutex
	plain   map[id.RoomID]bool          // the server has said since the start: not encrypted
	looked  map[string]bool             // threads whose root was looked for, and is not there
	rooms   map[id.RoomID]bool          // rooms that were recalled, or need not be
	found   map[string]id.EventID       // events of ours that this state knew nothing of, by transaction
	since   time.Time                   // when it was made
	changes map[id.RoomID]chan struct{} // closed when our rights there may have changed
	unsure  map[string]time.Time        // when a try ended without an answer, by transaction
	calm    time.Time                   // until then the server is asked for nothing that can be left out
	limit   int64                       // bytes of a file that the server takes
	limited bool                        // limit has been asked for
}

// calmFor is for how long reactions are left out once the server has asked to
// wait: what it takes of an account is counted together, and words go first.
const calmFor = time.Minute

func (o *outward) isLimited() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return time.Now().Before(o.calm)
}

func (o *outward) setLimited() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.calm = time.Now().Add(calmFor)
}

// mostKept bounds each of these: beyond it all are forgotten, and asked again.
const mostKept = 10_000

func keep[K comparable, V any](m *map[K]V, k K, v V) {
	if *m == nil || len(*m) >= mostKept {
		*m = map[K]V{}
	}
	(*m)[k] = v
}

func (o *outward) isPlain(room id.RoomID) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.plain[room]
}

func (o *outward) setPlain(room id.RoomID) {
	o.mu.Lock()
	defer o.mu.Unlock()
	keep(&o.plain, room, true)
}
