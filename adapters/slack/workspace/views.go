package workspace

import (
	"encoding/json"
	"strings"
	"time"
)

type view struct {
	id, user, hash string
	previous, root string
	content        obj // as the app sent it, block ids filled in
	opened         time.Time
}

// trigger lets the app open a view for a person: once, and for a short time.
type trigger struct {
	user  string
	until time.Time
	used  bool

	unheard bool // what it was used for was not answered: to try once more is no mistake
}

func (w *Workspace) newTrigger(user string) string {
	id := w.id("13345224609.738474920.t")
	w.trigger[id] = &trigger{user: user, until: time.Now().Add(w.opt.TriggerLife)}
	return id
}

func (w *Workspace) spend(c *call) (string, string) {
	if c.lacks("trigger_id") {
		return "", "invalid_arguments"
	}
	t := w.trigger[c.arg("trigger_id")]
	switch {
	case t == nil:
		return "", "invalid_trigger_id"
	case t.used:
		c.excused = t.unheard
		return "", "exchanged_trigger_id"
	case time.Now().After(t.until):
		w.broke("%s: trigger_id used %v too late", c.method, time.Since(t.until).Round(time.Millisecond))
		return "", "expired_trigger_id"
	}
	t.used = true
	return t.user, ""
}

// viewArg reads and checks a view.
func (w *Workspace) viewArg(c *call, raw json.RawMessage, kind string) (obj, string) {
	if raw == nil {
		c.detail = []string{"[ERROR] missing required field: view"}
		return nil, "invalid_arguments"
	}
	check := newChecker("")
	check.view(raw)
	v, _ := parse(raw)
	o, _ := v.(obj)
	if len(check.faults) == 0 && o["type"] != kind {
		check.fault("/view/type", "must be %s", kind)
	}
	if len(check.faults) > 0 {
		c.detail = check.faults
		return nil, "invalid_arguments"
	}
	if len(raw) > 250*1024 {
		return nil, "view_too_large"
	}
	b, _ := json.Marshal(o["blocks"])
	w.judge(c.method, body{blocks: b})
	if bad := w.usable(c, check); bad != "" {
		return nil, "invalid_arguments"
	}
	o["blocks"] = w.withIDs(b)
	return o, ""
}

func (w *Workspace) viewObject(v *view) obj {
	o := obj{"id": v.id, "team_id": w.opt.Team, "app_id": w.appID, "app_installed_team_id": w.opt.Team, "bot_id": w.botID, "hash": v.hash,
		"root_view_id": v.root, "previous_view_id": nil, "state": obj{"values": obj{}}, "private_metadata": "", "callback_id": "",
		"external_id": "", "clear_on_close": false, "notify_on_close": false, "close": nil, "submit": nil}
	if v.previous != "" {
		o["previous_view_id"] = v.previous
	}
	for k, x := range v.content {
		o[k] = x
	}
	return o
}

func (w *Workspace) newView(user string, content obj) *view {
	v := &view{id: w.id("V"), user: user, content: content, opened: time.Now()}
	v.root = v.id
	w.rehash(v)
	return v
}

func (w *Workspace) rehash(v *view) { v.hash = strings.ReplaceAll(w.ts(), ".", "") + ".h" }

// external says whether an open view has that external_id already.
func (w *Workspace) external(content obj, but *view) bool {
	id, _ := content["external_id"].(string)
	for _, v := range w.views {
		if id != "" && v != but && v.content["external_id"] == id {
			return true
		}
	}
	return false
}

func (w *Workspace) viewsOpen(c *call) (obj, string) {
	content, bad := w.viewArg(c, c.raw("view"), "modal")
	if bad != "" {
		return nil, bad
	}
	if w.external(content, nil) {
		return nil, "duplicate_external_id"
	}
	user, bad := w.spend(c)
	if bad != "" {
		return nil, bad
	}
	v := w.newView(user, content)
	w.views[v.id] = v
	return obj{"view": w.viewObject(v)}, ""
}

func (w *Workspace) viewsPush(c *call) (obj, string) {
	content, bad := w.viewArg(c, c.raw("view"), "modal")
	if bad != "" {
		return nil, bad
	}
	user, bad := w.spend(c)
	if bad != "" {
		return nil, bad
	}
	v, bad := w.push(user, content)
	if bad != "" {
		return nil, bad
	}
	return obj{"view": w.viewObject(v)}, ""
}

// push lays a view on a person's newest one; three may lie on each other (docs.slack.dev, Modals).
func (w *Workspace) push(user string, content obj) (*view, string) {
	stack := w.stack(user)
	switch {
	case len(stack) == 0:
		return nil, "not_found"
	case len(stack) >= 3:
		return nil, "push_limit_reached"
	}
	v := w.newView(user, content)
	v.previous, v.root = stack[len(stack)-1].id, stack[0].id
	w.views[v.id] = v
	return v, ""
}

func (w *Workspace) viewsUpdate(c *call) (obj, string) {
	var v *view
	switch {
	case c.arg("view_id") != "":
		v = w.views[c.arg("view_id")]
		for _, h := range w.homes {
			if h.id == c.arg("view_id") {
				v = h
			}
		}
	case c.arg("external_id") != "":
		for _, x := range w.views {
			if x.content["external_id"] == c.arg("external_id") {
				v = x
			}
		}
	default:
		c.detail = []string{"[ERROR] missing required field: view_id"}
		return nil, "invalid_arguments"
	}
	if v == nil {
		return nil, "not_found"
	}
	kind, _ := v.content["type"].(string)
	content, bad := w.viewArg(c, c.raw("view"), kind)
	if bad != "" {
		return nil, bad
	}
	if h := c.arg("hash"); h != "" && h != v.hash {
		return nil, "hash_conflict"
	}
	v.content = content
	w.rehash(v)
	return obj{"view": w.viewObject(v)}, ""
}

func (w *Workspace) viewsPublish(c *call) (obj, string) {
	if c.lacks("user_id") {
		return nil, "invalid_arguments"
	}
	p := w.people[c.arg("user_id")]
	if p == nil || p.Bot {
		return nil, "user_not_found"
	}
	content, bad := w.viewArg(c, c.raw("view"), "home")
	if bad != "" {
		return nil, bad
	}
	old := w.homes[p.id]
	if h := c.arg("hash"); h != "" && (old == nil || old.hash != h) {
		return nil, "hash_conflict"
	}
	v := w.newView(p.id, content)
	if old != nil {
		v.id, v.root = old.id, old.root
	}
	w.homes[p.id] = v
	return obj{"view": w.viewObject(v)}, ""
}
