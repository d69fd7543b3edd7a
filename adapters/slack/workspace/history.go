package workspace

import (
	"regexp"
	"slices"
	"strconv"
)

// within is the span of time a reading method was asked for.
type within struct {
	oldest, latest string
	inclusive      bool
}

var tsForm = regexp.MustCompile(`^\d+(\.\d{1,6})?$`)

func (c *call) span() (within, string) {
	s := within{oldest: c.arg("oldest"), latest: c.arg("latest"), inclusive: c.flag("inclusive")}
	if s.oldest != "" && !tsForm.MatchString(s.oldest) {
		return s, "invalid_ts_oldest"
	}
	if s.latest != "" && !tsForm.MatchString(s.latest) {
		return s, "invalid_ts_latest"
	}
	return s, ""
}

// has compares as numbers: "0" and "1700000000" are times too.
func (s within) has(ts string) bool {
	t, _ := strconv.ParseFloat(ts, 64)
	if o, err := strconv.ParseFloat(s.oldest, 64); err == nil && (t < o || ts == s.oldest && !s.inclusive) {
		return false
	}
	if l, err := strconv.ParseFloat(s.latest, 64); err == nil && (t > l || ts == s.latest && !s.inclusive) {
		return false
	}
	return true
}

// readable is a channel whose messages the app may read.
func (w *Workspace) readable(c *call) (*channel, string) {
	ch, bad := w.find(c, "history")
	if bad == "" && !ch.has(w.botUser) {
		bad = "not_in_channel"
	}
	return ch, bad
}

func (w *Workspace) most() (usual, most int) {
	if w.opt.Distributed {
		return 15, 15
	}
	return 100, 999
}

// history is conversations.history: newest first, roots and broadcast replies only. With oldest and without latest the first page is
// that closest to oldest, and the next ones follow towards now ("If oldest is provided but not latest then the messages returned are
// those closest to oldest, allowing you to page forward through history": channels.history, whose successor says nothing else;
// github.com/slackhq/slack-api-docs).
func (w *Workspace) history(c *call) (obj, string) {
	ch, bad := w.readable(c)
	if bad != "" {
		return nil, bad
	}
	span, bad := c.span()
	if bad != "" {
		return nil, bad
	}
	var list []obj
	for _, m := range slices.Backward(ch.msgs) {
		if (m.thread == "" || m.broadcast) && span.has(m.ts) {
			list = append(list, w.render(ch, m, c.flag("include_all_metadata")))
		}
	}
	forward := span.oldest != "" && span.latest == ""
	if forward {
		slices.Reverse(list)
	}
	usual, most := w.most()
	part, next, bad := page(c, list, usual, most)
	if bad != "" {
		return nil, bad
	}
	if forward {
		part = slices.Clone(part)
		slices.Reverse(part)
	}
	out := obj{"messages": part, "has_more": next != "", "pin_count": len(ch.pins)}
	if next != "" {
		out["response_metadata"] = obj{"next_cursor": next}
	}
	return out, ""
}

// threadReplies is conversations.replies: the root on every page, then the replies, oldest first. With the ts of a reply it gives
// that message alone.
func (w *Workspace) threadReplies(c *call) (obj, string) {
	ch, bad := w.readable(c)
	if bad != "" {
		return nil, bad
	}
	if c.lacks("ts") {
		return nil, "invalid_arguments"
	}
	span, bad := c.span()
	if bad != "" {
		return nil, bad
	}
	root := ch.find(c.arg("ts"))
	if root == nil {
		return nil, "thread_not_found"
	}
	metadata := c.flag("include_all_metadata")
	var list []obj
	if root.thread == "" {
		for _, m := range ch.replies(root.ts) {
			if span.has(m.ts) {
				list = append(list, w.render(ch, m, metadata))
			}
		}
	}
	usual, most := w.most()
	if !w.opt.Distributed {
		usual = 999
	}
	part, next, bad := page(c, list, usual, most)
	if bad != "" {
		return nil, bad
	}
	out := obj{"messages": append([]obj{w.render(ch, root, metadata)}, part...), "has_more": next != ""}
	if next != "" {
		out["response_metadata"] = obj{"next_cursor": next}
	}
	return out, ""
}
