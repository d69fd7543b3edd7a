package workspace

import (
	"encoding/json"
	"strings"
)

// Answer is what a person sees of the app's answer to a button, a form or a command.
type Answer struct {
	Err    string            // why the client shows an error; empty if the app acknowledged in time
	Errors map[string]string // modal: words beside its inputs, by block_id
	Action string            // modal: what the app's answer did: clear, update, push, errors; "" if it just closed
}

// Press is a button pressed, or a choice made, on a message (Channel, TS), in a modal (View) or on the home tab (none of these).
type Press struct {
	Channel, TS string
	View        string
	Choice      string // label, value or action_id of the button; of a menu its action_id
	Option      string // menus: label or value of the option
	Stale       bool   // the person still sees an earlier state of the message
	Value       string // sent instead of the button's value: a client that lies
}

// Press presses the button with the given label, value or action_id on a message, ephemeral ones included.
func (u *User) Press(channel, ts, choice string) Answer {
	return u.PressWith(Press{Channel: channel, TS: ts, Choice: choice})
}

// PressWith presses as described.
func (u *User) PressWith(p Press) Answer {
	u.w.t.Helper()
	payload, fault := u.press(p)
	if fault != "" {
		u.w.t.Errorf("workspace: %s can't press %q: %s", u.id, p.Choice, fault)
		return Answer{Err: fault}
	}
	a := u.w.ask("interactive", "block_actions", payload, false)
	return Answer{Err: a.err}
}

func (u *User) press(p Press) (obj, string) {
	w := u.w
	w.mu.Lock()
	defer w.mu.Unlock()
	payload := u.base("block_actions")
	var states []json.RawMessage
	switch {
	case p.TS != "":
		c := w.channelOf(p.Channel)
		if !c.has(u.id) {
			return nil, "not a member"
		}
		payload["channel"] = obj{"id": c.id, "name": shortName(c)}
		box := obj{"type": "message", "message_ts": p.TS, "channel_id": c.id, "is_ephemeral": false}
		reply := replyURL{user: u.id, channel: c.id, message: p.TS}
		if m := c.find(p.TS); m != nil && m.bot {
			shown := w.render(c, m, false)
			if m.thread != "" {
				box["thread_ts"] = m.thread
			}
			payload["message"] = shown
			states = []json.RawMessage{m.blocks}
			if p.Stale {
				states = m.past
			}
		} else if e := u.ephemeral(p.TS); e != nil {
			box["is_ephemeral"] = true
			if e.thread != "" {
				box["thread_ts"] = e.thread
			}
			reply.message, reply.eph = "", e.ts
			states = []json.RawMessage{e.blocks}
		} else {
			return nil, "no such message of the app"
		}
		payload["container"], payload["state"] = box, obj{"values": obj{}}
		payload["response_url"] = w.newReply(reply)
	default:
		v := w.homes[u.id]
		if p.View != "" {
			v = w.views[p.View]
		}
		if v == nil || v.user != u.id {
			return nil, "no such view"
		}
		payload["container"], payload["view"] = obj{"type": "view", "view_id": v.id}, w.viewObject(v)
		raw, _ := json.Marshal(v.content["blocks"])
		states = []json.RawMessage{raw}
	}
	for _, raw := range states {
		if a := w.action(raw, p); a != nil {
			payload["actions"] = []obj{a}
			return payload, ""
		}
	}
	return nil, "no such button"
}

