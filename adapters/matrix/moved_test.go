package matrix

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/flow"
)

// upgrade replaces a room of somebody's, who invites the assistant into the new
// one; it is followed when this returns.
func upgrade(t *testing.T, s *homeserver.Server, who *person.Person, m *Matrix, room id.RoomID) id.RoomID {
	t.Helper()
	var up struct {
		Room string `json:"replacement_room"`
	}
	if code := s.Call(t, who.Token, "POST", "/_matrix/client/v3/rooms/"+string(room)+"/upgrade", map[string]string{"new_version": "10"}, &up); code != 200 {
		t.Fatalf("upgrade: %d", code)
	}
	next, us := id.RoomID(up.Room), id.UserID(m.cfg.User)
	who.Invite(next, us)
	who.WaitJoined(next, us)
	for end := time.Now().Add(person.Patience); ; time.Sleep(50 * time.Millisecond) {
		home, err := m.now().state.homeOf(t.Context(), string(room))
		if err != nil {
			t.Fatal(err)
		}
		if home == up.Room {
			return next
		}
		if time.Now().After(end) {
			t.Fatalf("what is for the old room goes to %q, want %q", home, up.Room)
		}
	}
}

// lines collects a log.
type lines struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *lines) Write(p []byte) (int, error) { l.mu.Lock(); defer l.mu.Unlock(); return l.b.Write(p) }

func (l *lines) count(part string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.b.String(), part)
}

// Who has a role by a room of the configuration has it in the room that replaced
// it, and in the one after that.
func TestRoleInReplacedRoom(t *testing.T) {
	r := newRig(t)
	log := &lines{}
	r.cfg.Log = slog.New(slog.NewTextHandler(log, nil))
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	r.stop()
	r.cfg.Patterns = []string{string(room)}
	r.start().ready()
	ann.Mention(room, "one", r.user())
	if in := r.ear.text(t, "one"); in.Room != string(room) {
		t.Fatalf("in the room itself of %q", in.Room)
	}
	next := upgrade(t, r.server, ann, r.m, room)
	third := upgrade(t, r.server, ann, r.m, next)
	for words, at := range map[string]id.RoomID{"two": next, "three": third} {
		ann.Mention(at, words, r.user())
		if in := r.ear.text(t, words); in.Room != string(room) {
			t.Errorf("in %s of %q, want %q", at, in.Room, room)
		}
	}
	if n := log.count("name the new one there"); n != 1 {
		t.Errorf("said %d times that the configuration is to be changed", n)
	}
	// A room that only says so of itself gives no role.
	var made struct {
		Room string `json:"room_id"`
	}
	r.server.Call(t, ann.Token, "POST", "/_matrix/client/v3/createRoom", map[string]any{"preset": "private_chat", "invite": []string{r.cfg.User},
		"creation_content": map[string]any{"predecessor": map[string]string{"room_id": string(room), "event_id": "$none"}}}, &made)
	other := id.RoomID(made.Room)
	ann.WaitJoined(other, r.user())
	ann.Mention(other, "four", r.user())
	if in := r.ear.text(t, "four"); in.Room != "" {
		t.Errorf("in a room that nobody was sent to: of %q", in.Room)
	}
}

// What follows in a job whose room was replaced stands in a thread of the new
// room, whose first message the card takes the place of.
func TestThreadInReplacedRoom(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		j.send(j.out(1, flow.Card, "unit 14: open"))
		j.send(j.out(2, flow.Notice, "before"))
		next := upgrade(t, s, j.kim, j.m, j.room)
		j.send(j.out(3, flow.Prompt, "the next question", "yes", "no"))
		j.send(j.out(3, flow.Prompt, "the next question", "yes", "no"))
		j.send(j.out(4, flow.Notice, "after"))
		j.send(j.out(5, flow.Card, "unit 14: target"))
		j.room = next // a mark for the end is set there
		j.begins = j.kim.WaitFor(next, j.user(), "").ID
		all := j.seen()
		if len(all) != 3 {
			t.Fatalf("there are %d messages:\n%s", len(all), person.Dump(all))
		}
		root := all[0]
		if root.Root != "" || !strings.Contains(root.Body, "unit 14: target") || len(root.Reactions) != 1 {
			t.Errorf("the thread begins with %s", person.Dump(all[:1]))
		}
		for i, want := range []string{"the next question", "after"} {
			if e := all[i+1]; e.Root != root.ID || !strings.HasPrefix(e.Body, want) {
				t.Errorf("number %d is not in the thread: %s", i+2, person.Dump(all))
			}
		}
		// What is answered there is heard in the job.
		said := j.kim.SayInThread(next, root.ID, "yes")
		for limit := time.After(person.Patience); ; {
			select {
			case d := <-j.heard:
				if d == string(said) {
					return
				}
			case <-limit:
				t.Fatal("what is answered is not heard")
			}
		}
	})
}

// The state is lost after a room was replaced: what was for the old one is said
// in the new one, whether the server tells of it among a room's last events or in
// its state only.
func TestReplacedRoomAfterLoss(t *testing.T) {
	for name, chatter := range map[string]int{"at the end": 0, "long ago": 2 * timeline} {
		t.Run(name, func(t *testing.T) {
			s := homeserver.Start(t, homeserver.Options{})
			j := newJob(t, s, s.URL(), "milepost", false)
			j.send(j.out(1, flow.Card, "unit 14: open"))
			next := upgrade(t, s, j.kim, j.m, j.room)
			for i := range chatter { // only who has the power may still write there
				j.kim.Say(j.room, fmt.Sprint("chatter ", i))
			}
			j.stop()
			j.cfg.Dir = t.TempDir()
			j.start()
			j.insistHeld(j.out(2, flow.Notice, "after the loss"))
			j.room = next
			j.begins = j.kim.WaitFor(next, j.user(), "goes on here").ID
			if e := j.only("after the loss"); e.Root != j.begins {
				t.Errorf("not in the thread of the new room: %+v", e)
			}
		})
	}
}

// insistHeld sends as the outbox does where we may not write: again when that may
// have changed.
func (j *job) insistHeld(out bot.Outbound) {
	j.t.Helper()
	for limit := time.After(person.Patience); ; {
		err := j.try(out)
		if err == nil {
			return
		}
		var held *barred
		if !errors.As(err, &held) {
			j.t.Fatalf("send %s: %v", out.Key, err)
		}
		select {
		case <-held.Again():
		case <-limit:
			j.t.Fatalf("send %s: held up for ever: %v", out.Key, err)
		}
	}
}
