package workspace

import (
	"regexp"
	"slices"
)

var emojiName = regexp.MustCompile(`^[a-z0-9_'+-]{1,100}(::skin-tone-[2-6])?$`)

// item is the message a reaction or pin is for.
func (w *Workspace) item(c *call) (*channel, *message, string) {
	if c.lacks("channel", "timestamp") {
		return nil, nil, "invalid_arguments"
	}
	ch := w.channels[c.arg("channel")]
	switch {
	case ch == nil || !w.visible(ch):
		return nil, nil, "channel_not_found"
	case !ch.has(w.botUser):
		return nil, nil, "not_in_channel"
	}
	m := ch.find(c.arg("timestamp"))
	if m == nil || m.subtype == "tombstone" {
		return nil, nil, "message_not_found"
	}
	return ch, m, ""
}

func (w *Workspace) reactionsAdd(c *call) (obj, string) {
	ch, m, bad := w.item(c)
	switch {
	case bad != "":
		return nil, bad
	case ch.archived:
		return nil, "is_archived"
	case !emojiName.MatchString(c.arg("name")):
		return nil, "invalid_name"
	case !w.react(ch, m, w.botUser, c.arg("name")):
		return nil, "already_reacted"
	}
	return nil, ""
}

func (w *Workspace) reactionsRemove(c *call) (obj, string) {
	ch, m, bad := w.item(c)
	switch {
	case bad != "":
		return nil, bad
	case !w.unreact(ch, m, w.botUser, c.arg("name")):
		return nil, "no_reaction"
	}
	return nil, ""
}

func (w *Workspace) reactionsGet(c *call) (obj, string) {
	ch, m, bad := w.item(c)
	if bad != "" {
		return nil, bad
	}
	return obj{"type": "message", "channel": ch.id, "message": w.render(ch, m, false)}, ""
}

func (w *Workspace) react(ch *channel, m *message, user, name string) bool {
	i := slices.IndexFunc(m.reactions, func(r reaction) bool { return r.name == name })
	if i < 0 {
		m.reactions = append(m.reactions, reaction{name: name})
		i = len(m.reactions) - 1
	}
	if slices.Contains(m.reactions[i].users, user) {
		return false
	}
	m.reactions[i].users = append(m.reactions[i].users, user)
	w.emitReaction("reaction_added", ch, m, user, name)
	return true
}

func (w *Workspace) unreact(ch *channel, m *message, user, name string) bool {
	for i, r := range m.reactions {
		if r.name != name || !slices.Contains(r.users, user) {
			continue
		}
		users := slices.DeleteFunc(slices.Clone(r.users), func(u string) bool { return u == user })
		if m.reactions[i].users = users; len(users) == 0 {
			m.reactions = slices.Delete(m.reactions, i, i+1)
		}
		w.emitReaction("reaction_removed", ch, m, user, name)
		return true
	}
	return false
}

func (w *Workspace) emitReaction(kind string, ch *channel, m *message, user, name string) {
	if ch.has(w.botUser) {
		w.emit(kind, "reactions:read", obj{"type": kind, "user": user, "reaction": name, "item_user": m.user,
			"item": obj{"type": "message", "channel": ch.id, "ts": m.ts}, "event_ts": w.ts()})
	}
}

func (w *Workspace) pinsAdd(c *call) (obj, string) {
	ch, m, bad := w.item(c)
	switch {
	case bad != "":
		return nil, bad
	case ch.archived:
		return nil, "is_archived"
	case slices.Contains(ch.pins, m.ts):
		return nil, "already_pinned"
	}
	ch.pins = append(ch.pins, m.ts)
	return nil, ""
}

func (w *Workspace) pinsRemove(c *call) (obj, string) {
	ch, m, bad := w.item(c)
	switch {
	case bad != "":
		return nil, bad
	case !slices.Contains(ch.pins, m.ts):
		return nil, "no_pin"
	}
	ch.pins = slices.DeleteFunc(ch.pins, func(ts string) bool { return ts == m.ts })
	return nil, ""
}
