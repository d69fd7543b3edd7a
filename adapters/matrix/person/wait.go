package person

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"maunium.net/go/mautrix/id"
)

// Patience is how long is waited for what must come. It is no judgement of speed:
// on a machine that tests keep busy a server can stand still for half a minute.
const Patience = 5 * time.Minute

// Wait waits until the timeline of a room fulfils cond, and gives it. what says
// what is waited for; if it does not come, the test ends with what there is.
func (p *Person) Wait(room id.RoomID, what string, cond func([]Event) bool) []Event {
	p.t.Helper()
	var now []Event
	if !p.await(func() bool { now = p.Timeline(room); return cond(now) }) {
		p.t.Fatalf("%s waited %v in vain for %s; sees in %s:\n%s", p.ID, Patience, what, room, Dump(now))
	}
	return now
}

// WaitFor waits for a message of someone ("": anyone) with part in its words.
func (p *Person) WaitFor(room id.RoomID, from id.UserID, part string) Event {
	p.t.Helper()
	is := func(e Event) bool {
		return (from == "" || e.Sender == from) && e.Err == "" && strings.Contains(e.Body, part)
	}
	now := p.Wait(room, fmt.Sprintf("%q from %s", part, from), func(all []Event) bool { return slices.ContainsFunc(all, is) })
	return now[slices.IndexFunc(now, is)]
}

// WaitRead waits until a message is there and can be read.
func (p *Person) WaitRead(room id.RoomID, event id.EventID) Event {
	p.t.Helper()
	now := p.Wait(room, "message "+string(event), func(all []Event) bool { e, ok := Find(all, event); return ok && e.Err == "" })
	e, _ := Find(now, event)
	return e
}

// await asks cond after each change, until it is true or the time is over.
func (p *Person) await(cond func() bool) bool {
	p.t.Helper()
	limit := time.NewTimer(Patience)
	defer limit.Stop()
	for {
		p.mu.Lock()
		changed := p.changed
		p.mu.Unlock()
		if cond() {
			return true
		}
		select {
		case <-changed:
		case <-limit.C:
			return cond()
		}
	}
}

// Find is the message with this ID.
func Find(all []Event, event id.EventID) (Event, bool) {
	i := slices.IndexFunc(all, func(e Event) bool { return e.ID == event })
	if i < 0 {
		return Event{}, false
	}
	return all[i], true
}

// Dump shows messages one a line, for tests that fail.
func Dump(all []Event) string {
	if len(all) == 0 {
		return "  (nothing)\n"
	}
	var b strings.Builder
	for _, e := range all {
		fmt.Fprintf(&b, "  %s %s %s", e.ID, e.Sender, e.Type)
		if e.Root != "" {
			fmt.Fprintf(&b, " in thread %s", e.Root)
		}
		if e.ReplyTo != "" {
			fmt.Fprintf(&b, " to %s", e.ReplyTo)
		}
		if e.Encrypted {
			fmt.Fprintf(&b, " encrypted, device %s", e.Trust)
		}
		if e.Err != "" {
			fmt.Fprintf(&b, " UNREADABLE: %s", e.Err)
		}
		fmt.Fprintf(&b, " %q", e.Body)
		if e.Edited {
			b.WriteString(" edited")
		}
		for _, r := range e.Reactions {
			fmt.Fprintf(&b, " [%s by %s]", r.Key, r.Sender)
		}
		if e.File != nil {
			fmt.Fprintf(&b, " file %q, %s, %d bytes", e.File.Name, e.File.ContentType, e.File.Size)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
