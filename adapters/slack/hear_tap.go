package slack

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"milepost/bot"
	"milepost/flow"
)

// maxTap bounds what of a button's value is handed on; ours are shorter.
const maxTap = 200

// tapped is a button. Nothing in it is believed but who pressed it and the number
// of what was pressed: what that sends is taken from what the post offers. Whether
// it still means anything, the core knows; where the post offers no such thing it
// is as stale as a button of an earlier question. What a post offered of which
// nothing is noted any more is read back from Slack.
func (h *hearing) tapped(ctx context.Context, r *row, i *inInteraction) ([]bot.Inbound, error) {
	channel, ts := i.channel(), i.Container.Message
	in := bot.Inbound{Delivery: h.s.me.Team + "/" + r.key, SentAt: r.came}
	if ok, err := h.from(ctx, &in, channel, i.User.ID, i.User.Team); err != nil || !ok {
		return nil, err
	}
	p, known, err := h.offered(ctx, r, channel, ts)
	if err != nil {
		return nil, err
	}
	action := &i.Actions[0]
	if !known && action.ID == actionForm {
		h.s.sayAlone(ctx, i.Answer, sayNoForm)
		return nil, nil
	}
	if in.Thread, in.Job = bot.Thread(p.thread), p.job; p.thread == "" {
		w, ok, err := h.hangsOn(ctx, channel, i.root())
		if err == nil && !ok && i.root() != ts {
			w, ok, err = h.lookFor(ctx, channel, i.root())
		}
		if err != nil {
			return nil, err
		}
		if in.Thread, in.Loose, in.Job = w.thread, w.loose, w.job; !ok {
			in.Thread, in.Loose = threadName(h.s.me.Team, channel, i.root()), true
		}
	}
	c, ok := p.post.numbered(action.ID)
	if !known {
		if c, ok, err = h.readBack(ctx, channel, i.root(), ts, action.ID); err != nil {
			return nil, err
		}
		if in.Job == "" {
			in.Job = flow.TapJob(c.Send)
		}
	}
	if !ok {
		// It names no job, so that it can answer nothing: the value is for the log.
		in.Tap = ".0." + clip(flow.TapChoice(action.Value), maxTap)
		return []bot.Inbound{in}, nil
	}
	in.Tap = c.Send
	if err := h.st.tapped(ctx, channel, ts, pick{User: i.User.ID, Name: in.Name, Send: c.Send, Delivery: in.Delivery}); err != nil {
		return nil, unavailable("note a choice", err)
	}
	return []bot.Inbound{in}, nil
}

// offered finds what a post of ours offers: nothing, if all of it has given way. It
// is not known where what we noted of it was lost.
func (h *hearing) offered(ctx context.Context, r *row, channel, ts string) (p shown, known bool, err error) {
	p, ok, err := h.st.shownAt(ctx, channel, ts)
	if err != nil {
		return p, false, unavailable("find post", err)
	}
	if ok {
		return p, true, nil
	}
	id, err := h.st.rowOf(ctx, channel, ts)
	if err != nil {
		return p, false, unavailable("find post", err)
	}
	if id == "" && time.Since(r.came) < rootIn {
		return p, false, unavailable("find post", errors.New("what was pressed is not known yet")) // its sender may just be noting it
	}
	return p, id != "", nil
}

// readBack finds what a button of a post sends, as Slack holds it and we once
// posted it; nothing, if the post is not ours.
func (h *hearing) readBack(ctx context.Context, channel, root, ts, action string) (flow.Choice, bool, error) {
	thread := root
	if root == ts {
		thread = ""
	}
	list, _, err := h.s.posts(ctx, channel, thread, args("oldest", ts, "latest", ts, "inclusive", "true", "limit", "2"))
	if err != nil {
		return flow.Choice{}, false, later("find post", err)
	}
	for i := range list {
		if m := &list[i]; m.TS != ts || !h.s.ours(m) {
			continue
		}
		for _, b := range list[i].Blocks {
			for _, e := range b.Elements {
				if e.Type == "button" && e.ID == action && e.ID != actionForm && len(e.Value) <= maxTap {
					return flow.Choice{Send: e.Value}, true, nil
				}
			}
		}
	}
	return flow.Choice{}, false, nil
}

// numbered is the choice that a button of a post stands for.
func (p *post) numbered(action string) (flow.Choice, bool) {
	id, ok := strings.CutPrefix(action, actionChoose+":")
	n, err := strconv.Atoi(id)
	if !ok || err != nil || n < 1 || n > len(p.Choices) {
		return flow.Choice{}, false
	}
	return p.Choices[n-1], true
}
