package slack

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	api "github.com/slack-go/slack"
)

// Slack knows no key by which a repeat is the same message. So a message whose
// fate is not known is looked for where it was to go, by the id in its metadata,
// before it is sent again.

// earlier is how far before our own note of a try a message is looked for: our
// clock and Slack's may differ.
const earlier = 10 * time.Minute

// maxPages bounds a look: at 200 messages each.
const maxPages = 50

// look finds a message of ours, "" if it is not there.
func (s *Slack) look(ctx context.Context, a aim, row, key string) (ts string, err error) {
	since, err := s.state.triedAt(ctx, key)
	if err != nil {
		return "", failed("look for message", err)
	}
	return s.find(ctx, a, since.Add(-earlier), func(m *api.Message) bool { return m.Metadata.EventPayload["row"] == row })
}

// findRoot looks for the card that a thread hangs on, when our own note of it is
// lost, and keeps what it finds.
func (s *Slack) findRoot(ctx context.Context, a aim) (string, error) {
	since := time.Time{}
	if sec, err := strconv.ParseFloat(a.root, 64); err == nil {
		since = time.Unix(int64(sec), 0).Add(-time.Minute)
	}
	id := rowID(a.thread)
	ts, err := s.find(ctx, aim{channel: a.channel}, since, func(m *api.Message) bool { return m.Metadata.EventPayload["thread"] == id })
	if err != nil || ts == "" {
		return "", err
	}
	if err := s.state.setRoot(ctx, a.thread, a.channel, ts, a.job); err != nil {
		return "", failed("keep thread", err)
	}
	return ts, nil
}

// find pages through a thread, or a channel, for a post of ours.
func (s *Slack) find(ctx context.Context, a aim, since time.Time, want func(*api.Message) bool) (string, error) {
	oldest := fmt.Sprintf("%d.000000", max(0, since.Unix()))
	cursor := ""
	for range maxPages {
		list, next, err := s.page(ctx, a, oldest, cursor)
		if is(err, rootless) && a.root != "" {
			a.root, cursor = "", "" // the thread is gone: then it went to the channel
			continue
		}
		if err != nil {
			return "", failed("look for message", err)
		}
		for i := range list {
			m := &list[i]
			if m.Metadata.EventType == eventType && (m.User == s.me.User || m.BotID != "" && m.BotID == s.me.Bot) && want(m) {
				return m.Timestamp, nil
			}
		}
		if next == "" {
			return "", nil
		}
		cursor = next
	}
	return "", failed("look for message", errors.New("too many messages to look through"))
}

// page reads one page of a thread or of a channel.
func (s *Slack) page(ctx context.Context, a aim, oldest, cursor string) ([]api.Message, string, error) {
	if a.root != "" {
		list, more, next, err := s.api.GetConversationRepliesContext(ctx, &api.GetConversationRepliesParameters{ChannelID: a.channel, Timestamp: a.root,
			Oldest: oldest, Cursor: cursor, Limit: 200, IncludeAllMetadata: true})
		if !more {
			next = ""
		}
		return list, next, err
	}
	r, err := s.api.GetConversationHistoryContext(ctx, &api.GetConversationHistoryParameters{ChannelID: a.channel, Oldest: oldest, Cursor: cursor,
		Limit: 200, IncludeAllMetadata: true})
	if err != nil {
		return nil, "", err
	}
	next := r.ResponseMetaData.NextCursor
	if !r.HasMore {
		next = ""
	}
	return r.Messages, next, nil
}
