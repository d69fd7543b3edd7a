package matrix

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

func TestInvitations(t *testing.T) {
	r := newRig(t)
	r.cfg.Servers = nil
	r.cfg.May = func(user string) bool { return strings.HasPrefix(user, "@ann:") }
	r.start().ready()
	ann, eve := person.Join(t, r.server, "ann"), person.Join(t, r.server, "eve")

	strange := eve.CreateRoom("come in", false, r.user())
	eve.WaitMembers(strange, event.MembershipLeave, r.user())
	if left := r.proxy.Requests("POST", "/leave"); len(left) != 1 || !strings.Contains(string(left[0].Body), whyNotYou) {
		t.Errorf("declined by %d requests", len(left))
	}

	room := r.room(ann, false)
	ann.Mention(room, "one", r.user())
	r.ear.text(t, "one")
	ann.Kick(room, r.user())
	ann.WaitMembers(room, event.MembershipLeave, r.user())
	ann.Mention(room, "while it was out", r.user())
	ann.Invite(room, r.user())
	ann.WaitJoined(room, r.user())
	ann.Mention(room, "two", r.user())
	r.ear.text(t, "two")

	// Invited while it does not run, and written to before it comes.
	r.stop()
	ann.Kick(room, r.user())
	ann.Mention(room, "while it was out again", r.user())
	ann.Invite(room, r.user())
	ann.Mention(room, "three", r.user())
	r.start().ready()
	r.ear.text(t, "three")
	ann.Mention(room, "four", r.user())
	r.ear.text(t, "four")
	if got, want := texts(r.ear.all()), []string{"one", "two", "three", "four"}; !slices.Equal(got, want) {
		t.Errorf("heard %q, want %q", got, want)
	}
}

func TestDirectRoom(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := ann.CreateDM(r.user(), false)
	ann.WaitJoined(room, r.user())
	start := ann.Say(room, "grey van, new tyres")
	if in := r.ear.text(t, "grey van, new tyres"); !in.Called || !in.Loose || in.Thread != threadName(string(room), string(start)) {
		t.Errorf("heard %s", seen([]bot.Inbound{in}))
	}
	// A third person makes it a room like others.
	bob := person.Join(t, r.server, "bob")
	ann.Invite(room, bob.ID)
	ann.WaitJoined(room, bob.ID)
	ann.Say(room, "between us")
	if in := r.ear.text(t, "between us"); in.Called {
		t.Errorf("heard %s", seen([]bot.Inbound{in}))
	}
}

// What is said beside a thread of a direct message stands in one order with what
// is said in it, however much has come together.
func TestDirectOrder(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := ann.CreateDM(r.user(), false)
	ann.WaitJoined(room, r.user())
	start := ann.Say(room, "grey van, new tyres")
	r.ear.text(t, "grey van, new tyres")
	card := r.card(room, start, "")
	r.stop()
	want := []string{"grey van, new tyres"}
	for i := range 40 {
		words := fmt.Sprintf("no. %d", i)
		if i%2 == 0 {
			ann.SayInThread(room, card, words)
		} else {
			ann.Say(room, words)
		}
		want = append(want, words)
	}
	r.start().ready()
	r.ear.text(t, want[40])
	r.ear.wait(t, len(want), nil)
	if got := texts(r.ear.all()); !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
}

// Without encryption there is no use in a room that has it.
func TestEncryptedInvitation(t *testing.T) {
	r := newRig(t)
	r.cfg.Encryption = false
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	var made struct {
		Room string `json:"room_id"`
	}
	r.server.Call(t, ann.Token, "POST", "/_matrix/client/v3/createRoom", map[string]any{"preset": "private_chat", "invite": []string{r.cfg.User},
		"initial_state": []any{map[string]any{"type": "m.room.encryption", "state_key": "", "content": map[string]string{"algorithm": "m.megolm.v1.aes-sha2"}}}}, &made)
	ann.WaitMembers(id.RoomID(made.Room), event.MembershipLeave, r.user())
	if left := r.proxy.Requests("POST", "/leave"); len(left) != 1 || !strings.Contains(string(left[0].Body), whyNoCipher) {
		t.Errorf("declined by %d requests", len(left))
	}
}

// A database that was lost answers nothing of before.
func TestNothingOldAnswered(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Mention(room, "old", r.user())
	r.ear.text(t, "old")
	r.stop()
	ann.Mention(room, "before the start", r.user())
	r.cfg.Dir, r.ear = t.TempDir(), newEar()
	r.cfg.Encryption = false // keys were lost, too: another test
	r.start().ready()
	ann.Mention(room, "new", r.user())
	r.ear.text(t, "new")
	if got := texts(r.ear.all()); len(got) != 1 {
		t.Errorf("heard %q", got)
	}
}

func TestRoomReplaced(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	start := ann.Mention(room, "one", r.user())
	r.ear.text(t, "one")
	r.card(room, start, "[]")
	var up struct {
		Room string `json:"replacement_room"`
	}
	if code := r.server.Call(t, ann.Token, "POST", "/_matrix/client/v3/rooms/"+string(room)+"/upgrade", map[string]string{"new_version": "10"}, &up); code != 200 {
		t.Fatalf("upgrade: %d", code)
	}
	next := id.RoomID(up.Room)
	ann.Invite(next, r.user())
	ann.WaitJoined(next, r.user())
	ann.Mention(next, "two", r.user())
	r.ear.text(t, "two")
	deadline := time.Now().Add(person.Patience)
	for {
		home, err := r.m.now().state.homeOf(t.Context(), string(room))
		if err != nil {
			t.Fatal(err)
		}
		if home == up.Room {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("what is for the old room goes to %q, want %q", home, up.Room)
		}
		time.Sleep(50 * time.Millisecond)
	}
	p, err := r.m.now().destination(t.Context(), &bot.Outbound{Thread: threadName(string(room), string(start))})
	if err != nil || p.room != next || p.root != "" || p.relation() != nil {
		t.Errorf("what is for the job goes to %+v, %v", p, err)
	}
	if root, err := r.m.now().state.rootOf(t.Context(), string(threadName(string(room), string(start)))); err != nil || root != "" {
		t.Errorf("the thread still hangs on %q in the old room, %v", root, err)
	}
}

// Many rooms that ask at once.
func TestManyRooms(t *testing.T) {
	if testing.Short() {
		t.Skip("makes 60 rooms")
	}
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	const n = 60
	var rooms []id.RoomID
	for range n {
		rooms = append(rooms, ann.CreateRoom("workshop", false, r.user()))
	}
	for _, room := range rooms {
		ann.WaitJoined(room, r.user())
	}
	for _, room := range rooms {
		ann.Mention(room, "hello "+string(room), r.user())
	}
	r.ear.wait(t, n, func(in bot.Inbound) bool { return strings.HasPrefix(in.Text, "hello ") })
}
