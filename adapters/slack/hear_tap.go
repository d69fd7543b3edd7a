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
// is as stale as a button of an earlier question.
func (h *hearing) tapped(ctx context.Context, r *row, i *inInteraction) ([]bot.Inbound, error) {
	channel, ts := i.channel(), i.Container.Message
	in := bot.Inbound{Delivery: h.s.me.Team + "/" + r.key, SentAt: r.came}
	if ok, err := h.from(ctx, &in, channel, i.User.ID, i.User.Team); err != nil || !ok {
		return nil, err
	}
	p, err := h.offered(ctx, r, channel, ts)
	if err != nil {
		return nil, err
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
	c, ok := p.post.numbered(i.Actions[0].ID)
	if !ok {
		// It names no job, so that it can answer nothing: the value is for the log.
		in.Tap = ".0." + clip(flow.TapChoice(i.Actions[0].Value), maxTap)
		return []bot.Inbound{in}, nil
	}
	in.Tap = c.Send
	if err := h.st.tapped(ctx, channel, ts, pick{User: i.User.ID, Name: in.Name, Send: c.Send, Delivery: in.Delivery}); err != nil {
		return nil, unavailable("note a choice", err)
	}
	return []bot.Inbound{in}, nil
}

// offered finds what a post of ours offers: nothing, if all of it has given way.
func (h *hearing) offered(ctx context.Context, r *row, channel, ts string) (shown, error) {
	p, ok, err := h.st.shownAt(ctx, channel, ts)
	if err != nil {
		return p, unavailable("find post", err)
	}
	if ok {
		return p, nil
	}
	id, err := h.st.rowOf(ctx, channel, ts)
	if err != nil {
		return p, unavailable("find post", err)
	}
	if id == "" && time.Since(r.came) < rootIn {
		return p, unavailable("find post", errors.New("what was pressed is not known yet")) // its sender may just be noting it
	}
	return p, nil
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
