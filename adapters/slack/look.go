package slack

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"strconv"
	"time"
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
	return s.find(ctx, a, since.Add(-earlier), func(m *aPost) bool { return m.Mark.Payload["row"] == row })
}

// findRoot looks for the card that a thread hangs on, when our own note of it is
// lost, and keeps what it finds.
func (s *Slack) findRoot(ctx context.Context, a aim) (string, error) {
	since := time.Time{}
	if sec, err := strconv.ParseFloat(a.root, 64); err == nil {
		since = time.Unix(int64(sec), 0).Add(-time.Minute)
	}
	id := rowID(a.thread)
	ts, err := s.find(ctx, aim{channel: a.channel}, since, func(m *aPost) bool { return m.Mark.Payload["thread"] == id })
	if err != nil || ts == "" {
		return "", err
	}
	if err := s.state.setRoot(ctx, a.thread, a.channel, ts, a.job); err != nil {
		return "", failed("keep thread", err)
	}
	return ts, nil
}

// find pages through a thread, or a channel, for a post of ours.
func (s *Slack) find(ctx context.Context, a aim, since time.Time, want func(*aPost) bool) (string, error) {
	oldest := fmt.Sprintf("%d.000000", max(0, since.Unix()))
	cursor := ""
	for range maxPages {
		list, next, err := s.posts(ctx, a.channel, a.root, args("oldest", oldest, "cursor", cursor))
		if is(err, rootless) && a.root != "" {
			a.root, cursor = "", "" // the thread is gone: then it went to the channel
			continue
		}
		if err != nil {
			return "", failed("look for message", err)
		}
		for i := range list {
			if m := &list[i]; s.ours(m) && want(m) {
				return m.TS, nil
			}
		}
		if next == "" {
			return "", nil
		}
		cursor = next
	}
	return "", failed("look for message", errors.New("too many messages to look through"))
}

// aPost is a message as it is read back, and of it only what is used here. What is of
// another kind than it should be counts as not there: a channel holds what all apps
// write, and one odd block in it must not hide what is ours.
type aPost struct {
	TS    string `json:"ts"`
	User  string `json:"user"`
	BotID string `json:"bot_id"`
	Mark  struct {
		Type    string         `json:"event_type"`
		Payload map[string]any `json:"event_payload"`
	} `json:"metadata"`
	Blocks []struct {
		Elements []struct {
			Type  string `json:"type"`
			ID    string `json:"action_id"`
			Value string `json:"value"`
		} `json:"elements"`
	} `json:"blocks"`
}

// UnmarshalJSON takes whatever is there.
func (m *aPost) UnmarshalJSON(b []byte) error {
	type plain aPost
	_ = json.Unmarshal(b, (*plain)(m)) // it goes on behind what does not fit
	return nil
}

// ours says whether a post is one of those by which we find what we have said.
func (s *Slack) ours(m *aPost) bool {
	return m.Mark.Type == eventType && (m.User == s.me.User || m.BotID != "" && m.BotID == s.me.Bot)
}

// posts reads messages of a thread, or of a channel where root is "", and says where
// the next page begins.
func (s *Slack) posts(ctx context.Context, channel, root string, more url.Values) (list []aPost, next string, err error) {
	var out struct {
		Messages []aPost `json:"messages"`
		HasMore  bool    `json:"has_more"`
		More     struct {
			Cursor string `json:"next_cursor"`
		} `json:"response_metadata"`
	}
	query := args("channel", channel, "ts", root, "limit", "200", "include_all_metadata", "true")
	maps.Copy(query, more)
	if root != "" {
		err = s.read(ctx, "conversations.replies", query, &out)
	} else {
		err = s.read(ctx, "conversations.history", query, &out)
	}
	if !out.HasMore {
		out.More.Cursor = ""
	}
	return out.Messages, out.More.Cursor, err
}
