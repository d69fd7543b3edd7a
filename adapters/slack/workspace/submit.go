package workspace

import (
	"encoding/json"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// stack is a person's open modals, the newest last.
func (w *Workspace) stack(user string) (list []*view) {
	for _, v := range w.views {
		if v.user == user {
			list = append(list, v)
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].id < list[j].id })
	return list
}

// Submit fills in a modal and sends it. Values go by action_id; checkboxes take several values with commas between. What the client
// itself refuses (a required input left empty, too long, no number) comes back as Err without the app hearing of it.
func (u *User) Submit(viewID string, values map[string]string) Answer {
	u.w.t.Helper()
	return u.submit(viewID, values, false)
}

// SubmitLax sends it from a client that does not look at numbers: what is typed into a number input goes out as it is. What a
// client makes of a decimal comma or a unit there is documented nowhere.
func (u *User) SubmitLax(viewID string, values map[string]string) Answer {
	u.w.t.Helper()
	return u.submit(viewID, values, true)
}

func (u *User) submit(viewID string, values map[string]string, lax bool) Answer {
	u.w.t.Helper()
	w := u.w
	w.mu.Lock()
	v := w.views[viewID]
	if v == nil || v.user != u.id || v.content["submit"] == nil {
		w.mu.Unlock()
		w.t.Errorf("workspace: %s has no form %s", u.id, viewID)
		return Answer{Err: "no such view"}
	}
	state, inputs, fault := filled(v.content, values, lax)
	if fault != "" {
		w.mu.Unlock()
		return Answer{Err: fault}
	}
	for _, s := range values {
		text, _ := w.markup(s)
		w.bring(s, text)
	}
	shown := w.viewObject(v)
	shown["state"] = obj{"values": state}
	payload := u.base("view_submission")
	payload["view"], payload["response_urls"] = shown, []obj{}
	w.mu.Unlock()
	a := w.ask("interactive", "view_submission", payload, true)
	if a.err != "" {
		return Answer{Err: a.err}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.submitted(v, inputs, a.payload)
}

// filled is the state of a view's inputs and their block ids, or why the client does not send it.
func filled(content obj, values map[string]string, lax bool) (state obj, inputs []string, fault string) {
	state = obj{}
	raw, _ := json.Marshal(content["blocks"])
	list, _ := parse(raw)
	l, _ := list.([]any)
	used := map[string]bool{}
	for _, x := range l {
		block, _ := x.(obj)
		id, _ := block["block_id"].(string)
		isInput := block["type"] == "input"
		if isInput {
			inputs = append(inputs, id)
		}
		for _, e := range elementsOf(block) {
			if e["type"] == "button" {
				continue
			}
			action, _ := e["action_id"].(string)
			value, given := values[action]
			used[action] = true
			var s obj
			if given {
				if s = chosen(e, value); s == nil {
					return nil, nil, "no such choice: " + action + " " + value
				}
			} else {
				s = initial(e)
			}
			if isInput && block["optional"] != true && empty(s) {
				return nil, nil, "required: " + action
			}
			if why := tooLong(e, s); why != "" && !(lax && e["type"] == "number_input") {
				return nil, nil, why + ": " + action
			}
			if state[id] == nil {
				state[id] = obj{}
			}
			state[id].(obj)[action] = s
		}
	}
	for k := range values {
		if !used[k] {
			return nil, nil, "no such input: " + k
		}
	}
	return state, inputs, ""
}

// initial is the state of an element nobody touched.
func initial(e obj) obj {
	kind, _ := e["type"].(string)
	switch kind {
	case "plain_text_input", "number_input", "email_text_input", "url_text_input":
		return obj{"type": kind, "value": e["initial_value"]}
	case "static_select", "radio_buttons":
		return obj{"type": kind, "selected_option": e["initial_option"]}
	case "checkboxes", "multi_static_select":
		l, _ := e["initial_options"].([]any)
		if l == nil {
			l = []any{}
		}
		return obj{"type": kind, "selected_options": l}
	case "datepicker":
		return obj{"type": kind, "selected_date": e["initial_date"]}
	}
	return obj{"type": kind}
}

func empty(state obj) bool {
	for k, v := range state {
		switch x := v.(type) {
		case nil:
		case []any:
			if len(x) > 0 {
				return false
			}
		case []obj:
			if len(x) > 0 {
				return false
			}
		case string:
			if k != "type" && strings.TrimSpace(x) != "" {
				return false
			}
		default:
			return false
		}
	}
	return true
}

func tooLong(e, state obj) string {
	s, ok := state["value"].(string)
	if !ok || s == "" {
		return ""
	}
	bound := func(name string, def int) int {
		if n, ok := e[name].(json.Number); ok {
			if i, err := n.Int64(); err == nil {
				return int(i)
			}
		}
		return def
	}
	switch e["type"] {
	case "plain_text_input":
		if length(s) < bound("min_length", 0) || length(s) > bound("max_length", 3000) {
			return "length not allowed"
		}
	case "number_input":
		f, err := strconv.ParseFloat(s, 64)
		if err != nil || e["is_decimal_allowed"] != true && f != float64(int64(f)) {
			return "no such number"
		}
		for name, beyond := range map[string]func(limit float64) bool{"min_value": func(l float64) bool { return f < l }, "max_value": func(l float64) bool { return f > l }} {
			if b, ok := e[name].(string); ok {
				if l, err := strconv.ParseFloat(b, 64); err == nil && beyond(l) {
					return "number out of range"
				}
			}
		}
	}
	return ""
}

// submitted does what the app's answer to a form says (docs.slack.dev, Modals).
func (w *Workspace) submitted(v *view, inputs []string, raw json.RawMessage) Answer {
	var r struct {
		Action string            `json:"response_action"`
		Errors map[string]string `json:"errors"`
		View   json.RawMessage   `json:"view"`
	}
	if len(raw) > 0 && json.Unmarshal(raw, &r) != nil {
		w.broke("view_submission answered with something else than JSON: %.80s", raw)
		return Answer{Err: "bad answer"}
	}
	c := &call{method: "view_submission", args: map[string][]string{}}
	content := func() obj {
		o, bad := w.viewArg(c, r.View, "modal")
		if bad != "" {
			w.broke("view_submission answered with a bad view: %s", strings.Join(c.detail, "; "))
		}
		return o
	}
	switch r.Action {
	case "":
		delete(w.views, v.id)
	case "clear":
		for _, x := range w.stack(v.user) {
			delete(w.views, x.id)
		}
	case "errors":
		for id := range r.Errors {
			if !slices.Contains(inputs, id) {
				w.broke("view_submission: an error for %q, which is no input's block_id", id)
			}
		}
		if len(r.Errors) == 0 {
			w.broke("view_submission: errors without any")
		}
		return Answer{Errors: r.Errors, Action: r.Action}
	case "update":
		if o := content(); o != nil {
			v.content = o
			w.rehash(v)
		}
	case "push":
		if o := content(); o != nil {
			if _, bad := w.push(v.user, o); bad != "" {
				w.broke("view_submission: push answered %s", bad)
			}
		}
	default:
		w.broke("view_submission: unknown response_action %q", r.Action)
	}
	return Answer{Action: r.Action}
}

// CloseView closes a modal without sending it; the app hears of it if it asked to.
func (u *User) CloseView(viewID string) Answer {
	w := u.w
	w.mu.Lock()
	v := w.views[viewID]
	if v == nil || v.user != u.id {
		w.mu.Unlock()
		w.t.Errorf("workspace: %s has no view %s", u.id, viewID)
		return Answer{Err: "no such view"}
	}
	delete(w.views, viewID)
	if v.content["notify_on_close"] != true {
		w.mu.Unlock()
		return Answer{}
	}
	payload := u.base("view_closed")
	delete(payload, "trigger_id")
	payload["view"], payload["is_cleared"] = w.viewObject(v), false
	w.mu.Unlock()
	return Answer{Err: w.ask("interactive", "view_closed", payload, false).err}
}
