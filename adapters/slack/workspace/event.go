package workspace

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// emit sends an event to the app if it is subscribed and its scopes allow it. Called under the lock.
func (w *Workspace) emit(name, scope string, event obj) {
	if w.revoked != "" && name != "tokens_revoked" && name != "app_uninstalled" || !slices.Contains(w.opt.Events, name) ||
		scope != "" && !slices.Contains(w.scopes, scope) {
		return
	}
	w.send(&delivery{kind: "events_api", name: event["type"].(string), eventID: w.id("Ev"), event: event})
}

// envelope is the outer part of an event.
func (w *Workspace) envelope(id string, at time.Time, event obj) obj {
	where, _ := event["channel"].(string)
	shared := w.channels[where] != nil && w.channels[where].shared
	return obj{"token": "verification", "team_id": w.opt.Team, "context_team_id": w.opt.Team, "context_enterprise_id": nil,
		"api_app_id": w.appID, "event": event, "type": "event_callback", "event_id": id, "event_time": at.Unix(),
		"authorizations": []obj{{"enterprise_id": nil, "team_id": w.opt.Team, "user_id": w.botUser, "is_bot": true,
			"is_enterprise_install": false}},
		"is_ext_shared_channel": shared, "event_context": "4-" + id}
}

// emitMessage sends a message event of a channel, if the app is in it.
func (w *Workspace) emitMessage(c *channel, event obj) {
	if !c.has(w.botUser) {
		return
	}
	event["type"], event["channel"], event["channel_type"] = "message", c.id, c.eventType()
	if event["event_ts"] == nil {
		event["event_ts"] = event["ts"]
	}
	w.emit("message."+c.family(), c.family()+":history", event)
}

// fresh sends what a new message causes: the message itself and, for a mention of the app, the same as app_mention.
func (w *Workspace) fresh(c *channel, m *message) {
	w.emitMessage(c, w.render(c, m, false))
	if m.bot || c.kind == Direct || !c.has(w.botUser) || !strings.Contains(m.text, "<@"+w.botUser+">") {
		return
	}
	mention := w.render(c, m, false)
	mention["type"], mention["channel"], mention["event_ts"] = "app_mention", c.id, m.ts
	delete(mention, "subtype")
	w.emit("app_mention", "app_mentions:read", mention)
}

// changed sends message_changed. previous is the message before the change.
func (w *Workspace) changed(c *channel, m *message, previous obj) {
	ts := w.ts()
	w.emitMessage(c, obj{"subtype": "message_changed", "message": w.render(c, m, false), "previous_message": previous, "hidden": true, "ts": ts})
}

// render gives a message as events and the history show it.
func (w *Workspace) render(c *channel, m *message, metadata bool) obj {
	o := obj{"type": "message", "ts": m.ts, "text": m.text, "user": m.user}
	if m.subtype != "" {
		o["subtype"] = m.subtype
	}
	if p := w.people[m.user]; p != nil {
		o["team"] = w.opt.Team
		if p.Team != "" {
			o["team"], o["user_team"], o["source_team"] = p.Team, p.Team, p.Team
		} else if w.opt.Org != "" {
			o["user_team"], o["source_team"] = w.opt.Org, w.opt.Team
		}
	}
	if m.clientID != "" {
		o["client_msg_id"] = m.clientID
	}
	if p := w.people[m.user]; p != nil && p.Bot && !m.bot { // another app's
		o["bot_id"], o["app_id"] = "B"+p.id[1:], "A"+p.id[1:]
		delete(o, "client_msg_id")
	}
	if m.bot {
		o["bot_id"], o["app_id"] = w.botID, w.appID
		o["bot_profile"] = obj{"id": w.botID, "app_id": w.appID, "user_id": w.botUser, "name": w.opt.AppName, "deleted": false, "team_id": w.opt.Team}
	}
	raw := func(k string, v json.RawMessage) {
		if v != nil {
			o[k] = v
		}
	}
	raw("blocks", m.blocks)
	raw("attachments", m.attachments)
	if metadata {
		raw("metadata", m.metadata)
	}
	if m.editedTS != "" {
		o["edited"] = obj{"user": m.user, "ts": m.editedTS}
	}
	if len(m.files) > 0 {
		var list []obj
		for _, id := range m.files {
			list = append(list, w.fileObject(w.files[id], false))
		}
		o["files"], o["upload"] = list, false
	}
	if m.thread != "" {
		o["thread_ts"] = m.thread
		if root := c.find(m.thread); root != nil {
			o["parent_user_id"] = root.user
		}
	}
	if replies := c.replies(m.ts); m.thread == "" && len(replies) > 0 {
		var users []string
		for _, r := range replies {
			if !slices.Contains(users, r.user) {
				users = append(users, r.user)
			}
		}
		o["thread_ts"], o["reply_count"], o["reply_users"], o["reply_users_count"] = m.ts, len(replies), users, len(users)
		o["latest_reply"], o["subscribed"], o["is_locked"] = replies[len(replies)-1].ts, false, false
	}
	if m.subtype == "tombstone" {
		o["hidden"] = true
	}
	if len(m.reactions) > 0 {
		o["reactions"] = reactionList(m)
	}
	return o
}

func reactionList(m *message) (list []obj) {
	for _, r := range m.reactions {
		list = append(list, obj{"name": r.name, "users": slices.Clone(r.users), "count": len(r.users)})
	}
	return list
}
