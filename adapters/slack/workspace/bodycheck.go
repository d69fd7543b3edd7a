package workspace

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
)

// ValidateView says what Slack would refuse in a modal or a home tab, nil if nothing.
func ValidateView(raw json.RawMessage) []string {
	c := newChecker("")
	c.view(raw)
	return c.faults
}

func (c *checker) view(raw json.RawMessage) {
	v, err := parse(raw)
	if err != nil {
		c.fault("/view", "must be valid JSON")
		return
	}
	o, _ := v.(obj)
	c.surface, _ = o["type"].(string)
	blocks := may(func(c *checker, at string, v any) { list(1, maxViewBlocks, block)(c, at, v) })
	blocks.need = true
	s := shape{"type": need(word("modal", "home")), "blocks": blocks, "private_metadata": may(text(3000)),
		"callback_id": may(text(255)), "external_id": may(text(255))}
	if c.surface != "home" {
		s["title"] = need(plain(24))
		s["submit"], s["close"] = may(plain(24)), may(plain(24))
		s["clear_on_close"], s["notify_on_close"], s["submit_disabled"] = may(truth), may(truth), may(truth)
	}
	c.object("/view", v, s)
	if c.surface == "modal" && c.inputs > 0 && o["submit"] == nil {
		c.fault("/view", "`submit` is required when an `input` block is in `blocks`")
	}
}

// ValidateMessage says what is wrong with the arguments of chat.postMessage, given as one JSON object (text, blocks, attachments,
// metadata, thread_ts, unfurl_links, unfurl_media, …), nil if nothing. It is Slack's limits and, beyond them, this house's rules:
// text beside blocks, previews off, no broadcast.
func ValidateMessage(raw json.RawMessage) []string {
	v, err := parse(raw)
	o, ok := v.(obj)
	if err != nil || !ok {
		return []string{"[ERROR] must be a JSON object [json-pointer:]"}
	}
	c := newChecker("message")
	m := bodyOf(o)
	c.message(m)
	if o["unfurl_links"] != false || o["unfurl_media"] != false {
		c.fault("", "unfurl_links and unfurl_media must be false")
	}
	for _, b := range broadcasts(m) {
		c.fault("", "broadcast mention %s", b)
	}
	return c.faults
}

// body is the content of a message, whoever sends it and by whichever method.
type body struct {
	text                          string
	blocks, attachments, metadata json.RawMessage
}

func bodyOf(o obj) body {
	raw := func(k string) json.RawMessage {
		if o[k] == nil {
			return nil
		}
		b, _ := json.Marshal(o[k])
		return b
	}
	m := body{blocks: raw("blocks"), attachments: raw("attachments"), metadata: raw("metadata")}
	m.text, _ = o["text"].(string)
	return m
}

// message checks a body. Faults that begin with an error code of their own are answered with that code, see code.
func (c *checker) message(m body) {
	if m.blocks != nil {
		c.blocks(m.blocks, maxBlocks, "/blocks")
	}
	if strings.TrimSpace(m.text) == "" {
		c.faults = append(c.faults, "no_text: text is empty; it is the notification and what a screen reader says")
	}
	if n := length(m.text); n > 4000 {
		c.faults = append(c.faults, fmt.Sprintf("msg_too_long: text has %d characters, 4000 are advised", n))
	}
	if m.attachments != nil {
		c.attachments(m.attachments)
	}
	if m.metadata != nil {
		c.metadata(m.metadata)
	}
}

func (c *checker) attachments(raw json.RawMessage) {
	v, err := parse(raw)
	l, ok := v.([]any)
	if err != nil || !ok {
		c.faults = append(c.faults, "invalid_attachments: must be an array")
		return
	}
	if len(l) > 100 {
		c.faults = append(c.faults, "too_many_attachments: more than 100")
	}
	anything := func(*checker, string, any) {}
	for i, a := range l {
		at := fmt.Sprintf("/attachments/%d", i)
		o := c.object(at, a, shape{"fallback": may(text(4000)), "color": may(text(20)), "text": may(text(4000)), "blocks": may(list(1, maxBlocks, block)),
			"pretext": may(text(4000)), "title": may(text(1000)), "title_link": may(address(3000)), "footer": may(text(300)),
			"fields": may(anything), "mrkdwn_in": may(anything), "ts": may(anything)})
		if o != nil && o["fallback"] == nil && o["text"] == nil && o["blocks"] == nil {
			c.faults = append(c.faults, "no_text: attachment without text, blocks or fallback")
		}
	}
}

var eventType = regexp.MustCompile(`^[A-Za-z0-9_.-]{1,255}$`)

func (c *checker) metadata(raw json.RawMessage) {
	v, _ := parse(raw)
	o, ok := v.(obj)
	kind, _ := o["event_type"].(string)
	_, payload := o["event_payload"].(obj)
	switch {
	case !ok || !eventType.MatchString(kind) || !payload:
		c.faults = append(c.faults, "invalid_metadata_format: event_type or event_payload is missing or malformed")
	case len(raw) > 16384: // docs.slack.dev, Message metadata
		c.faults = append(c.faults, "metadata_too_large: more than 16 kB")
	}
	for k := range o {
		if k != "event_type" && k != "event_payload" {
			c.faults = append(c.faults, "invalid_metadata_schema: unknown property "+k)
		}
	}
}

// code is the error code Slack answers a faulty body with.
func code(faults []string) string {
	for _, f := range faults {
		if strings.HasPrefix(f, "[ERROR]") {
			return "invalid_blocks"
		}
	}
	if len(faults) == 0 {
		return ""
	}
	first, _, _ := strings.Cut(faults[0], ":")
	return first
}
