package slack

import (
	"context"
	"net/url"
	"slices"
	"strings"
	"time"

	"milepost/bot"
)

const (
	closedFor  = 7 * 24 * time.Hour // threads of jobs closed within it are read back as well
	maxClosed  = 50                 // of those, the latest
	maxParents = 50                 // threads of a channel that are none of jobs, the latest
	ahead      = 24 * time.Hour     // by which Slack's clock is surely not before ours
	olderPages = 3                  // of a channel's history, for what is older than what was missed
)

// back is one reading back.
type back struct {
	*ears
	hurry bool // somebody waits for it
	began time.Time
	born  string
	since string // from there on something may have been missed

	absences map[string]string // channels that we were not in for a while
	refused  map[string]bool   // channels that can't be read

	done                   map[string]bool // threads read, as channel/ts
	threads, channels, fed int
}

// all reads back all there is in some channels: threads first in which a job is open.
func (b *back) all(ctx context.Context, in func(channel string) bool) error {
	threads, err := b.st.threadsToRead(ctx, b.began)
	if err != nil {
		return err
	}
	for _, t := range threads {
		if !in(t.channel) {
			continue
		}
		_, _, begun := splitThread(bot.Thread(t.thread))
		for _, root := range []string{t.ts, begun} {
			if err := b.thread(ctx, t.channel, root); err != nil {
				return err
			}
		}
	}
	list, err := b.list(ctx)
	if err != nil {
		return err
	}
	for i := range list {
		c := &list[i]
		if !in(c.ID) {
			continue
		}
		b.channels++
		if err := b.channel(ctx, c); err != nil {
			return err
		}
		if was := b.absences[c.ID]; was != "" && !b.refused[c.ID] {
			if err := b.st.present(ctx, c.ID, was); err != nil {
				return err
			}
		}
	}
	return nil
}

