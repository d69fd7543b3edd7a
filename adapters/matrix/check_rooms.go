package matrix

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// checkMost is how many rooms a check looks at: those of the configuration all,
// of the others as many as are left.
const checkMost = 100

// roomLook is a room that is to be looked at.
type roomLook struct {
	id    id.RoomID
	role  bool // the configuration gives a role for it
	posts bool // alerts or digests go there
	name  string
	next  string // the room that has replaced it, "" if none
}

// configured are the rooms that the configuration names, each once.
func (c *checker) configured() (rooms []roomLook) {
	for _, p := range c.m.cfg.Patterns {
		if strings.HasPrefix(p, "!") {
			rooms = append(rooms, roomLook{id: id.RoomID(p), role: true})
		}
	}
	for _, p := range c.m.cfg.Posts {
		i := slices.IndexFunc(rooms, func(r roomLook) bool { return r.id == id.RoomID(p) })
		if i < 0 {
			i = len(rooms)
			rooms = append(rooms, roomLook{id: id.RoomID(p)})
		}
		rooms[i].posts = true
	}
	return rooms
}

// rooms looks at each room of the configuration, and at those that the assistant
// is in beside.
func (c *checker) rooms(ctx context.Context) {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	in, err := c.client.JoinedRooms(limit)
	if err == nil && in == nil {
		err = errEmpty
	}
	if err != nil {
		c.bad("try again", "the homeserver does not say in which rooms the assistant is: %v", err)
		return
	}
	others := slices.Sorted(slices.Values(in.JoinedRooms))
	c.joined = slices.Clone(others)
	looks := c.configured()
	for i := range looks {
		l := &looks[i]
		at, found := slices.BinarySearch(others, l.id)
		if found {
			others = slices.Delete(others, at, at+1)
		}
		switch {
		case found:
			c.room(ctx, l)
		case l.posts:
			c.bad("invite "+c.m.cfg.User+" there, from an account of the configuration or of an allowed server: until then nobody gets what is sent there",
				"%s: the assistant is not in it", l)
		default:
			c.bad("invite "+c.m.cfg.User+" there, from an account of the configuration or of an allowed server", "%s: the assistant is not in it", l)
		}
	}
	if len(looks) == 0 && len(others) == 0 {
		c.ok("no rooms are configured, and the assistant is in none: invite %s from an account of the configuration or of an allowed server", c.m.cfg.User)
		return
	}
	c.others(ctx, others[:min(len(others), max(checkMost-len(looks), 0))], len(others))
}

// others looks at the rooms that the configuration does not name. Those that are
// in order are summed up.
func (c *checker) others(ctx context.Context, rooms []id.RoomID, all int) {
	looked, fine, encrypted, replaced := 0, 0, 0, 0
	for _, room := range rooms {
		if ctx.Err() != nil {
			break // of the time for all
		}
		l := &roomLook{id: room}
		secret, good := c.look(ctx, l)
		looked++
		if good && l.next != "" {
			replaced++
		} else if good {
			fine++
			if secret {
				encrypted++
			}
		}
	}
	if fine > 0 {
		c.ok("%s beside those of the configuration: joined, %d encrypted, may write and react", amount(fine, "room", "rooms"), encrypted)
	}
	if replaced > 0 {
		c.ok("%s beside those: replaced, and followed", amount(replaced, "room", "rooms"))
	}
	if more := all - looked; more > 0 {
		c.ok("%s that the assistant is in: not looked at", amount(more, "more room", "more rooms"))
	}
}

// room looks at a room that is told of in a line of its own.
func (c *checker) room(ctx context.Context, l *roomLook) {
	if secret, good := c.look(ctx, l); good {
		how := "not encrypted"
		if secret {
			how = "encrypted"
		}
		c.ok("%s: joined, %s, may write and react", l, how)
	}
}

// look says whether the assistant can do in a room what it has to, which is to
// write, edit its own and react: it takes nothing back and sets no state. What is
// not in order it notes.
func (c *checker) look(ctx context.Context, l *roomLook) (encrypted, good bool) {
	before := len(c.found)
	if err := contain(c.m.cfg.Log, "a look at a room", func() error { encrypted = c.state(ctx, l); return nil }); err != nil {
		c.bad("report it: "+err.Error(), "%s: its state can't be understood", l)
	}
	return encrypted, len(c.found) == before
}

