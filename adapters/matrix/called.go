package matrix

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
)

// called says whether a text is meant for the assistant, and takes the call out
// of it: a mention, its name in front, or a room with nobody else in it. Words
// that open a job are the bot's to know.
func (m *stint) called(ctx context.Context, evt *event.Event, c *event.MessageEventContent, text string) (string, bool) {
	text = cut(strings.ToValidUTF8(text, "\ufffd"), longestText)
	local, _, _ := strings.Cut(strings.TrimPrefix(m.cfg.User, "@"), ":")
	u := us{user: m.cfg.User, names: []string{m.store.calledIn(ctx, evt.RoomID, id.UserID(m.cfg.User)), local, "milepost"}}
	linked := u.pills(c.FormattedBody)
	mentioned := c.Mentions.Has(id.UserID(m.cfg.User)) || len(linked) > 0
	called := mentioned
	if found := u.mentions(text); len(found) > 0 {
		called, text = true, without(text, found)
	}
	for _, name := range slices.Concat(u.names, linked) {
		if rest, ok := cutName(text, name); ok {
			called, mentioned, text = true, false, rest // it was that one
			break
		}
	}
	if mentioned {
		text = without(text, u.named(text, linked))
	}
	return strings.TrimSpace(text), called || m.direct(ctx, evt.RoomID)
}

// otherAddress is somebody's at a server, who is called as we are at ours.
var otherAddress = regexp.MustCompile(`^\s*@[^\s:]+:[\pL\pN-]+\.[\pL\pN]`)

// cutName takes a name off the front of a text, with what sets it apart.
func cutName(text, name string) (string, bool) {
	t := strings.TrimLeft(text, " \t\n@")
	if utf8.RuneCountInString(name) < 3 || len(t) < len(name) || !strings.EqualFold(t[:len(name)], name) {
		return text, false
	}
	rest := t[len(name):]
	if r, _ := utf8.DecodeRuneInString(rest); rest != "" && inName(r) || otherAddress.MatchString(text) {
		return text, false
	}
	return strings.TrimLeft(rest, " \t\n:,"), true
}

// direct says whether nobody else is in a room but one.
func (m *stint) direct(ctx context.Context, room id.RoomID) bool {
	n := m.store.joined(ctx, room)
	if n == 2 {
		return true
	}
	flag, err := m.state.isDirect(ctx, string(room))
	return err == nil && flag && n < 2
}

func (s *state) isDirect(ctx context.Context, room string) (bool, error) {
	var d int
	err := s.db.QueryRowContext(ctx, "SELECT direct FROM room WHERE id = ?", room).Scan(&d)
	return d == 1, own.IgnoreNone(err)
}
