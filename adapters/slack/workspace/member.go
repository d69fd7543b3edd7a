package workspace

import (
	"slices"
	"time"
)

// Join makes the person a member of a channel.
func (u *User) Join(channel string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	u.w.join(u.w.channelOf(channel), u.id, "")
}

// Leave ends the person's membership.
func (u *User) Leave(channel string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	w, c := u.w, u.w.channelOf(channel)
	c.members = slices.DeleteFunc(c.members, func(x string) bool { return x == u.id })
	if c.has(w.botUser) {
		w.emit("member_left_channel", c.family()+":read", obj{"type": "member_left_channel", "user": u.id, "channel": c.id,
			"channel_type": c.letter(), "team": w.opt.Team, "event_ts": w.ts()})
	}
}

// AddApp invites the app into a channel.
func (u *User) AddApp(channel string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	u.w.join(u.w.channelOf(channel), u.w.botUser, u.id)
}

func (w *Workspace) join(c *channel, user, inviter string) {
	if c.has(user) {
		return
	}
	c.members = append(c.members, user)
	if !c.has(w.botUser) {
		return
	}
	event := obj{"type": "member_joined_channel", "user": user, "channel": c.id, "channel_type": c.letter(), "team": w.opt.Team, "event_ts": w.ts()}
	if inviter != "" {
		event["inviter"] = inviter
	}
	w.emit("member_joined_channel", c.family()+":read", event)
	m := &message{ts: w.ts(), user: user, subtype: "channel_join", text: "<@" + user + "> has joined the channel"}
	c.msgs = append(c.msgs, m)
	w.emitMessage(c, w.render(c, m, false))
}

// RemoveApp takes the app out of a channel; it hears of that, and of nothing there any more.
func (u *User) RemoveApp(channel string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	w, c := u.w, u.w.channelOf(channel)
	c.members = slices.DeleteFunc(c.members, func(x string) bool { return x == w.botUser })
	name := map[Kind]string{Public: "channel_left", Private: "group_left", Direct: "im_close"}[c.kind]
	w.emit(name, c.family()+":read", obj{"type": name, "channel": c.id, "actor_id": u.id, "event_ts": w.ts()})
}

// Archive closes a channel.
func (u *User) Archive(channel string) { u.archive(channel, true, "_archive") }

// Unarchive opens it again.
func (u *User) Unarchive(channel string) { u.archive(channel, false, "_unarchive") }

func (u *User) archive(channel string, on bool, suffix string) {
	u.w.t.Helper()
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	c := u.w.channelOf(channel)
	c.archived = on
	name := map[Kind]string{Public: "channel", Private: "group"}[c.kind] + suffix
	if c.has(u.w.botUser) {
		u.w.emit(name, c.family()+":read", obj{"type": name, "channel": c.id, "user": u.id, "is_moved": 0, "event_ts": u.w.ts()})
	}
}

// Rename changes the person's full name.
func (u *User) Rename(real string) {
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	p := u.w.people[u.id]
	p.Real = real
	u.w.emit("user_change", "users:read", obj{"type": "user_change", "user": u.w.userObject(p), "cache_ts": time.Now().Unix(), "event_ts": u.w.ts()})
}
