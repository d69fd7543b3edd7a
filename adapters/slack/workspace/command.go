package workspace

import (
	"slices"
	"strings"
)

// Command gives a slash command in a channel. What the app says in its acknowledgement is among the person's ephemeral messages.
func (u *User) Command(channel, command, typed string) Answer {
	u.w.t.Helper()
	w := u.w
	w.mu.Lock()
	c := w.channelOf(channel)
	p := w.people[u.id]
	if !slices.Contains(w.opt.Commands, command) || !slices.Contains(w.scopes, "commands") || !c.has(u.id) {
		w.mu.Unlock()
		w.t.Errorf("workspace: %s can't give %s in %s", u.id, command, channel)
		return Answer{Err: "no such command"}
	}
	text, _ := w.markup(typed)
	for _, x := range w.people { // with should_escape mentions carry the name
		text = strings.ReplaceAll(text, "<@"+x.id+">", "<@"+x.id+"|"+x.Name+">")
	}
	w.bring(typed, text)
	payload := obj{"token": "verification", "team_id": w.opt.Team, "team_domain": w.opt.Domain, "channel_id": c.id, "channel_name": shortName(c),
		"user_id": u.id, "user_name": p.Name, "command": command, "text": text, "api_app_id": w.appID, "is_enterprise_install": "false",
		"response_url": w.newReply(replyURL{user: u.id, channel: c.id}), "trigger_id": w.newTrigger(u.id)}
	w.mu.Unlock()
	a := w.ask("slash_commands", command, payload, true)
	if a.err == "" {
		w.mu.Lock()
		w.commandReply(u.id, c, a.payload)
		w.mu.Unlock()
	}
	return Answer{Err: a.err}
}

// Shortcut uses a message shortcut of the app on any message.
func (u *User) Shortcut(channel, ts, callback string) Answer {
	u.w.t.Helper()
	w := u.w
	w.mu.Lock()
	c := w.channelOf(channel)
	m := c.find(ts)
	if m == nil || !c.has(u.id) {
		w.mu.Unlock()
		w.t.Errorf("workspace: %s: no message %s in %s", u.id, ts, channel)
		return Answer{Err: "no such message"}
	}
	payload := u.base("message_action")
	payload["callback_id"], payload["message"], payload["message_ts"], payload["action_ts"] = callback, w.render(c, m, false), ts, w.ts()
	payload["channel"], payload["response_url"] = obj{"id": c.id, "name": shortName(c)}, w.newReply(replyURL{user: u.id, channel: c.id, message: ts})
	w.mu.Unlock()
	return Answer{Err: w.ask("interactive", "message_action", payload, false).err}
}

// GlobalShortcut uses a shortcut that belongs to no message.
func (u *User) GlobalShortcut(callback string) Answer {
	w := u.w
	w.mu.Lock()
	payload := u.base("shortcut")
	payload["callback_id"], payload["action_ts"] = callback, w.ts()
	w.mu.Unlock()
	return Answer{Err: w.ask("interactive", "shortcut", payload, false).err}
}