// ask is patiently; where nobody waits for it, with pauses that leave most of what
// Slack allows to others.
func (b *back) ask(ctx context.Context, method string, query url.Values, out any) error {
	b.mu.Lock()
	b.hurry = b.hurry || b.behind
	b.mu.Unlock()
	if !b.hurry && !sleep(ctx, b.s.times.paced) {
		return ctx.Err()
	}
	return b.s.patiently(ctx, method, query, out)
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

// list gives the channels we are in, direct messages last.
func (b *back) list(ctx context.Context) ([]aChannel, error) {
	var list []aChannel
	for _, types := range []string{"public_channel", "private_channel", "im"} {
		for cursor, pages := "", 0; pages < maxPages; pages++ {
			var out struct {
				Channels []aChannel `json:"channels"`
				More     struct {
					Cursor string `json:"next_cursor"`
				} `json:"response_metadata"`
			}
			err := b.ask(ctx, "users.conversations", args("types", types, "exclude_archived", "true", "limit", "200", "cursor", cursor), &out)
			if code(err) != "" {
				b.s.log.Warn("channels can't be listed: what was missed there stays so", "types", types, "code", code(err))
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
func (b *back) thread(ctx context.Context, channel, root string) error {
	at := channel + "/" + root
	if !isTS(root) || b.done[at] {
		return nil
	}
	b.done[at] = true
	b.threads++
	had, err := b.st.knownIn(ctx, channel, root, "")
	if err != nil {
		return err
	}
	list, read, err := b.pages(ctx, "conversations.replies", args("channel", channel, "ts", root), nil)
	if err != nil || read == readNothing {
		return err
	}
	if read != readWhole {
		had = onlyThose(had, list)
	}
	kind := "channel"
	if strings.HasPrefix(channel, "D") {
		kind = "im"
	}
	n, err := b.feed(ctx, channel, root, kind, b.sinceIn(channel), list, had)
	b.fed += n
	return err
}

// channel reads back what was written in a channel beside the threads of jobs: since
// a time, and what became of what is a little older.
func (b *back) channel(ctx context.Context, c *aChannel) error {
	oldest := tsOf(b.began.Add(-b.s.times.parents))
	since := b.sinceIn(c.ID)
	oldest = min(since, max(oldest, b.born))
	had, err := b.st.knownIn(ctx, c.ID, "", oldest)
	if err != nil {
		return err
	}
	pages := 0
	query := args("channel", c.ID, "oldest", oldest, "latest", tsOf(b.began.Add(ahead)), "inclusive", "true")
	list, read, err := b.pages(ctx, "conversations.history", query, func(page []inMessage) bool {
		pages++
		return pages >= olderPages && len(page) > 0 && page[len(page)-1].TS < since // with latest, the newest come first
	})
	switch {
	case err != nil || read == readNothing:
		return err
	case read == readSome:
		had = onlyThose(had, list)
	case read == readNewest:
		oldest = list[len(list)-1].TS
		had = slices.DeleteFunc(had, func(k known) bool { return k.ts() < oldest })
	}
	n, err := b.feed(ctx, c.ID, "", c.kind(), since, list, had)
	if b.fed += n; err != nil {
		return err
	}
	return b.below(ctx, c, list)
}

// below reads what was written below messages of a channel: below ours, such as
// alerts, below those that called us, before there was a card, and below others,
// where we may have been called.
func (b *back) below(ctx context.Context, c *aChannel, list []inMessage) error {
	var roots []*inMessage
	since := b.sinceIn(c.ID)
	for i := range list {
		m := &list[i]
		called := c.Direct || strings.Contains(m.Text, "<@"+b.s.self().User)
		if m.Replies > 0 && (m.Latest >= since || called && m.TS >= since) {
			roots = append(roots, m)
		}
	}
	slices.SortStableFunc(roots, func(x, y *inMessage) int { return strings.Compare(y.Latest, x.Latest) })
	if len(roots) > maxParents {
		b.s.log.Warn("not all threads of a channel are read back", "channel", c.ID, "threads", len(roots))
		roots = roots[:maxParents]
	}
	for _, m := range roots {
		if err := b.thread(ctx, c.ID, m.TS); err != nil {
			return err
		}
	}
	return nil
}

// reach is how much of what was asked for was read: what lies within and is not there
// was deleted.
type reach int

const (
	readNothing reach = iota // Slack refuses: the thread is gone, or the channel closed to us
	readSome                 // nothing is known of what is not there
	readNewest               // all, from the last of the list on
	readWhole
)

// onlyThose are those of the messages known that were read back, so that none counts
// as deleted.
func onlyThose(had []known, list []inMessage) []known {
	there := map[string]bool{}
	for i := range list {
		there[list[i].TS] = true
	}
	return slices.DeleteFunc(had, func(k known) bool { return !there[k.ts()] })
}

// pages reads pages, until enough says so where it is given.
func (b *back) pages(ctx context.Context, method string, query url.Values, enough func(page []inMessage) bool) (list []inMessage, read reach, err error) {
	query.Set("limit", "200")
	for range maxPages {
		var out struct {
			Messages []inMessage `json:"messages"`
			HasMore  bool        `json:"has_more"`
			More     struct {
				Cursor string `json:"next_cursor"`
			} `json:"response_metadata"`
		}
		err := b.ask(ctx, method, query, &out)
		if code(err) != "" {
			channel := query.Get("channel")
			if !is(err, rootless) {
				b.refused[channel] = true
				b.s.log.Warn("what was missed can't be read back there", "method", method, "channel", channel, "code", code(err))
			}
			if is(err, notIn) { // and nobody told us
				b.noteAbsent(ctx, channel, b.sinceIn(channel))
			}
			return nil, readNothing, nil
		}
		if err != nil {
			return nil, readNothing, err
		}
		list = append(list, out.Messages...)
		switch {
		case !out.HasMore:
			return list, readWhole, nil
		case enough != nil && enough(out.Messages):
			return list, readNewest, nil
		case out.More.Cursor == "":
			b.s.log.Warn("slack holds more there and does not say how to get it", "method", method, "channel", query.Get("channel"))
			return list, readSome, nil
		}
		query.Set("cursor", out.More.Cursor)
	}
	b.s.log.Warn("too much to read back there", "method", method, "channel", query.Get("channel"))
	return list, readSome, nil
}
