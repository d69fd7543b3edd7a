package matrix

import (
	"context"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
	"milepost/flow"
)

// Bounds of what is taken from an event.
const (
	longestID   = 255 // of Matrix identifiers
	longestText = 64 << 10
	longestName = 255
)

// hear gives what a person did by an event: nothing, or one message, or a file
// with the words that came with it. rel is how the event hangs on others. An
// error is something that was not there to ask; the event itself is never one.
func (m *stint) hear(ctx context.Context, evt *event.Event, rel *event.RelatesTo) ([]bot.Inbound, error) {
	if string(evt.Sender) == m.cfg.User || !soundID(string(evt.Sender), "@") || !soundID(string(evt.ID), "$") {
		return nil, nil
	}
	switch evt.Type.Type {
	case event.EventMessage.Type:
		return m.hearMessage(ctx, evt, rel)
	case event.EventReaction.Type:
		return m.hearReaction(ctx, evt, rel)
	case event.EventRedaction.Type:
		return m.hearRedaction(ctx, evt)
	}
	return nil, nil
}

func soundID(s, sigil string) bool {
	return strings.HasPrefix(s, sigil) && len(s) > 1 && len(s) <= longestID && !strings.ContainsFunc(s, unicode.IsControl)
}

// inbound begins a message with what every event has.
func (m *stint) inbound(ctx context.Context, evt *event.Event) (bot.Inbound, error) {
	in := bot.Inbound{Network: NetworkName, Delivery: string(evt.ID), From: Identity(string(evt.Sender)),
		Begins: threadName(string(evt.RoomID), string(evt.ID))}
	if err := m.know(ctx, string(evt.RoomID)); err != nil && !final(err) {
		return in, err
	}
	if at := time.UnixMilli(evt.Timestamp); evt.Timestamp > 0 && at.Before(time.Now().Add(24*time.Hour)) {
		in.SentAt = at
	}
	trust, err := m.trustOf(ctx, evt)
	if err != nil {
		return in, err
	}
	in.Trust = trust
	in.Name = cut(m.store.calledIn(ctx, evt.RoomID, evt.Sender), longestName)
	in.Room, err = m.patternOf(ctx, evt.RoomID, evt.Sender)
	return in, err
}

// trustOf says whether the device an event was written on is signed by its
// author. What comes in clear in an encrypted room may be of anybody.
func (m *stint) trustOf(ctx context.Context, evt *event.Event) (flow.Trust, error) {
	if evt.Mautrix.WasEncrypted && evt.Mautrix.TrustState >= id.TrustStateCrossSignedTOFU {
		return flow.Verified, nil
	}
	secret, err := m.state.isEncrypted(ctx, string(evt.RoomID))
	if err != nil || !secret && !evt.Mautrix.WasEncrypted {
		return "", err
	}
	return flow.Unverified, nil
}

func (m *stint) hearMessage(ctx context.Context, evt *event.Event, rel *event.RelatesTo) ([]bot.Inbound, error) {
	c := contentOf(evt)
	if c == nil || c.MsgType == event.MsgNotice {
		return nil, nil // a bot's words are never answered
	}
	in, err := m.inbound(ctx, evt)
	if err != nil {
		return nil, err
	}
	if rel.Type == event.RelReplace {
		return m.hearEdit(ctx, evt, rel, c, in)
	}
	switch {
	case c.MsgType == event.MsgText || c.MsgType == event.MsgEmote:
		text := c.Body
		if rel.GetReplyTo() != "" {
			text = event.TrimReplyFallbackText(text)
		}
		in.Text, in.Called = m.called(ctx, evt, c, text)
		if ok, err := m.placeSaid(ctx, evt, rel, c.Mentions == nil, &in); err != nil || !ok {
			return nil, err
		}
		return []bot.Inbound{in}, nil
	case fileMessage(c.MsgType):
		words, called := m.called(ctx, evt, c, c.GetCaption())
		in.Called = called
		if ok, err := m.placeSaid(ctx, evt, rel, c.Mentions == nil, &in); err != nil || !ok {
			return nil, err
		}
		file := in
		file.File = m.attachment(ctx, c)
		if words == "" {
			return []bot.Inbound{file}, nil
		}
		in.Text, in.Delivery = words, captionOf(evt.ID)
		if in.Loose && in.Job == "" {
			return []bot.Inbound{in, file}, nil // the words may begin the job that the file is for
		}
		return []bot.Inbound{file, in}, nil
	}
	return nil, nil
}

// captionOf is the delivery of the words that came with a file.
func captionOf(evt id.EventID) string { return string(evt) + "/caption" }

func fileMessage(t event.MessageType) bool {
	return t == event.MsgFile || t == event.MsgImage || t == event.MsgVideo || t == event.MsgAudio
}

