package matrix

import (
	"context"
	"slices"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// desk is a station with the bot itself behind it, which knows nobody but kim, and
// a way to wait until a message is dealt with and what follows is said.
func desk(t *testing.T, s *homeserver.Server) (*station, func(id.EventID)) {
	t.Helper()
	st := newStation(t, s, s.URL(), "milepost", false)
	store := bottest.NewMemory()
	b, err := bot.New(bot.Config{Store: store, Blobs: store, Networks: []bot.Network{st.m}, Program: "test",
		Shops: []bot.Shop{{Name: "oakroad", People: map[bot.Identity]flow.Role{"matrix:@kim:localhost": flow.Technician}}}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	done := make(chan string, 100)
	st.listen(func(ctx context.Context, in bot.Inbound) error {
		err := b.Handle(ctx, in)
		done <- in.Delivery
		return err
	})
	return st, func(ev id.EventID) {
		t.Helper()
		for limit := time.After(person.Patience); ; {
			select {
			case d := <-done:
				if d != ev.String() {
					continue
				}
				if err := b.Flush(t.Context()); err != nil {
					t.Fatal(err)
				}
				return
			case <-limit:
				t.Fatal("a message is not dealt with")
			}
		}
	}
}

// A stranger who was told today that he is one is not told again, and his room is
// left all the same, unless there is a reason to stay.
func TestLeaveSilently(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	st, dealt := desk(t, s)
	eve, kim := person.Join(t, s, "eve"), person.Join(t, s, "kim")
	in := func(room id.RoomID) bool {
		t.Helper()
		rooms, err := st.m.now().client.JoinedRooms(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return slices.Contains(rooms.JoinedRooms, room)
	}
	dm := func() id.RoomID {
		t.Helper()
		room := eve.CreateDM(st.user(), false)
		eve.WaitJoined(room, st.user())
		return room
	}

	first := dm()
	dealt(eve.Say(first, "let me in"))
	eve.WaitFor(first, st.user(), "Sorry")
	eve.WaitMembers(first, event.MembershipLeave, st.user())

	again := dm()
	dealt(eve.Say(again, "let me in after all"))
	if in(again) {
		t.Error("the assistant stays with a stranger it had met before")
	}
	eve.WaitMembers(again, event.MembershipLeave, st.user())
	if all := eve.Timeline(again); slices.ContainsFunc(all, func(e person.Event) bool { return e.Sender == st.user() }) {
		t.Errorf("he is told twice a day:\n%s", person.Dump(all))
	}

	// Where there is reason to stay it stays, whatever he writes.
	posts, configured := dm(), dm()
	st.m.now().cfg.Posts = []string{posts.String()}
	st.m.now().cfg.Patterns = []string{configured.String()}
	holds := dm()
	if err := st.m.now().state.setRoot(t.Context(), holds.String()+"/$x", "$root", holds.String(), "k7mw2pd"); err != nil {
		t.Fatal(err)
	}
	withKim := eve.CreateRoom("with kim", false, st.user(), kim.ID)
	eve.WaitJoined(withKim, kim.ID, st.user())
	for what, room := range map[string]id.RoomID{"of alerts": posts, "of the configuration": configured, "with a job": holds, "with somebody it knows": withKim} {
		dealt(eve.Mention(room, "and here?", st.user()))
		if !in(room) {
			t.Errorf("the assistant left a room %s", what)
		}
	}
}

// A room that can't be left now is left at the next word.
func TestLeaveSilentlyLater(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	st := newStation(t, s, proxy.URL(), "milepost", false)
	eve := person.Join(t, s, "eve")
	room := eve.CreateDM(st.user(), false)
	eve.WaitJoined(room, st.user())
	thread := threadName(room.String(), "$x")
	proxy.Fail(1, "POST", "/leave", homeserver.Fault{Status: 502})
	st.m.TurnedAway(t.Context(), thread)
	st.m.TurnedAway(t.Context(), thread)
	eve.WaitMembers(room, event.MembershipLeave, st.user())
	asked := proxy.Count("POST", "/leave")
	st.m.TurnedAway(t.Context(), thread) // not in it any more: nothing to do
	st.m.TurnedAway(t.Context(), "no room")
	if n := proxy.Count("POST", "/leave"); n != asked {
		t.Errorf("a room is left that the assistant is not in: %d requests", n-asked)
	}
}
