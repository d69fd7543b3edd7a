package workspace

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
)

func (w *Workspace) authTest(c *call) (obj, string) {
	if c.token == w.appToken {
		return obj{"app_name": w.opt.AppName, "app_id": w.appID}, ""
	}
	return obj{"url": "https://" + w.opt.Domain + ".example/", "team": w.opt.Domain, "user": w.opt.AppName, "team_id": w.opt.Team,
		"user_id": w.botUser, "bot_id": w.botID, "is_enterprise_install": false}, ""
}

// target finds the channel an app wants to write to.
func (w *Workspace) target(c *call) (*channel, string) {
	if c.lacks("channel") {
		return nil, "invalid_arguments"
	}
	ch := w.channels[c.arg("channel")] // ids only: names and user ids are not taken
	switch {
	case ch == nil || !w.visible(ch):
		return nil, "channel_not_found"
	case !ch.has(w.botUser):
		return nil, "not_in_channel"
	case ch.archived:
		return nil, "is_archived"
	}
	return ch, ""
}

// content reads and judges what the app wants to say.
func (w *Workspace) content(c *call, most int) (body, string) {
	m := body{text: c.arg("text"), blocks: c.raw("blocks"), attachments: c.raw("attachments"), metadata: c.raw("metadata")}
	check := newChecker("message")
	check.message(m)
	for _, f := range check.faults {
		w.broke("%s: %s", c.method, f)
	}
	w.judge(c.method, m)
	if c.arg("parse") == "full" || c.flag("link_names") {
		w.broke("%s: parse or link_names makes mentions out of words", c.method)
	}
	if bad := w.usable(c, check); bad != "" {
		return m, bad
	}
	var hard []string
	for _, f := range check.faults {
		switch {
		case strings.HasPrefix(f, "no_text") && (m.blocks != nil || m.attachments != nil):
		case strings.HasPrefix(f, "msg_too_long") && length(m.text) <= most:
		default:
			hard = append(hard, f)
		}
	}
	bad := code(hard)
	if bad == "invalid_blocks" {
		c.detail = hard
		if _, err := parse(m.blocks); err != nil && m.blocks != nil {
			bad = "invalid_blocks_format"
		}
	}
	if string(m.blocks) == "[]" {
		m.blocks = nil
	}
	return m, bad
}

// judge records what Slack would let pass and people would suffer from.
func (w *Workspace) judge(where string, m body) {
	for _, b := range broadcasts(m) {
		w.broke("%s: broadcast mention %s in %.80q", where, b, m.text)
	}
	for _, e := range w.echoes(m) {
		w.broke("%s: %s came from a person's words: %.80q", where, e, m.text)
	}
	for _, e := range w.escaping(m) {
		w.broke("%s: %.160s", where, e)
	}
}

// usable holds the pictures of blocks against the files there are.
func (w *Workspace) usable(c *call, check *checker) string {
	for _, id := range check.files {
		f := w.files[id]
		if f == nil || f.gone || time.Now().Before(f.ready) { // a file just uploaded is not usable for a moment (from memory)
			c.detail = []string{"[ERROR] invalid slack file [json-pointer:/blocks]"}
			c.excused = true
			return "invalid_blocks"
		}
	}
	return ""
}

func (w *Workspace) postMessage(c *call) (obj, string) {
	ch, bad := w.target(c)
	if bad != "" {
		return nil, bad
	}
	m, bad := w.content(c, 40000)
	if bad != "" {
		return nil, bad
	}
	for _, k := range []string{"unfurl_links", "unfurl_media"} {
		if s := c.arg(k); s != "false" && s != "0" {
			w.broke("chat.postMessage: %s is not false", k)
		}
	}
	for _, k := range []string{"username", "icon_emoji", "icon_url"} {
		if c.arg(k) != "" {
			if bad := w.scoped(c, "chat:write.customize"); bad != "" {
				return nil, bad
			}
		}
	}
	thread, bad := w.root(c, ch)
	if bad == "" && thread == "" && ch.threads {
		bad = "restricted_action_thread_only_channel"
	}
	if bad != "" {
		return nil, bad
	}
	n := w.say(ch, thread, m)
	n.broadcast = thread != "" && c.flag("reply_broadcast")
	if n.broadcast {
		n.subtype = "thread_broadcast"
	}
	w.fresh(ch, n)
	return obj{"channel": ch.id, "ts": n.ts, "message": w.render(ch, n, true)}, ""
}