// hearEdit takes new words for an earlier message of the same person. The server
// does not see to that in encrypted rooms.
func (m *stint) hearEdit(ctx context.Context, evt *event.Event, rel *event.RelatesTo, c *event.MessageEventContent, in bot.Inbound) ([]bot.Inbound, error) {
	n := c.NewContent
	if n == nil {
		return nil, nil
	}
	if n.MsgType == "" {
		n.MsgType = c.MsgType // some clients say it once
	}
	if n.MsgType == event.MsgNotice {
		return nil, nil
	}
	if ok, err := m.sameSender(ctx, evt, rel.EventID); err != nil || !ok {
		return nil, err
	}
	in.Edit = string(rel.EventID)
	switch {
	case n.MsgType == event.MsgText || n.MsgType == event.MsgEmote:
		in.Text, in.Called = m.called(ctx, evt, n, event.TrimReplyFallbackText(n.Body))
	case fileMessage(n.MsgType) && n.GetCaption() != "":
		in.Edit = captionOf(rel.EventID)
		in.Text, in.Called = m.called(ctx, evt, n, n.GetCaption())
	default:
		return nil, nil // another file is another message
	}
	return m.whereTarget(ctx, evt, rel.EventID, in)
}

func (m *stint) hearRedaction(ctx context.Context, evt *event.Event) ([]bot.Inbound, error) {
	target := redacted(evt)
	if !soundID(string(target), "$") {
		return nil, nil
	}
	if ok, err := m.sameSender(ctx, evt, target); err != nil || !ok {
		return nil, err // somebody keeping order in the room takes nothing back
	}
	if err := m.state.dropAside(ctx, string(target)); err != nil {
		return nil, err // it could not be read, and need not be any more
	}
	in, err := m.inbound(ctx, evt)
	if err != nil {
		return nil, err
	}
	in.Delete = string(target)
	ins, err := m.whereTarget(ctx, evt, target, in)
	if err != nil {
		return nil, err
	}
	// The words that may have come with a file go with it.
	words := ins[0]
	words.Delivery, words.Delete = captionOf(evt.ID), captionOf(target)
	return append(ins, words), nil
}

// whereTarget puts a message in the conversation of the event it is about.
func (m *stint) whereTarget(ctx context.Context, evt *event.Event, target id.EventID, in bot.Inbound) ([]bot.Inbound, error) {
	thread, err := m.threadAt(ctx, target)
	if err != nil {
		return nil, err
	}
	if in.Thread = bot.Thread(thread); thread == "" {
		in.Thread, in.Loose = threadName(string(evt.RoomID), string(target)), true
	}
	return []bot.Inbound{in}, nil
}

// sameSender says whether an event is of the one who now changes it.
func (m *stint) sameSender(ctx context.Context, evt *event.Event, target id.EventID) (bool, error) {
	if !soundID(string(target), "$") {
		return false, nil
	}
	sender, room, err := m.state.senderOf(ctx, string(target))
	if err != nil {
		return false, err
	}
	if sender == "" {
		old, err := m.ask(ctx, evt.RoomID, target)
		if err != nil || old == nil {
			return false, err
		}
		sender, room = string(old.Sender), string(evt.RoomID)
	}
	return sender == string(evt.Sender) && room == string(evt.RoomID), nil
}

// ask fetches an event, nil if there is none for us.
func (m *stint) ask(ctx context.Context, room id.RoomID, evt id.EventID) (*event.Event, error) {
	e, err := m.in.fetch(ctx, room, evt)
	switch {
	case err == nil:
		return e, nil
	case final(err):
		return nil, nil
	}
	return nil, err
}

// patternOf gives the pattern of the configuration that a member falls under:
// the room, or the one that it replaced, else the server. Who is not in the room,
// or is of a server that the configuration does not know, is a guest and falls
// under none.
func (m *stint) patternOf(ctx context.Context, room id.RoomID, user id.UserID) (string, error) {
	if !m.store.IsMembership(ctx, room, user, event.MembershipJoin) {
		return "", nil
	}
	named, err := m.named(ctx, string(room), m.cfg.Patterns)
	if err != nil {
		return "", err
	}
	server := serverOf(string(user))
	ours := server == serverOf(m.cfg.User)
	var byRoom, byServer string
	for _, p := range m.cfg.Patterns {
		switch {
		case p == named:
			byRoom = p
		case p == "@*:"+server:
			byServer, ours = p, true
		case strings.HasPrefix(p, "!") && serverOf(p) == server:
			ours = true
		}
	}
	if byRoom != "" && ours {
		return byRoom, nil
	}
	return byServer, nil
}

// serverOf gives the part of an identifier after the first colon.
func serverOf(s string) string {
	_, server, _ := strings.Cut(s, ":")
	return server
}

// cut shortens a text to at most n bytes, between letters.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}
