package matrix

import (
	"encoding/json"

	"maunium.net/go/mautrix/event"
)

// contentOf gives a message's content, nil if it has none. It is read from what was
// sent: the library stops at a field that is not of its kind.
func contentOf(evt *event.Event) *event.MessageEventContent {
	if raw := evt.Content.VeryRaw; len(raw) > 0 {
		return readContent(raw, true)
	}
	c, _ := evt.Content.Parsed.(*event.MessageEventContent)
	return c
}

// readContent reads a message. A field that it can do without and that is not of its
// kind is passed over: some clients write a height in words, or half a loudness.
// edits says whether it may hold new content for another message.
func readContent(raw []byte, edits bool) *event.MessageEventContent {
	var c event.MessageEventContent
	if json.Unmarshal(raw, &c) == nil {
		return &c
	}
	var fields map[string]json.RawMessage
	if json.Unmarshal(raw, &fields) != nil {
		return nil
	}
	c = event.MessageEventContent{}
	if !take(fields, "msgtype", &c.MsgType) || !take(fields, "body", &c.Body) {
		return nil
	}
	take(fields, "format", &c.Format)
	take(fields, "formatted_body", &c.FormattedBody)
	take(fields, "url", &c.URL)
	take(fields, "file", &c.File)
	take(fields, "filename", &c.FileName)
	take(fields, "info", &c.Info)
	take(fields, "m.mentions", &c.Mentions)
	if n := fields["m.new_content"]; len(n) > 0 && edits {
		c.NewContent = readContent(n, false)
	}
	return &c
}

// take reads a field where it is there; it is false, and to is as before, where the
// field is of another kind.
func take[T any](fields map[string]json.RawMessage, key string, to *T) bool {
	raw, ok := fields[key]
	if !ok {
		return true
	}
	var v T
	if json.Unmarshal(raw, &v) != nil {
		return false
	}
	*to = v
	return true
}

// relationIn reads how a message hangs on others. Nothing of it is sure: what is of
// another kind is not there.
func relationIn(raw []byte) *event.RelatesTo {
	var c struct {
		RelatesTo json.RawMessage `json:"m.relates_to"`
	}
	rel := &event.RelatesTo{}
	if json.Unmarshal(raw, &c) != nil || len(c.RelatesTo) == 0 || json.Unmarshal(c.RelatesTo, rel) == nil {
		return rel
	}
	rel = &event.RelatesTo{}
	var fields, reply map[string]json.RawMessage
	if json.Unmarshal(c.RelatesTo, &fields) != nil {
		return rel
	}
	take(fields, "rel_type", &rel.Type)
	take(fields, "event_id", &rel.EventID)
	take(fields, "key", &rel.Key)
	take(fields, "is_falling_back", &rel.IsFallingBack)
	if take(fields, "m.in_reply_to", &reply) && reply != nil {
		rel.InReplyTo = &event.InReplyTo{}
		take(reply, "event_id", &rel.InReplyTo.EventID)
	}
	return rel
}
