package workspace

import (
	"encoding/base64"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// find is a channel the app asks about; the scope goes by its kind.
func (w *Workspace) find(c *call, right string) (*channel, string) {
	if c.lacks("channel") {
		return nil, "invalid_arguments"
	}
	ch := w.channels[c.arg("channel")]
	if ch == nil || !w.visible(ch) {
		return nil, "channel_not_found"
	}
	return ch, w.scoped(c, ch.family()+":"+right)
}

func (w *Workspace) channelObject(ch *channel) obj {
	o := obj{"id": ch.id, "created": 1700000000, "is_archived": ch.archived, "is_im": ch.kind == Direct, "is_org_shared": false,
		"is_channel": ch.kind == Public, "is_group": false, "is_mpim": ch.kind == Group, "is_private": ch.kind != Public,
		"is_ext_shared": ch.shared, "is_shared": ch.shared, "context_team_id": w.opt.Team, "updated": 1700000000000}
	if ch.kind == Direct {
		o["user"], o["is_open"] = ch.with, true
		return o
	}
	o["name"], o["name_normalized"], o["creator"] = ch.name, ch.name, "U0KIM"
	o["is_member"] = ch.has(w.botUser)
	o["topic"], o["purpose"] = obj{"value": "", "creator": "", "last_set": 0}, obj{"value": "", "creator": "", "last_set": 0}
	return o
}

func (w *Workspace) conversationsInfo(c *call) (obj, string) {
	ch, bad := w.find(c, "read")
	if bad != "" {
		return nil, bad
	}
	o := w.channelObject(ch)
	if c.flag("include_num_members") {
		o["num_members"] = len(ch.members)
	}
	return obj{"channel": o}, ""
}

func (w *Workspace) conversationsOpen(c *call) (obj, string) {
	if id := c.arg("channel"); id != "" {
		ch := w.channels[id]
		if ch == nil || ch.kind != Direct || !w.visible(ch) {
			return nil, "channel_not_found"
		}
		return obj{"channel": w.channelObject(ch)}, ""
	}
	if c.lacks("users") {
		return nil, "invalid_arguments"
	}
	if strings.Contains(c.arg("users"), ",") {
		return nil, w.missing(c, "mpim:write")
	}
	p := w.people[c.arg("users")]
	switch {
	case p == nil:
		return nil, "user_not_found"
	case p.Bot:
		return nil, "cannot_dm_bot"
	case p.Team != "" && !w.meets(p.id):
		return nil, "user_not_visible"
	}
	return obj{"channel": w.channelObject(w.direct(p.id)), "no_op": true, "already_open": true}, ""
}

// meets says whether the app shares a channel with a person.
func (w *Workspace) meets(user string) bool {
	for _, ch := range w.channels {
		if ch.has(user) && ch.has(w.botUser) {
			return true
		}
	}
	return false
}

func (w *Workspace) members(c *call) (obj, string) {
	ch, bad := w.find(c, "read")
	if bad != "" {
		return nil, bad
	}
	part, next, bad := page(c, slices.Clone(ch.members), 100, 1000)
	if bad != "" {
		return nil, bad
	}
	return obj{"members": part, "response_metadata": obj{"next_cursor": next}}, ""
}

func (w *Workspace) conversationsList(c *call) (obj, string) {
	return w.listChannels(c, func(ch *channel) bool { return w.visible(ch) })
}

func (w *Workspace) usersConversations(c *call) (obj, string) {
	user := c.arg("user")
	if user == "" {
		user = w.botUser
	}
	return w.listChannels(c, func(ch *channel) bool { return w.visible(ch) && ch.has(user) })
}

func (w *Workspace) listChannels(c *call, show func(*channel) bool) (obj, string) {
	types := []string{string(Public)}
	if s := c.arg("types"); s != "" {
		types = strings.Split(s, ",")
	}
	for i, t := range types {
		types[i] = strings.TrimSpace(t)
		family := map[string]string{"public_channel": "channels", "private_channel": "groups", "im": "im", "mpim": "mpim"}[types[i]]
		if family == "" {
			return nil, "invalid_types"
		}
		if bad := w.scoped(c, family+":read"); bad != "" {
			return nil, bad
		}
	}
	var list []obj
	for _, ch := range w.channels {
		if slices.Contains(types, string(ch.kind)) && show(ch) && !(ch.archived && c.flag("exclude_archived")) {
			list = append(list, w.channelObject(ch))
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i]["id"].(string) < list[j]["id"].(string) })
	part, next, bad := page(c, list, 100, 999)
	if bad != "" {
		return nil, bad
	}
	return obj{"channels": part, "response_metadata": obj{"next_cursor": next}}, ""
}

// page cuts one page off a list. A cursor belongs to its method and is opaque.
func page[T any](c *call, list []T, usual, most int) ([]T, string, string) {
	limit := usual
	if s := c.arg("limit"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > most {
			return nil, "", "invalid_limit"
		}
		limit = n
	}
	from := 0
	if s := c.arg("cursor"); s != "" {
		b, err := base64.StdEncoding.DecodeString(s)
		where, at, _ := strings.Cut(string(b), "|")
		n, bad := strconv.Atoi(at)
		if err != nil || bad != nil || where != c.method+" "+c.arg("channel") || n > len(list) {
			return nil, "", "invalid_cursor"
		}
		from = n
	}
	end := min(from+limit, len(list))
	next := ""
	if end < len(list) {
		next = base64.StdEncoding.EncodeToString(fmt.Appendf(nil, "%s %s|%d", c.method, c.arg("channel"), end))
	}
	out := list[from:end]
	if out == nil {
		out = []T{}
	}
	return out, next, ""
}

func (w *Workspace) usersInfo(c *call) (obj, string) {
	if c.lacks("user") {
		return nil, "invalid_arguments"
	}
	p := w.people[c.arg("user")]
	switch {
	case p == nil:
		return nil, "user_not_found"
	case p.Team != "" && !w.meets(p.id):
		return nil, "user_not_visible"
	}
	return obj{"user": w.userObject(p)}, ""
}

func (w *Workspace) userObject(p *person) obj {
	team := w.opt.Team
	if p.Team != "" {
		team = p.Team
	}
	u := obj{"id": p.id, "team_id": team, "name": p.Name, "deleted": false, "real_name": p.Real, "tz": "Etc/UTC", "tz_label": "UTC", "tz_offset": 0,
		"is_admin": false, "is_owner": false, "is_primary_owner": false, "is_restricted": p.Guest, "is_ultra_restricted": false,
		"is_bot": p.Bot, "is_app_user": false, "is_stranger": p.Team != "", "updated": 1700000000, "locale": "en-GB",
		"profile": obj{"real_name": p.Real, "real_name_normalized": p.Real, "display_name": p.Name, "display_name_normalized": p.Name, "team": team}}
	if w.opt.Org != "" && p.Team == "" {
		teams := []string{team}
		if p.Teams != nil {
			teams, u["team_id"] = p.Teams, w.opt.Org
		}
		u["enterprise_user"] = obj{"id": p.id, "enterprise_id": w.opt.Org, "enterprise_name": "Works", "is_admin": false, "is_owner": false, "teams": teams}
	}
	return u
}
