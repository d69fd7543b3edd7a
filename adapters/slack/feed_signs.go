package slack

import (
	"context"
	"database/sql"
	"time"
)

// Signs that people have put on our posts choose. Where the event of one was missed,
// the post still shows the sign, but not since when: it counts from when it is read
// back, unless it is known already. A sign that was taken back while we were away is
// not looked for.

// signsFor is how old a post is whose signs are read back: what is known of them is
// kept longer.
const signsFor = seenFor - 24*time.Hour

// caughtSign ends the keys of signs that were read back.
const caughtSign = "c"

// signsOn are the arrivals of the signs on a post of ours that choose.
func signsOn(team, channel string, m *inMessage, at string) (list []arrival, err error) {
	if now, ok := timeOf(at); !ok || m.TS < tsOf(now.Add(-signsFor)) {
		return nil, nil
	}
	for _, s := range m.Signs {
		if _, ok := reactions[s.Name]; !ok {
			continue
		}
		for _, user := range s.Users {
			if user == m.User {
				continue
			}
			e := &inEvent{Type: typeReacted, inMessage: inMessage{User: user}, Reaction: s.Name, EventTS: at,
				Item: &inItem{Type: "message", Channel: ident(channel), TS: m.TS}}
			a := arrival{kind: kindEvent, user: string(user), channel: channel, root: m.TS, at: at, soon: true, sign: reactionKey(keyReact, e), caught: true}
			a.key = a.sign + at + caughtSign
			if a.raw, err = wrapEvent(team, e); err != nil {
				return nil, err
			}
			list = append(list, a)
		}
	}
	return list, nil
}

// signKnown says whether a sign that comes is known: one that was read back, because
// it was put there and not taken away since; one that an event tells of, because it
// was read back since.
func signKnown(ctx context.Context, tx *sql.Tx, a *arrival) (yes bool, err error) {
	end := a.sign[:len(a.sign)-1] + ";"
	if !a.caught {
		err = tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM seen WHERE key >= ?1 AND key < ?2 AND at >= ?3 AND substr(key, -1) = ?4)",
			a.sign, end, a.at, caughtSign).Scan(&yes)
		return yes, err
	}
	taken := keyUnreact + a.sign[len(keyReact):]
	err = tx.QueryRowContext(ctx, `SELECT coalesce((SELECT max(at) FROM seen WHERE key >= ?1 AND key < ?2), '') >
		coalesce((SELECT max(at) FROM seen WHERE key >= ?3 AND key < ?4), '') OR EXISTS (SELECT 1 FROM seen WHERE key = ?5)`,
		a.sign, end, taken, taken[:len(taken)-1]+";", keyUnread+a.channel+":"+a.root).Scan(&yes)
	return yes, err
}
