package slack

import (
	"context"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"milepost/bot"
)

// What did not reach us, because we were away for longer than Slack repeats its
// deliveries, is read back and goes the same way under the same keys: what had
// come is not heard again. Of a missed message that was edited since, only the
// last form can be had; of a deletion, only that the message is gone.

// metaAlive holds when we last heard, in ms: from there it is read back.
const metaAlive = "alive"

// metaBorn holds when it was begun here for the first time: what was written
// before is none of ours.
const metaBorn = "born"

// live notes now and then that we hear.
func (e *ears) live(ctx context.Context) {
	for {
		if err := e.alive(ctx, false); err != nil && ctx.Err() == nil {
			e.s.log.Error("note of the time can't be kept", "err", err)
		}
		if !sleep(ctx, e.s.times.alive) {
			last, stop := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
			defer stop()
			_ = e.alive(last, false) // at worst more is read back
			return
		}
	}
}

// alive moves the mark, unless something behind it is still to be looked for.
func (e *ears) alive(ctx context.Context, first bool) error {
	if first {
		if v, err := e.st.meta(ctx, metaAlive); err != nil || v != "" {
			return err
		}
		if err := e.st.setMeta(ctx, metaBorn, tsOf(time.Now())); err != nil {
			return err
		}
	} else {
		e.mu.Lock()
		hears := e.linked && !e.behind
		e.mu.Unlock()
		if !hears {
			return nil
		}
	}
	return e.st.setMeta(ctx, metaAlive, strconv.FormatInt(time.Now().UnixMilli(), 10))
}

// heardLast gives when we last heard, and since when we are here at all.
func (e *ears) heardLast(ctx context.Context) (alive time.Time, born string, err error) {
	v, err := e.st.meta(ctx, metaAlive)
	if err != nil {
		return alive, "", err
	}
	ms, err := strconv.ParseInt(v, 10, 64)
	if err != nil {
		return alive, "", nil
	}
	born, err = e.st.meta(ctx, metaBorn)
	return time.UnixMilli(ms), born, err
}

// catchUp reads back whenever something may have been missed, not too often.
func (e *ears) catchUp(ctx context.Context) {
	for {
		select {
		case <-e.look:
		case <-ctx.Done():
			return
		}
		pause := e.s.times.between
		if err := e.lookBack(ctx); err != nil {
			if ctx.Err() != nil {
				return
			}
			e.s.log.Error("what was missed can't be read back and is tried again", "err", plainly(err))
			e.missed()
		}
		if !sleep(ctx, pause) {
			return
		}
	}
}

// lookBack reads back once. Threads of open jobs come first.
func (e *ears) lookBack(ctx context.Context) error {
	e.mu.Lock()
	e.behind = false // whatever is missed from here on sets it again
	e.mu.Unlock()
	alive, born, err := e.heardLast(ctx)
	if err != nil {
		return err
	}
	if alive.IsZero() {
		return nil // it never heard: there is nothing to miss
	}
	began := time.Now()
	since := max(tsOf(alive.Add(-e.s.times.overlap)), born)
	n := 0
	threads, err := e.st.openThreads(ctx)
	if err != nil {
		return err
	}
	var done []string
	for _, t := range threads {
		_, _, begun := splitThread(bot.Thread(t.thread))
		for _, root := range []string{t.ts, begun} {
			if at := t.channel + "/" + root; isTS(root) && !slices.Contains(done, at) {
				done = append(done, at)
				k, err := e.thread(ctx, t.channel, root, since)
				if err != nil {
					return err
				}
				n += k
			}
		}
	}
	channels, err := e.channels(ctx)
	if err != nil {
		return err
	}
	for _, c := range channels {
		k, err := e.channel(ctx, c, since)
		if err != nil {
			return err
		}
		n += k
	}
	e.s.log.Info("read back what may have been missed", "since", alive.UTC().Format(time.RFC3339), "threads", len(done),
		"channels", len(channels), "messages", n, "took", time.Since(began).Round(time.Millisecond).String())
	return e.alive(ctx, false)
}

// aChannel is a channel we are in.
type aChannel struct {
	ID      string `json:"id"`
	Direct  bool   `json:"is_im"`
	Private bool   `json:"is_private"`
	Group   bool   `json:"is_mpim"`
}

func (c *aChannel) kind() string {
	switch {
	case c.Direct:
		return "im"
	case c.Private:
		return "group"
	}
	return "channel"
}

// channels lists the channels we are in, direct messages last.
func (e *ears) channels(ctx context.Context) ([]aChannel, error) {
	var list []aChannel
	for _, types := range []string{"public_channel", "private_channel", "im"} {
		for cursor, pages := "", 0; pages < maxPages; pages++ {
			var out struct {
				Channels []aChannel `json:"channels"`
				More     struct {
					Cursor string `json:"next_cursor"`
				} `json:"response_metadata"`
			}
			err := e.s.patiently(ctx, "users.conversations", args("types", types, "exclude_archived", "true", "limit", "200", "cursor", cursor), &out)
			if code(err) != "" {
				e.s.log.Warn("channels can't be listed: what was missed there stays so", "types", types, "code", code(err))
				break
			}
			if err != nil {
				return nil, err
			}
			for _, c := range out.Channels {
				if !c.Group {
					list = append(list, c)
				}
			}
			if cursor = out.More.Cursor; cursor == "" {
				break
			}
		}
	}
	return list, nil
}