// action is the entry of the payload for the element a person chose; nil if there is none.
func (w *Workspace) action(raw json.RawMessage, p Press) obj {
	v, _ := parse(raw)
	l, _ := v.([]any)
	for _, b := range l {
		block, _ := b.(obj)
		for _, e := range elementsOf(block) {
			a := obj{"type": e["type"], "action_id": e["action_id"], "block_id": block["block_id"], "action_ts": w.ts()}
			if e["type"] == "button" {
				label, _ := e["text"].(obj)
				if e["action_id"] != p.Choice && e["value"] != p.Choice && label["text"] != p.Choice {
					continue
				}
				a["text"] = label
				if e["value"] != nil {
					a["value"] = e["value"]
				}
				if p.Value != "" {
					a["value"] = p.Value
				}
				return a
			}
			if e["action_id"] != p.Choice {
				continue
			}
			if state := chosen(e, p.Option); state != nil {
				for k, x := range state {
					a[k] = x
				}
				return a
			}
		}
	}
	return nil
}

// chosen is the state of an input element after a person gave it a value; nil if it can't hold it.
func chosen(e obj, value string) obj {
	kind, _ := e["type"].(string)
	pick := func(value string) obj {
		for _, o := range optionsOf(e) {
			label, _ := o["text"].(obj)
			if o["value"] == value || label["text"] == value {
				return o
			}
		}
		return nil
	}
	state := obj{"type": kind}
	switch kind {
	case "plain_text_input", "number_input", "email_text_input", "url_text_input":
		state["value"] = value
		if value == "" {
			state["value"] = nil
		}
	case "static_select", "radio_buttons", "overflow":
		o := pick(value)
		if o == nil {
			return nil
		}
		state["selected_option"] = o
	case "checkboxes", "multi_static_select":
		list := []obj{}
		for part := range strings.SplitSeq(value, ",") {
			if part == "" {
				continue
			}
			o := pick(strings.TrimSpace(part))
			if o == nil {
				return nil
			}
			list = append(list, o)
		}
		state["selected_options"] = list
	case "datepicker":
		state["selected_date"] = value
	case "timepicker":
		state["selected_time"] = value
	case "users_select":
		state["selected_user"] = value
	case "channels_select":
		state["selected_channel"] = value
	case "conversations_select":
		state["selected_conversation"] = value
	default:
		return nil
	}
	return state
}

// base is what every interaction carries.
func (u *User) base(kind string) obj {
	w := u.w
	p := w.people[u.id]
	team := w.opt.Team
	if p.Team != "" {
		team = p.Team
	}
	var org any
	if w.opt.Org != "" {
		org = obj{"id": w.opt.Org, "name": "Works"}
		if p.Team == "" { // it is of the organisation (github.com/slackapi/bolt-js, 1875)
			team = w.opt.Org
		}
	}
	return obj{"type": kind, "user": obj{"id": u.id, "username": p.Name, "name": p.Name, "team_id": team}, "api_app_id": w.appID, "token": "verification",
		"trigger_id": w.newTrigger(u.id), "team": obj{"id": w.opt.Team, "domain": w.opt.Domain}, "enterprise": org, "is_enterprise_install": false}
}

func shortName(c *channel) string {
	switch c.kind {
	case Direct:
		return "directmessage"
	case Private:
		return "privategroup"
	}
	return c.name
}

// OpenHome opens the app's home tab.
func (u *User) OpenHome() { u.open("home") }

// OpenMessages opens the app's messages tab.
func (u *User) OpenMessages() { u.open("messages") }

func (u *User) open(tab string) {
	w := u.w
	w.mu.Lock()
	defer w.mu.Unlock()
	event := obj{"type": "app_home_opened", "user": u.id, "channel": w.direct(u.id).id, "tab": tab, "event_ts": w.ts()}
	if v := w.homes[u.id]; v != nil && tab == "home" {
		event["view"] = w.viewObject(v)
	}
	w.emit("app_home_opened", "", event)
}

func (u *User) ephemeral(ts string) *eph {
	for _, e := range u.w.ephem[u.id] {
		if e.ts == ts {
			return e
		}
	}
	return nil
}

// Reload loses the person's ephemeral messages, as a reload of the client does.
func (u *User) Reload() {
	u.w.mu.Lock()
	defer u.w.mu.Unlock()
	delete(u.w.ephem, u.id)
}
