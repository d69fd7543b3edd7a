package matrix

import (
	"context"
	"fmt"
	"strings"

	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Present gives those of some people who have joined the room of a thread, and
// what they are called there. The server is asked: what is known of members may
// be behind. (bot.Roster)
func (m *Matrix) Present(ctx context.Context, thread bot.Thread, of []bot.Identity) (map[bot.Identity]string, error) {
	r, leave := m.on.held()
	defer leave()
	if r == nil {
		return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("ask who is in a room: matrix does not run")}
	}
	return r.present(ctx, thread, of)
}

func (m *stint) present(ctx context.Context, thread bot.Thread, of []bot.Identity) (map[bot.Identity]string, error) {
	room, _ := splitThread(thread)
	if !soundID(room, "!") {
		return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("ask who is in a room: %.200q is no thread of this network", thread)}
	}
	home, err := m.state.homeOf(ctx, room)
	if err != nil {
		return nil, storeFault(err)
	}
	members, err := m.client.JoinedMembers(ctx, id.RoomID(home))
	if err != nil {
		return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("ask who is in a room: %s", brief(err))}
	}
	names := map[bot.Identity]string{}
	for _, p := range of {
		user, _ := strings.CutPrefix(string(p), NetworkName+":")
		if j, in := members.Joined[id.UserID(user)]; in {
			names[p] = j.DisplayName
			if cleanLine(j.DisplayName) == "" {
				names[p] = strings.TrimPrefix(strings.SplitN(user, ":", 2)[0], "@")
			}
		}
	}
	return names, nil
}
