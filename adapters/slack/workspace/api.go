package workspace

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// method is one method of the Web API.
type method struct {
	run   func(*Workspace, *call) (obj, string) // the answer, or an error code; under the lock
	scope []string                              // any one of these; further ones are asked for by the method itself
	app   bool                                  // wants the app-level token
	json  bool                                  // takes a JSON body; the reading methods take forms only
	tier  int                                   // calls a minute; 0: special or unlimited
}

// methods with scopes, content types and tiers as their pages in docs.slack.dev name them.
func methods() map[string]method {
	history := []string{"channels:history", "groups:history", "im:history"}
	read := []string{"channels:read", "groups:read", "im:read"}
	write := []string{"chat:write"}
	return map[string]method{
		"auth.test":                    {run: (*Workspace).authTest, json: true},
		"apps.connections.open":        {run: (*Workspace).openConnection, app: true, json: true},
		"chat.postMessage":             {run: (*Workspace).postMessage, scope: write, json: true},
		"chat.update":                  {run: (*Workspace).updateMessage, scope: write, json: true, tier: 50},
		"chat.delete":                  {run: (*Workspace).deleteMessage, scope: write, json: true, tier: 50},
		"chat.postEphemeral":           {run: (*Workspace).postEphemeral, scope: write, json: true, tier: 100},
		"chat.getPermalink":            {run: (*Workspace).permalink},
		"conversations.open":           {run: (*Workspace).conversationsOpen, scope: []string{"im:write"}, json: true, tier: 50},
		"conversations.info":           {run: (*Workspace).conversationsInfo, scope: read, tier: 50},
		"conversations.history":        {run: (*Workspace).history, scope: history, json: true, tier: 50},
		"conversations.replies":        {run: (*Workspace).threadReplies, scope: history, tier: 50},
		"conversations.members":        {run: (*Workspace).members, scope: read, tier: 100},
		"conversations.list":           {run: (*Workspace).conversationsList, scope: read, tier: 20},
		"users.conversations":          {run: (*Workspace).usersConversations, scope: read, tier: 50},
		"users.info":                   {run: (*Workspace).usersInfo, scope: []string{"users:read"}, tier: 100},
		"reactions.add":                {run: (*Workspace).reactionsAdd, scope: []string{"reactions:write"}, json: true, tier: 50},
		"reactions.remove":             {run: (*Workspace).reactionsRemove, scope: []string{"reactions:write"}, json: true, tier: 20},
		"reactions.get":                {run: (*Workspace).reactionsGet, scope: []string{"reactions:read"}, tier: 50},
		"pins.add":                     {run: (*Workspace).pinsAdd, scope: []string{"pins:write"}, json: true, tier: 20},
		"pins.remove":                  {run: (*Workspace).pinsRemove, scope: []string{"pins:write"}, json: true, tier: 20},
		"views.open":                   {run: (*Workspace).viewsOpen, json: true, tier: 100},
		"views.push":                   {run: (*Workspace).viewsPush, json: true, tier: 100},
		"views.update":                 {run: (*Workspace).viewsUpdate, json: true, tier: 100},
		"views.publish":                {run: (*Workspace).viewsPublish, json: true, tier: 100},
		"files.info":                   {run: (*Workspace).filesInfo, scope: []string{"files:read"}, tier: 100},
		"files.getUploadURLExternal":   {run: (*Workspace).uploadURL, scope: []string{"files:write"}, tier: 100},
		"files.completeUploadExternal": {run: (*Workspace).completeUpload, scope: []string{"files:write"}, json: true, tier: 100},
	}
}

var allMethods = methods()

// mistakes are error codes that only a mistake of the app can bring about.
var mistakes = []string{"invalid_blocks", "invalid_blocks_format", "msg_blocks_too_long", "msg_too_long", "invalid_arguments", "invalid_arg_name",
	"invalid_cursor", "invalid_limit", "invalid_ts_latest", "invalid_ts_oldest", "unknown_method", "no_text", "not_allowed_token_type",
	"invalid_form_data", "invalid_json", "invalid_types", "invalid_metadata_format", "metadata_too_large", "invalid_metadata_schema",
	"invalid_attachments", "too_many_attachments", "exchanged_trigger_id", "invalid_trigger_id", "invalid_name", "no_reaction", "not_authed",
	"limit_required", "missing_argument", "invalid_post_type", "push_limit_reached", "view_too_large", "duplicate_external_id"}

// call is one request with its arguments.
type call struct {
	method  string
	args    url.Values
	token   string
	detail  []string // response_metadata.messages
	extra   obj      // further fields of an error answer
	excused bool     // not the app's mistake, whatever the code
}

func (c *call) arg(name string) string { return c.args.Get(name) }

func (c *call) flag(name string) bool {
	s := c.arg(name)
	return s == "true" || s == "1"
}

func (c *call) raw(name string) json.RawMessage {
	if s := c.arg(name); s != "" {
		return json.RawMessage(s)
	}
	return nil
}

// lacks names the first argument that is missing.
func (c *call) lacks(names ...string) bool {
	for _, n := range names {
		if c.arg(n) == "" {
			c.detail = append(c.detail, "[ERROR] missing required field: "+n)
			return true
		}
	}
	return false
}

