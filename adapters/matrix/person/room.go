package person

import (
	"context"
	"maps"
	"net/http"
	"slices"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// encryption is the state that turns a room encrypted, for ever.
func encryption() *event.EncryptionEventContent {
	return &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}
}

// CreateRoom makes a private room and invites people to it.
func (p *Person) CreateRoom(name string, encrypted bool, invite ...id.UserID) id.RoomID {
	p.t.Helper()
	return p.create(&mautrix.ReqCreateRoom{Name: name, Preset: "private_chat", Invite: invite}, encrypted)
}

// CreateDM makes a room with one other person, marked on both sides as a direct
// chat.
func (p *Person) CreateDM(user id.UserID, encrypted bool) id.RoomID {
	p.t.Helper()
	room := p.create(&mautrix.ReqCreateRoom{Preset: "trusted_private_chat", IsDirect: true, Invite: []id.UserID{user}}, encrypted)
	p.direct[user] = append(p.direct[user], room)
	do(p, "mark direct chat", func(ctx context.Context) (struct{}, error) {
		return struct{}{}, p.Client.SetAccountData(ctx, event.AccountDataDirectChats.Type, p.direct)
	})
	return room
}

func (p *Person) create(req *mautrix.ReqCreateRoom, encrypted bool) id.RoomID {
	p.t.Helper()
	if encrypted {
		req.InitialState = []*event.Event{{Type: event.StateEncryption, StateKey: new(string), Content: event.Content{Parsed: encryption()}}}
	}
	return do(p, "create room", func(ctx context.Context) (id.RoomID, error) {
		var res mautrix.RespCreateRoom
		if _, err := p.Client.MakeRequest(ctx, http.MethodPost, p.Client.BuildClientURL("v3", "createRoom"), req, &res); err != nil {
			return "", err
		}
		p.whole.Lock()
		defer p.whole.Unlock()
		return res.RoomID, p.fetch(ctx, res.RoomID)
	})
}

// TurnEncrypted makes a room encrypted from here on.
func (p *Person) TurnEncrypted(room id.RoomID) {
	p.t.Helper()
	do(p, "encrypt room", func(ctx context.Context) (struct{}, error) {
		if _, err := p.Client.SendStateEvent(ctx, room, event.StateEncryption, "", encryption()); err != nil {
			return struct{}{}, err
		}
		p.whole.Lock()
		defer p.whole.Unlock()
		return struct{}{}, p.fetch(ctx, room)
	})
}

// Enter joins a room, by invitation if it is private.
func (p *Person) Enter(room id.RoomID) {
	p.t.Helper()
	p.whole.Lock()
	defer p.whole.Unlock()
	do(p, "join", func(ctx context.Context) (struct{}, error) { return struct{}{}, p.enter(ctx, room) })
}

// Invite asks someone into a room.
func (p *Person) Invite(room id.RoomID, user id.UserID) {
	p.t.Helper()
	p.membership(room, "invite", map[string]any{"user_id": user})
}

// Kick removes someone from a room this person made.
func (p *Person) Kick(room id.RoomID, user id.UserID) {
	p.t.Helper()
	p.membership(room, "kick", map[string]any{"user_id": user, "reason": "for a test"})
}

// Leave goes out of a room.
func (p *Person) Leave(room id.RoomID) {
	p.t.Helper()
	p.membership(room, "leave", map[string]any{})
}

func (p *Person) membership(room id.RoomID, change string, body any) {
	p.t.Helper()
	do(p, change, func(ctx context.Context) (struct{}, error) { return struct{}{}, p.ask(ctx, room, change, body) })
}

// ask changes a membership on the server alone. The library's calls also change
// its own notes, before the sync tells the part that renews keys: what is said
// right after a kick then goes out under the key the removed one has. And they
// write to what the sync is reading.
func (p *Person) ask(ctx context.Context, room id.RoomID, change string, body any) error {
	_, err := p.Client.MakeRequest(ctx, http.MethodPost, p.Client.BuildClientURL("v3", "rooms", room, change), body, nil)
	return err
}

// Members are those this person was told have to do with a room: join, invite,
// leave, ban.
func (p *Person) Members(room id.RoomID) map[id.UserID]event.Membership {
	p.whole.Lock()
	defer p.whole.Unlock()
	p.mu.Lock()
	defer p.mu.Unlock()
	return maps.Clone(p.room(room).members)
}

// WaitJoined waits until this person has seen all of them join the room.
func (p *Person) WaitJoined(room id.RoomID, users ...id.UserID) {
	p.t.Helper()
	p.WaitMembers(room, event.MembershipJoin, users...)
}

// WaitMembers waits until all of them are of that membership.
func (p *Person) WaitMembers(room id.RoomID, want event.Membership, users ...id.UserID) {
	p.t.Helper()
	var now map[id.UserID]event.Membership
	if !p.await(func() bool {
		now = p.Members(room)
		return !slices.ContainsFunc(users, func(u id.UserID) bool { return now[u] != want })
	}) {
		p.t.Fatalf("%s waited %v in vain for %v to be of membership %q; of %v are %v", p.ID, Patience, users, want,
			slices.Sorted(maps.Keys(now)), now)
	}
}