// thread reads back one thread, whole: an edit or a deletion may be of an older
// message.
func (e *ears) thread(ctx context.Context, channel, root, since string) (int, error) {
	had, err := e.st.knownIn(ctx, channel, root, "")
	if err != nil {
		return 0, err
	}
	list, ok, err := e.pages(ctx, "conversations.replies", args("channel", channel, "ts", root))
	if err != nil || !ok {
		return 0, err
	}
	kind := "channel"
	if strings.HasPrefix(channel, "D") {
		kind = "im"
	}
	return e.feed(ctx, channel, root, kind, since, list, had)
}

// channel reads back what was written in a channel beside its threads.
func (e *ears) channel(ctx context.Context, c aChannel, since string) (int, error) {
	had, err := e.st.knownIn(ctx, c.ID, "", since)
	if err != nil {
		return 0, err
	}
	list, ok, err := e.pages(ctx, "conversations.history", args("channel", c.ID, "oldest", since, "inclusive", "true"))
	if err != nil || !ok {
		return 0, err
	}
	n, err := e.feed(ctx, c.ID, "", c.kind(), since, list, had)
	if err != nil {
		return n, err
	}
	// Below a message that called us people may have gone on before there was a card.
	for i := range list {
		m := &list[i]
		if m.Replies == 0 || !byPerson(m) || !c.Direct && !strings.Contains(m.Text, "<@"+e.s.self().User) {
			continue
		}
		k, err := e.thread(ctx, c.ID, m.TS, since)
		if n += k; err != nil {
			return n, err
		}
	}
	return n, nil
}

// pages reads all pages; ok is false where Slack refuses: the thread is gone, or
// the channel closed to us.
func (e *ears) pages(ctx context.Context, method string, query url.Values) (list []inMessage, ok bool, err error) {
	query.Set("limit", "200")
	for range maxPages {
		var out struct {
			Messages []inMessage `json:"messages"`
			HasMore  bool        `json:"has_more"`
			More     struct {
				Cursor string `json:"next_cursor"`
			} `json:"response_metadata"`
		}
		err := e.s.patiently(ctx, method, query, &out)
		if code(err) != "" {
			if !is(err, rootless) {
				e.s.log.Warn("what was missed can't be read back there", "method", method, "channel", query.Get("channel"), "code", code(err))
			}
			return nil, false, nil
		}
		if err != nil {
			return nil, false, err
		}
		list = append(list, out.Messages...)
		if !out.HasMore || out.More.Cursor == "" {
			return list, true, nil
		}
		query.Set("cursor", out.More.Cursor)
	}
	e.s.log.Warn("too much to read back there", "method", method, "channel", query.Get("channel"))
	return list, false, nil
}

// feed stores what of messages read back has not come: messages and edits since a
// time, and deletions of what was known.
func (e *ears) feed(ctx context.Context, channel, root, kind, since string, list []inMessage, had []known) (n int, err error) {
	slices.SortFunc(list, func(a, b inMessage) int { return strings.Compare(a.TS, b.TS) })
	there := map[string]bool{}
	var arrivals []arrival
	team := e.s.self().Team
	for i := range list {
		m := &list[i]
		if !isTS(m.TS) || m.Subtype == subTombstone {
			continue
		}
		key := keyMessage + channel + ":" + m.TS
		there[key] = true
		if !slices.Contains(speech, m.Subtype) || !byPerson(m) {
			continue
		}
		raw, err := wrap(team, channel, kind, m)
		if err != nil {
			return 0, err
		}
		a := arrival{kind: kindEvent, raw: raw, channel: channel, soon: true}
		if m.TS >= since {
			arrivals = append(arrivals, spoken(a, m))
		}
		if m.Edited != nil && isTS(m.Edited.TS) && m.Edited.TS >= since {
			edit, err := editArrivals(a, &inEvent{Type: typeMessage, Channel: ident(channel), Kind: kind, Message: m}, inOuter{Team: team})
			if err != nil {
				return 0, err
			}
			for j := range edit {
				if edit[j].raw, err = wrapEvent(team, &inEvent{Type: typeMessage, inMessage: inMessage{Subtype: subChanged, TS: m.Edited.TS},
					Channel: ident(channel), Kind: kind, Message: m}); err != nil {
					return 0, err
				}
				edit[j].within = key
			}
			arrivals = append(arrivals, edit...)
		}
	}
	at := tsOf(time.Now())
	for _, k := range had {
		if there[k.key] {
			continue
		}
		ts := strings.TrimPrefix(k.key, keyMessage+channel+":")
		raw, err := wrapEvent(team, &inEvent{Type: typeMessage, inMessage: inMessage{Subtype: subDeleted, TS: at}, Channel: ident(channel), Kind: kind, Deleted: ts})
		if err != nil {
			return 0, err
		}
		gone := deletion(arrival{kind: kindEvent, raw: raw, channel: channel, soon: true}, ts, at, nil)
		gone.user, gone.lane = k.user, laneOf(channel, root, ts, k.user)
		arrivals = append(arrivals, gone)
	}
	for part := range slices.Chunk(arrivals, maxBatch) {
		if err := e.keep(ctx, part); err != nil {
			return n, err
		}
		n += len(part)
	}
	return n, nil
}

// args makes the arguments of a method; empty ones are left out.
func args(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			v.Set(pairs[i], pairs[i+1])
		}
	}
	return v
}
