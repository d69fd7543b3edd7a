package workspace

import (
	"encoding/json"
	"regexp"
	"strings"
)

// Text on Slack (docs.slack.dev, Formatting message text): only & < > are escaped, and mentions and links stand in angle brackets.

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;")
var unescaper = strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&")

// typedToken is what the client makes into markup while a person types.
var typedToken = regexp.MustCompile(`@[a-z0-9._-]+|#[a-z0-9_-]+|https?://[^\s<>]+|[\w.+-]+@[\w-]+\.[a-z]{2,}|\b[A-Za-z][\w-]*\.(?:com|org|net|example)\b`)

// markup turns what a person typed into the text the API gives and the rich_text block that comes with it.
func (w *Workspace) markup(typed string) (string, json.RawMessage) {
	var out strings.Builder
	var parts []obj
	words := func(s string) {
		if s == "" {
			return
		}
		out.WriteString(escaper.Replace(s))
		parts = append(parts, obj{"type": "text", "text": s})
	}
	at := 0
	for _, span := range typedToken.FindAllStringIndex(typed, -1) {
		token := typed[span[0]:span[1]]
		mark, part := w.token(strings.TrimRight(token, ".,;:!?"))
		if part == nil {
			continue
		}
		rest := token[len(strings.TrimRight(token, ".,;:!?")):]
		words(typed[at:span[0]])
		out.WriteString(mark)
		parts = append(parts, part)
		at = span[1] - len(rest)
	}
	words(typed[at:])
	if len(parts) == 0 {
		return "", nil
	}
	blocks, _ := json.Marshal([]obj{{"type": "rich_text", "block_id": w.id("r"),
		"elements": []obj{{"type": "rich_text_section", "elements": parts}}}})
	return out.String(), blocks
}

// token is one typed mention or link, nil if it is just words.
func (w *Workspace) token(t string) (string, obj) {
	link := func(url string) obj { return obj{"type": "link", "url": url, "text": t} }
	switch {
	case t == "@channel", t == "@here", t == "@everyone":
		return "<!" + t[1:] + ">", obj{"type": "broadcast", "range": t[1:]}
	case t[0] == '@':
		if p := w.named(t[1:]); p != nil {
			return "<@" + p.id + ">", obj{"type": "user", "user_id": p.id}
		}
	case t[0] == '#':
		for _, c := range w.channels {
			if c.name == t[1:] && c.kind == Public {
				return "<#" + c.id + "|" + c.name + ">", obj{"type": "channel", "channel_id": c.id}
			}
		}
	case strings.HasPrefix(t, "http"):
		return "<" + escaper.Replace(t) + ">", obj{"type": "link", "url": t}
	case strings.Contains(t, "@"):
		return "<mailto:" + t + "|" + t + ">", link("mailto:" + t)
	case strings.Contains(t, "."):
		return "<http://" + t + "|" + t + ">", link("http://" + t)
	}
	return "", nil
}

var mark = regexp.MustCompile(`<([^<>]*)>`)

// shown is text as people read it: mentions by name, links by label, entities undone. Style marks stay.
func (w *Workspace) shown(text string) string {
	var out strings.Builder
	at := 0
	for _, span := range mark.FindAllStringSubmatchIndex(text, -1) {
		out.WriteString(unescaper.Replace(text[at:span[0]]))
		inner := text[span[2]:span[3]]
		target, label, _ := strings.Cut(inner, "|")
		switch {
		case strings.HasPrefix(target, "@"):
			if p := w.people[target[1:]]; p != nil {
				label = "@" + p.Name
			}
		case strings.HasPrefix(target, "#"):
			if c := w.channels[target[1:]]; c != nil {
				label = "#" + c.name
			}
		case strings.HasPrefix(target, "!"):
			kind, _, _ := strings.Cut(target[1:], "^")
			if label == "" {
				label = "@" + kind
			}
		case label == "":
			label = target
		}
		out.WriteString(unescaper.Replace(label))
		at = span[1]
	}
	out.WriteString(unescaper.Replace(text[at:]))
	return out.String()
}
