package workspace

import (
	"encoding/json"
	"regexp"
	"slices"
)

// bareLink is what parse=client makes a link of.
var bareLink = regexp.MustCompile(`(?:https?://|www\.)\S`)

// updateArgs are the arguments of chat.update (docs.slack.dev); the token goes by header or form.
var updateArgs = []string{"token", "channel", "ts", "text", "blocks", "attachments", "unfurled_attachments", "markdown_text", "metadata", "link_names",
	"parse", "reply_broadcast", "file_ids", "as_user"}

// updateMessage is chat.update: text without blocks takes the blocks away; only blocks leaves no "(edited)"; metadata stays where none
// is given, and goes with an empty object (docs.slack.dev).
func (w *Workspace) updateMessage(c *call) (obj, string) {
	for k := range c.args {
		if !slices.Contains(updateArgs, k) {
			w.broke("chat.update: %s is no argument of it", k)
		}
	}
	ch, m, bad := w.own(c, "cant_update_message")
	if bad != "" {
		return nil, bad
	}
	wiped := c.arg("metadata") == "{}"
	if wiped {
		c.args.Del("metadata")
	}
	b, bad := w.content(c, 4000)
	if bad != "" {
		return nil, bad
	}
	previous := w.render(ch, m, false)
	if c.args.Has("text") {
		m.text = b.text
		m.editedTS = w.ts()
	}
	m.past = append([]json.RawMessage{m.blocks}, m.past...)
	m.blocks = w.withIDs(b.blocks)
	if c.args.Has("attachments") || b.blocks == nil {
		m.attachments = b.attachments
	}
	if b.metadata != nil || wiped {
		m.metadata = b.metadata
	}
	// Unlike chat.postMessage it looks for links in the text unless it is told not to (docs.slack.dev, chat.update, parse).
	if bareLink.MatchString(goodMark.ReplaceAllString(b.text, "")) && c.arg("parse") != "none" {
		w.broke("chat.update: a link is made of words in %.80q", b.text)
	}
	w.changed(ch, m, previous)
	return obj{"channel": ch.id, "ts": m.ts, "text": m.text, "message": w.render(ch, m, true)}, ""
}