// root checks thread_ts: it has to be that of a root, never that of a reply.
func (w *Workspace) root(c *call, ch *channel) (string, string) {
	ts := c.arg("thread_ts")
	if ts == "" {
		return "", ""
	}
	r := ch.find(ts)
	switch {
	case r == nil:
		return "", "thread_not_found" // Slack's own code for it is not documented
	case r.thread != "":
		w.broke("%s: thread_ts %s is that of a reply", c.method, ts)
		return "", "cannot_reply_to_message"
	case r.subtype == "tombstone" && w.opt.StrictTombstones:
		return "", "cannot_reply_to_message"
	}
	return ts, ""
}

// say adds a message of the app. The caller sends the event.
func (w *Workspace) say(ch *channel, thread string, m body) *message {
	n := &message{ts: w.ts(), thread: thread, user: w.botUser, bot: true, text: m.text, blocks: w.withIDs(m.blocks), attachments: m.attachments, metadata: m.metadata}
	ch.msgs = append(ch.msgs, n)
	w.posts = append(w.posts, Post{Channel: ch.id, TS: n.ts, Thread: thread, Text: n.text, Metadata: n.metadata, At: time.Now()})
	return n
}

// withIDs gives each block the block_id it lacks, as Slack does.
func (w *Workspace) withIDs(raw json.RawMessage) json.RawMessage {
	v, err := parse(raw)
	l, ok := v.([]any)
	if err != nil || !ok {
		return raw
	}
	for _, b := range l {
		if o, ok := b.(obj); ok && o["block_id"] == nil {
			o["block_id"] = w.id("b")
		}
	}
	out, _ := json.Marshal(l)
	return out
}

// own finds a message of the app.
func (w *Workspace) own(c *call, refuse string) (*channel, *message, string) {
	if c.lacks("channel", "ts") {
		return nil, nil, "invalid_arguments"
	}
	ch, bad := w.target(c)
	if bad == "not_in_channel" {
		bad = "channel_not_found"
	}
	if bad != "" {
		return nil, nil, bad
	}
	m := ch.find(c.arg("ts"))
	switch {
	case m == nil || m.subtype == "tombstone":
		return nil, nil, "message_not_found"
	case !m.bot:
		return nil, nil, refuse
	}
	return ch, m, ""
}

func (w *Workspace) deleteMessage(c *call) (obj, string) {
	ch, m, bad := w.own(c, "cant_delete_message")
	if bad != "" {
		return nil, bad
	}
	w.erase(ch, m)
	return obj{"channel": ch.id, "ts": m.ts}, ""
}

// erase takes a message away: a root with replies becomes a tombstone and message_changed, any other message gives message_deleted, and
// the root of a deleted reply a message_changed that nobody wrote.
func (w *Workspace) erase(ch *channel, m *message) {
	previous := w.render(ch, m, false)
	if m.thread == "" && len(ch.replies(m.ts)) > 0 {
		*m = message{ts: m.ts, user: "USLACKBOT", subtype: "tombstone", text: "This message was deleted."}
		w.changed(ch, m, previous)
		return
	}
	var root *message
	var before obj
	if m.thread != "" {
		if root = ch.find(m.thread); root != nil {
			before = w.render(ch, root, false)
		}
	}
	ch.remove(m)
	ch.pins = slices.DeleteFunc(ch.pins, func(ts string) bool { return ts == m.ts })
	ts := w.ts()
	w.emitMessage(ch, obj{"subtype": "message_deleted", "hidden": true, "deleted_ts": m.ts, "previous_message": previous, "ts": ts})
	if root != nil {
		w.changed(ch, root, before)
	}
}

func (w *Workspace) postEphemeral(c *call) (obj, string) {
	ch, bad := w.target(c)
	if bad != "" {
		return nil, bad
	}
	if c.lacks("user") {
		return nil, "invalid_arguments"
	}
	if !ch.has(c.arg("user")) {
		return nil, "user_not_in_channel"
	}
	m, bad := w.content(c, 40000)
	if bad != "" {
		return nil, bad
	}
	e := &eph{ts: w.ts(), channel: ch.id, thread: c.arg("thread_ts"), text: m.text, blocks: w.withIDs(m.blocks)}
	w.ephem[c.arg("user")] = append(w.ephem[c.arg("user")], e)
	return obj{"message_ts": e.ts}, ""
}

func (w *Workspace) permalink(c *call) (obj, string) {
	if c.lacks("channel", "message_ts") {
		return nil, "invalid_arguments"
	}
	ch := w.channels[c.arg("channel")]
	if ch == nil || !w.visible(ch) {
		return nil, "channel_not_found"
	}
	m := ch.find(c.arg("message_ts"))
	if m == nil {
		return nil, "message_not_found"
	}
	link := "https://" + w.opt.Domain + ".example/archives/" + ch.id + "/p" + strings.Replace(m.ts, ".", "", 1)
	if m.thread != "" {
		link += "?thread_ts=" + m.thread + "&cid=" + ch.id
	}
	return obj{"channel": ch.id, "permalink": link}, ""
}
