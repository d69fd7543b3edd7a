package slack

import (
	"context"
	"strings"

	"milepost/adapters/own"
	"milepost/bot"
)

// edited is a message that its author has changed. One that calls us only now is heard
// as if it had just been said: as it was nobody took it in.
func (h *hearing) edited(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	m, channel := e.Message, string(e.Channel)
	in := bot.Inbound{}
	if ok, err := h.from(ctx, &in, channel, string(m.User), teamOf(m)); err != nil || !ok {
		return nil, err
	}
	w, err := h.where(ctx, r, channel, m)
	if err != nil {
		return nil, err
	}
	text, mentioned := readable(m.Text, h.s.me.User, func(user, label string) string { return h.s.called(ctx, user, label) })
	base := h.base(channel, m.TS)
	in.Thread, in.Loose, in.Job = w.thread, w.loose, w.job
	in.SentAt, _ = timeOf(m.Edited.TS)
	in.Delivery = base + "/" + partEdit + m.Edited.TS
	c, err := h.callOf(ctx, e)
	if err != nil {
		return nil, unavailable("find edited message", err)
	}
	switch {
	case mentioned && w.loose && w.job == "" && !isDirect(e) && c.may:
		if yes, err := h.groupTalk(ctx, e); err != nil || yes {
			return nil, err
		}
		if err := h.st.calledLate(ctx, r, channel, m); err != nil {
			return nil, unavailable("note a call", err)
		}
		in.Called, in.Text, in.Begins = true, text, threadName(h.s.me.Team, channel, m.TS)
	case e.Previous != nil && e.Previous.Text == "" && w.foreign:
		return nil, nil
	case e.Previous != nil && e.Previous.Text == "":
		in.Delivery, in.Text = base, text // words under a file that had none
	case m.Text == "":
		in.Delete = partDelivery(base, c.part)
	default:
		in.Edit, in.Text = partDelivery(base, c.part), text
	}
	return []bot.Inbound{in}, nil
}

// callOf is what is known of a message's call: whether an edit may be the first, and
// the part that its words were taken in as.
type callOf struct {
	may  bool
	part string
}

// callOf finds out what is known of the call of a message that was edited. Where
// nothing is, neither of it nor how it was, it may have called us long ago.
func (h *hearing) callOf(ctx context.Context, e *inEvent) (c callOf, err error) {
	m := e.Message
	user, list, called, err := h.st.wasCalled(ctx, keyMessage+string(e.Channel)+":"+m.TS)
	if err != nil {
		return c, err
	}
	c = callOf{may: user != "" && !called, part: partText}
	if e.Previous != nil {
		_, before := readable(e.Previous.Text, h.s.me.User, func(user, _ string) string { return user })
		c.may = !called && !before
	}
	for part := range strings.FieldsSeq(list) {
		if strings.HasPrefix(part, partEdit) {
			c.part, c.may = part, part == partEdit+m.Edited.TS // this very one, once more
		}
	}
	return c, nil
}

// partEdit begins a part of a message that is an edit by which it called us first, and
// under whose delivery its words were taken in.
const partEdit = "e/"

// editParts are those of a message's parts that are edits.
func editParts(list string) (edits string) {
	for part := range strings.FieldsSeq(list) {
		if strings.HasPrefix(part, partEdit) {
			edits += " " + part
		}
	}
	return edits
}

// isFile says whether a part of a message is a file, by its id.
func isFile(part string) bool { return part != partText && !strings.HasPrefix(part, partEdit) }

// wasCalled gives a message's author and parts, and whether it addressed us.
func (s *state) wasCalled(ctx context.Context, key string) (user, parts string, called bool, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT user, parts, called FROM seen WHERE key = ?", key).Scan(&user, &parts, &called)
	return user, parts, called, own.IgnoreNone(err)
}

// calledLate notes that a message addresses us since an edit.
func (s *state) calledLate(ctx context.Context, r *row, channel string, m *inMessage) error {
	_, err := s.db.ExecContext(ctx, `INSERT INTO seen (key, channel, at, came, root, user, parts, called) VALUES (?1, ?2, ?3, ?4, ?5, ?6, trim(?7 || ' ' || ?8), 1)
		ON CONFLICT (key) DO UPDATE SET called = 1, parts = trim(parts || ' ' || ?8) WHERE instr(' ' || parts || ' ', ' ' || ?8 || ' ') = 0`,
		keyMessage+channel+":"+m.TS, channel, m.TS, r.came.UnixMilli(), threadRoot(m), string(m.User), parts(m), partEdit+m.Edited.TS)
	return err
}
