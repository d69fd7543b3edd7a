package slack

import (
	"context"
	"errors"

	api "github.com/slack-go/slack"
)

func conversation(id string) *api.GetConversationInfoInput {
	return &api.GetConversationInfoInput{ChannelID: id}
}

// openDirect gives the direct messages with a user.
func (s *Slack) openDirect(ctx context.Context, user string) (string, error) {
	c, _, _, err := s.api.OpenConversationContext(ctx, &api.OpenConversationParameters{Users: []string{user}, ReturnIM: true})
	if err != nil {
		return "", err
	}
	if c == nil || c.ID == "" {
		return "", errNoAnswer
	}
	return c.ID, nil
}

// notServed tells a group of people, once, that they are not served there.
func (h *hearing) notServed(ctx context.Context, channel string) error {
	key := "said:" + channel
	said, err := h.st.meta(ctx, key)
	if err != nil {
		return unavailable("note what was said", err)
	}
	if said != "" {
		return nil
	}
	if err := h.st.setMeta(ctx, key, "group"); err != nil { // before it is said: at most once
		return unavailable("note what was said", err)
	}
	_, _, err = h.s.api.PostMessageContext(ctx, channel, api.MsgOptionText(escape(sayGroup), false),
		api.MsgOptionDisableLinkUnfurl(), api.MsgOptionDisableMediaUnfurl())
	if err != nil && !errors.Is(err, context.Canceled) {
		h.s.log.Warn("a group of people was not told that it is not served", "channel", channel, "err", plainly(err))
	}
	return nil
}