func (w *Workspace) serveAPI(rw http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(r.URL.Path, "/api/")
	c, bad := w.readCall(name, r)
	w.mu.Lock()
	f := w.takeFault(name, c.args)
	w.mu.Unlock()
	if f != nil && f.Delay > 0 && !w.sleep(f.Delay) {
		return
	}
	w.secrets(name, c.args)
	entry := Call{Method: name, At: time.Now(), Args: c.args}
	defer func() {
		w.mu.Lock()
		w.calls = append(w.calls, entry)
		w.mu.Unlock()
	}()
	if f != nil && !f.After && w.disturbed(rw, c, f, &entry) {
		return
	}
	status, header, answer := w.answer(c, bad)
	entry.Error, _ = answer["error"].(string)
	if f != nil && f.After {
		w.change(func() {
			if t := w.trigger[c.arg("trigger_id")]; t != nil {
				t.unheard = true
			}
		})
		if w.disturbed(rw, c, f, &entry) {
			return
		}
	}
	maps.Copy(rw.Header(), header)
	rw.Header().Set("Content-Type", "application/json; charset=utf-8")
	rw.WriteHeader(status)
	json.NewEncoder(rw).Encode(answer)
}

// disturbed gives the faulty answer, false if the fault was only a delay.
func (w *Workspace) disturbed(rw http.ResponseWriter, c *call, f *Fault, entry *Call) bool {
	switch {
	case f.Cut:
		entry.Error = "cut"
		if conn, _, err := http.NewResponseController(rw).Hijack(); err == nil {
			conn.Close()
		}
	case f.RetryAfter > 0:
		entry.Error = "ratelimited"
		w.mu.Lock()
		header := w.wait(c, f.RetryAfter)
		w.mu.Unlock()
		maps.Copy(rw.Header(), header)
		rw.WriteHeader(http.StatusTooManyRequests)
		io.WriteString(rw, `{"ok":false,"error":"ratelimited"}`)
	case f.Status > 0:
		entry.Error = fmt.Sprintf("http %d", f.Status)
		rw.Header().Set("Content-Type", "text/html")
		rw.WriteHeader(f.Status)
		io.WriteString(rw, "<html><body>Something went wrong</body></html>")
	case f.Error != "":
		entry.Error = f.Error
		json.NewEncoder(rw).Encode(obj{"ok": false, "error": f.Error})
	default:
		return false
	}
	return true
}

// answer finds the method and runs it.
func (w *Workspace) answer(c *call, bad string) (int, http.Header, obj) {
	w.mu.Lock()
	defer w.mu.Unlock()
	header := http.Header{}
	m, known := allMethods[c.method]
	if bad == "" && !known {
		bad = "unknown_method"
	}
	if bad == "" {
		bad = w.allowed(c, m, header)
	}
	if bad == "" {
		if h := w.limited(c, m); h != nil {
			return http.StatusTooManyRequests, h, obj{"ok": false, "error": "ratelimited"}
		}
		var out obj
		if out, bad = m.run(w, c); bad == "" {
			if out == nil {
				out = obj{}
			}
			out["ok"] = true
			return http.StatusOK, header, out
		}
	}
	if slices.Contains(mistakes, bad) && !c.excused {
		w.broke("%s answered %s %s", c.method, bad, strings.Join(c.detail, "; "))
	}
	out := obj{"ok": false, "error": bad}
	if len(c.detail) > 0 {
		out["errors"], out["response_metadata"] = c.detail, obj{"messages": c.detail}
	}
	maps.Copy(out, c.extra)
	return http.StatusOK, header, out
}

// allowed checks token and scope.
func (w *Workspace) allowed(c *call, m method, header http.Header) string {
	bot, app := c.token == w.botToken, c.token == w.appToken
	switch {
	case c.token == "":
		return "not_authed"
	case w.revoked != "" && (bot || app):
		return w.revoked
	case w.botRevoked != "" && bot:
		return w.botRevoked
	case !bot && !app:
		return "invalid_auth"
	case m.app != app && c.method != "auth.test":
		return "not_allowed_token_type"
	}
	provided := strings.Join(w.scopes, ",")
	if app {
		provided = "connections:write"
	}
	header.Set("X-OAuth-Scopes", provided)
	if len(m.scope) > 0 {
		header.Set("X-Accepted-OAuth-Scopes", strings.Join(m.scope, ","))
		if !slices.ContainsFunc(m.scope, func(s string) bool { return slices.Contains(w.scopes, s) }) {
			return w.missing(c, strings.Join(m.scope, ","))
		}
	}
	return ""
}

// missing is the answer for a scope the app does not have.
func (w *Workspace) missing(c *call, needed string) string {
	c.extra = obj{"needed": needed, "provided": strings.Join(w.scopes, ",")}
	return "missing_scope"
}

// scoped asks for one scope more; "" if it is there.
func (w *Workspace) scoped(c *call, scope string) string {
	if slices.Contains(w.scopes, scope) {
		return ""
	}
	return w.missing(c, scope)
}