func (c *checker) state(ctx context.Context, l *roomLook) (encrypted bool) {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	state, err := c.client.State(limit, l.id)
	if err != nil {
		c.bad("try again", "%s: the homeserver does not say how it stands: %v", l, brief(err))
		return false
	}
	if e := state[event.StateRoomName][""]; e != nil {
		l.name = cut(e.Content.AsRoomName().Name, 60)
	}
	if e := state[event.StateTombstone][""]; e != nil {
		c.replaced(l, e)
		return false
	}
	words, how := event.EventMessage, "not encrypted"
	if e := state[event.StateEncryption][""]; e != nil {
		encrypted, words, how = true, event.EventEncrypted, "encrypted"
		if !c.reads(l, e) {
			return true
		}
	}
	pl := &event.PowerLevelsEventContent{}
	if e := state[event.StatePowerLevels][""]; e != nil {
		pl = e.Content.AsPowerLevels()
	}
	pl.CreateEvent = state[event.StateCreate][""]
	has := pl.GetUserLevel(c.client.UserID)
	for _, need := range []struct {
		typ  event.Type
		what string
	}{{words, "write"}, {event.EventReaction, "put reactions under questions"}} {
		if needs := pl.GetEventLevel(need.typ); has < needs {
			c.bad(fmt.Sprintf("give %s level %d there, or lower that of %s%s", c.m.cfg.User, needs, need.typ.Type, l.orRemove()),
				"%s: joined, %s, but the assistant may not %s: it has power level %d and needs %d", l, how, need.what, has, needs)
		}
	}
	return encrypted
}

// replaced looks at a room in whose place there is another: what may be done in it
// is no matter any more.
func (c *checker) replaced(l *roomLook, e *event.Event) {
	next := e.Content.AsTombstone().ReplacementRoom
	l.next = fmt.Sprintf("%.100q", string(next))
	if soundID(string(next), "!") {
		l.next = string(next)
	}
	var mend []string
	switch configured := c.configured(); {
	case !l.role && !l.posts:
	case slices.ContainsFunc(configured, func(o roomLook) bool { return o.id == next && o.role == l.role && o.posts == l.posts }):
		mend = append(mend, "take it out of the configuration, which names the new one too")
	default:
		mend = append(mend, "name "+l.next+" in its place in the configuration")
	}
	if _, followed := slices.BinarySearch(c.joined, next); !followed {
		mend = append(mend, "invite "+c.m.cfg.User+" to the new one"+l.orRemove())
	}
	if len(mend) > 0 {
		c.bad(strings.Join(mend, "; "), "%s has been replaced by %s", l, l.next)
	}
}

// reads says whether an encrypted room can be served, and notes it if not.
func (c *checker) reads(l *roomLook, e *event.Event) bool {
	const another = "use another room: encryption can't be taken out of one"
	switch how := e.Content.AsEncryption().Algorithm; {
	case !hasEncryption:
		c.bad("take a build with -tags goolm, or "+another+l.orRemove(), "%s is encrypted, and this build has no encryption: the assistant can't read or write there", l)
	case !c.m.cfg.Encryption:
		c.bad("switch encryption on in the configuration, or "+another+l.orRemove(), "%s is encrypted, and the configuration has encryption off: the assistant can't read or write there", l)
	case how != id.AlgorithmMegolmV1:
		c.bad(another+l.orRemove(), "%s is encrypted in a way that is not known here, %q: the assistant can't read or write there", l, cut(string(how), 60))
	default:
		return true
	}
	return false
}

// String names the room, and what it is for.
func (l *roomLook) String() string {
	s := "room " + string(l.id)
	if !soundID(string(l.id), "!") {
		s = fmt.Sprintf("room %.100q", string(l.id)) // of the server's answer
	}
	if l.name != "" {
		s += fmt.Sprintf(" %q", l.name)
	}
	switch {
	case l.posts:
		s += " (alerts, digests)"
	case !l.role:
		s += " (not in the configuration)"
	}
	return s
}

// orRemove is the other way for rooms that the configuration does not name.
func (l *roomLook) orRemove() string {
	if l.role || l.posts {
		return ""
	}
	return ", or remove the assistant from it"
}

// amount prints a number with its noun.
func amount(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}
