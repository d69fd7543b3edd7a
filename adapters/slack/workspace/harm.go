package workspace

import (
	"encoding/json"
	"regexp"
	"slices"
	"sort"
	"strings"
)

// said is what a message says, taken apart by how Slack reads it.
type said struct {
	marked []string // text in which Slack looks for mentions, links and style
	plain  []string // text shown as it stands
	marks  []string // mentions and links, in angle brackets, those of rich text included
	alarms []string // those that would alarm more than one person
}

func take(m body) (s said) {
	s.marked = []string{m.text}
	var walk func(v any)
	walk = func(v any) {
		switch x := v.(type) {
		case []any:
			for _, e := range x {
				walk(e)
			}
		case obj:
			words := func(k string) string { t, _ := x[k].(string); return t }
			switch x["type"] {
			case "plain_text", "text", "raw_text":
				s.plain = append(s.plain, words("text"))
				return
			case "link":
				s.marks = append(s.marks, "<"+words("url")+">")
				s.plain = append(s.plain, words("text"))
				return
			case "user":
				s.marks = append(s.marks, "<@"+words("user_id")+">")
				return
			case "broadcast":
				s.marks = append(s.marks, "<!"+words("range")+">")
				return
			case "usergroup":
				s.marks = append(s.marks, "<!subteam^"+words("usergroup_id")+">")
				return
			}
			names := make([]string, 0, len(x))
			for k := range x {
				names = append(names, k)
			}
			sort.Strings(names)
			for _, k := range names {
				t, ok := x[k].(string)
				switch {
				case !ok:
					walk(x[k])
				case k == "text" && x["type"] != "markdown" || k == "pretext":
					s.marked = append(s.marked, t)
				case k == "text" || k == "fallback" || k == "title" || k == "footer":
					s.marks = append(s.marks, mark.FindAllString(t, -1)...)
				}
			}
		}
	}
	for _, raw := range []json.RawMessage{m.blocks, m.attachments} {
		if v, err := parse(raw); err == nil {
			walk(v)
		}
	}
	for _, t := range s.marked {
		s.marks = append(s.marks, mark.FindAllString(t, -1)...)
	}
	for _, t := range s.marks {
		if strings.HasPrefix(t, "<!") && !strings.HasPrefix(t, "<!date^") {
			s.alarms = append(s.alarms, t)
		}
	}
	return s
}

// broadcasts lists what in a message would alarm more than one person.
func broadcasts(m body) []string {
	return slices.Compact(take(m).alarms)
}

// echoes lists mentions and links in the app's words that a person brought in: a link of a person's message, or a mention that a
// person spelt out in letters so that only the app makes it live. Broadcasts are a rule of their own.
func (w *Workspace) echoes(m body) (list []string) {
	for _, t := range take(m).marks {
		if !strings.HasPrefix(t, "<!") && w.brought[unescaper.Replace(t)] && !slices.Contains(list, t) {
			list = append(list, t)
		}
	}
	return list
}

// entity is what escaping leaves; bare is what it would have escaped.
var entity = regexp.MustCompile(`&(?:amp|lt|gt);`)
var twice = regexp.MustCompile(`&amp;(?:amp|lt|gt);`)
var goodMark = regexp.MustCompile(`<(?:[@#!]|https?://|mailto:|tel:)[^<>]*>`)

// escaping says what is wrong with the escaping of a message. Entities that people see count only while nobody in the workspace
// typed one.
func (w *Workspace) escaping(m body) (list []string) {
	s := take(m)
	for _, t := range s.marked {
		rest := goodMark.ReplaceAllString(t, "")
		if strings.ContainsAny(entity.ReplaceAllString(rest, ""), "&<") {
			list = append(list, "& or < not escaped in "+t)
		}
		if !w.entities && twice.MatchString(t) {
			list = append(list, "escaped twice: "+t)
		}
	}
	for _, t := range s.plain {
		if !w.entities && entity.MatchString(t) {
			list = append(list, "an entity people will see in "+t)
		}
	}
	return list
}

// bring remembers what a person's words would become if an app sent them on as they are.
func (w *Workspace) bring(typed, text string) {
	w.entities = w.entities || entity.MatchString(typed)
	for _, t := range mark.FindAllString(unescaper.Replace(typed), -1) {
		w.brought[t] = true // typed out in letters
	}
	for _, t := range mark.FindAllString(typed, -1) {
		w.brought[t] = true
	}
	for _, t := range mark.FindAllString(text, -1) {
		if !strings.HasPrefix(t, "<@") && !strings.HasPrefix(t, "<#") { // an app may mention the person it answers
			w.brought[unescaper.Replace(t)] = true
		}
	}
}
