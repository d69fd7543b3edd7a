package slack

import (
	"context"
	"strings"

	"milepost/bot"
)

// fileGone is a file that was deleted, of a message that is still there: of the one
// that is named, or of all that it was sent in.
func (h *hearing) fileGone(ctx context.Context, r *row, e *inEvent) ([]bot.Inbound, error) {
	id, at, named := strings.Cut(strings.TrimPrefix(r.key, keyGone), ":")
	var list []known
	if named {
		channel, _, _ := strings.Cut(at, ":")
		list = []known{{key: keyMessage + at, channel: channel, user: r.user}}
	} else {
		var err error
		if list, err = withFile(ctx, h.st.db, id); err != nil {
			return nil, unavailable("find deleted file", err)
		}
	}
	team := ""
	if e.Message != nil {
		team = teamOf(e.Message)
	}
	var gone []bot.Inbound
	for i := range list {
		k := &list[i]
		in := bot.Inbound{Loose: true, Thread: threadName(h.s.me.Team, k.channel, k.ts())}
		if k.user == "" {
			continue // of somebody who was erased
		}
		if ok, err := h.from(ctx, &in, k.channel, k.user, team); err != nil {
			return nil, err
		} else if !ok {
			continue
		}
		in.SentAt, _ = timeOf(r.at)
		in.Delete = partDelivery(h.base(k.channel, k.ts()), id)
		in.Delivery = in.Delete + "/d" // as when the message is deleted
		gone = append(gone, in)
	}
	return gone, nil
}

// lostFiles are the files of a message that are not there any more: what is left of
// one has the mode tombstone, or it has gone from the message.
func lostFiles(m, was *inMessage) (ids []string) {
	there := map[string]bool{}
	for _, f := range m.Files {
		if there[f.ID] = true; f.Mode == "tombstone" {
			ids = append(ids, f.ID)
		}
	}
	if was == nil {
		return ids
	}
	for _, f := range was.Files {
		if !there[f.ID] {
			ids = append(ids, f.ID)
		}
	}
	return ids
}

// filesGone are the arrivals of files of a message that were deleted: of each one.
func filesGone(a arrival, m *inMessage, ids []string, at string) (list []arrival) {
	a.also, a.user, a.at = "", string(m.User), at
	a.lane = laneOf(a.channel, m.Thread, m.TS, a.user)
	for _, id := range ids {
		a.key = keyGone + id + ":" + a.channel + ":" + m.TS
		list = append(list, a)
	}
	return list
}
