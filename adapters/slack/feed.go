package slack

import (
	"context"
	"slices"
	"strings"
	"time"
)

// feed stores what of messages read back has not come: messages and edits since a
// time, deletions of what was known, files among it, and signs on posts of ours.
func (e *ears) feed(ctx context.Context, channel, root, kind, since string, list []inMessage, had []known) (n int, err error) {
	slices.SortFunc(list, func(a, b inMessage) int { return strings.Compare(a.TS, b.TS) })
	there, knew := map[string]bool{}, map[string]*known{}
	for i := range had {
		knew[had[i].key] = &had[i]
	}
	var arrivals []arrival
	at := tsOf(time.Now())
	team := e.s.self().Team
	for i := range list {
		m := &list[i]
		if !isTS(m.TS) || m.Subtype == subTombstone {
			continue
		}
		key := keyMessage + channel + ":" + m.TS
		there[key] = true
		if string(m.User) == e.s.self().User {
			signs, err := signsOn(team, channel, m, at)
			if err != nil {
				return 0, err
			}
			arrivals = append(arrivals, signs...)
		}
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
				if edit[j].raw, err = wrapChange(team, channel, kind, m, m.Edited.TS); err != nil {
					return 0, err
				}
				edit[j].within = key
			}
			arrivals = append(arrivals, edit...)
		}
		if gone := knew[key].lost(m); len(gone) > 0 && (knew[key] != nil || m.TS >= since) {
			if a.raw, err = wrapChange(team, channel, kind, m, at); err != nil {
				return 0, err
			}
			for _, g := range filesGone(a, m, gone, at) {
				g.within = key // a message that is new says itself that it lacks them
				arrivals = append(arrivals, g)
			}
		}
	}
	for _, k := range had {
		if there[k.key] {
			continue
		}
		ts := k.ts()
		raw, err := wrapEvent(team, &inEvent{Type: typeMessage, inMessage: inMessage{Subtype: subDeleted, TS: at}, Channel: ident(channel), Kind: kind, Deleted: ts})
		if err != nil {
			return 0, err
		}
		gone := deletion(arrival{kind: kindEvent, raw: raw, channel: channel, soon: true}, ts, at, nil)
		gone.user, gone.lane = k.user, laneOf(channel, root, ts, k.user)
		arrivals = append(arrivals, gone)
	}
	for part := range slices.Chunk(arrivals, maxBatch) {
		if err := e.store(ctx, part); err != nil {
			return n, err
		}
		n += len(part)
	}
	return n, nil
}

// lost are the files of a message that are not there any more; k is nil where the
// message was not taken in.
func (k *known) lost(m *inMessage) []string {
	if k == nil {
		return lostFiles(m, nil)
	}
	was := &inMessage{}
	for part := range strings.FieldsSeq(k.parts) {
		if isFile(part) {
			was.Files = append(was.Files, inFile{ID: part})
		}
	}
	return lostFiles(m, was)
}

// wrapChange makes of a message what an event of its change would have brought.
func wrapChange(team, channel, kind string, m *inMessage, at string) ([]byte, error) {
	return wrapEvent(team, &inEvent{Type: typeMessage, inMessage: inMessage{Subtype: subChanged, TS: at}, Channel: ident(channel), Kind: kind, Message: m})
}
