package matrix

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/flow"
)

// holds says which files below a folder hold some bytes.
func holds(t *testing.T, dir, words string) (files []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err == nil && bytes.Contains(data, []byte(words)) {
			files = append(files, filepath.Base(path))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// After an erasure the words are in no byte of the directory, while it runs and
// while it does not.
func TestForget(t *testing.T) {
	for _, running := range []bool{true, false} {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", false)
		j.send(j.out(1, flow.Card, "unit 14"))
		root := j.only("unit 14").ID
		j.send(j.out(2, flow.Prompt, "Which?", "the-ancient-label", "no"))
		other := j.out(3, flow.Prompt, "And there?", "the-other-label")
		other.Job, other.Key, other.Thread = "q2w3e4r", "q2w3e4r/3", threadName(j.room.String(), "$elsewhere")
		other.Reply.Choices[0].Send = "q2w3e4r.1.x"
		j.send(other)
		// Messages that could not be dealt with stay in the inbox.
		stuck := make(chan struct{}, 100)
		j.listen(func(context.Context, bot.Inbound) error {
			stuck <- struct{}{}
			return &bot.Error{Kind: bot.Unavailable}
		})
		j.kim.SayInThread(j.room, root, "my secret word")
		<-stuck
		for _, words := range []string{"my secret word", "the-ancient-label", "k7mw2pd"} {
			if len(holds(t, j.cfg.Dir, words)) == 0 {
				t.Fatalf("%q is nowhere: the test shows nothing", words)
			}
		}
		m := j.m
		if !running {
			j.stop()
			var err error
			if m, err = New(j.cfg); err != nil {
				t.Fatal(err)
			}
		}
		if err := m.Forget(t.Context(), bot.Forgotten{Shop: bot.DefaultShop, Job: "k7mw2pd", Threads: []bot.Thread{j.thread}}); err != nil {
			t.Fatal(err)
		}
		for _, words := range []string{"my secret word", "the-ancient-label", "k7mw2pd"} {
			if files := holds(t, j.cfg.Dir, words); len(files) > 0 {
				t.Errorf("running %v: %q is still in %v", running, words, files)
			}
		}
		if len(holds(t, j.cfg.Dir, "the-other-label")) == 0 {
			t.Error("another job was forgotten too")
		}
		var named int
		if st, done, err := m.ownState(t.Context()); err != nil {
			t.Fatal(err)
		} else {
			err := st.db.QueryRow("SELECT count(*) FROM seen WHERE sender <> '' AND (lane = ? OR event = ?)", root, j.begins).Scan(&named)
			if done(); err != nil || named != 0 {
				t.Errorf("running %v: %d senders of the job are still named: %v", running, named, err)
			}
		}
		if running {
			// The job may go on: its thread is found again.
			j.listen(nil)
			j.send(j.out(9, flow.Notice, "later"))
			if e := j.only("later"); e.Root != root {
				t.Errorf("the thread was not found again: %+v", e)
			}
		}
	}
}

// What somebody wrote and is not dealt with yet goes, wherever it stands; of
// others nothing goes.
func TestForgetPeople(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		noor := person.New(t, person.Config{Server: s, Name: "noor", Encrypted: encrypted})
		j.kim.Invite(j.room, noor.ID)
		noor.WaitJoined(j.room, j.user(), noor.ID)
		stuck := make(chan bot.Inbound, 100)
		j.listen(func(_ context.Context, in bot.Inbound) error {
			stuck <- in
			return &bot.Error{Kind: bot.Unavailable}
		})
		noor.Say(j.room, "milepost: word of noor")
		for in := range stuck {
			if in.From == Identity(noor.ID.String()) {
				break
			}
		}
		if len(holds(t, j.cfg.Dir, noor.ID.String())) == 0 {
			t.Fatal("noor is nowhere: the test shows nothing")
		}
		// Who is still in a room that is written to is looked up again.
		noor.Leave(j.room)
		after := j.kim.Say(j.room, "she has left").String()
		for end := time.Now().Add(person.Patience); ; time.Sleep(5 * time.Millisecond) {
			seen, err := j.m.now().state.isSeen(t.Context(), after)
			if err != nil || time.Now().After(end) {
				t.Fatalf("what came after it is not here: %v", err)
			}
			if seen {
				break
			}
		}
		if err := j.m.Forget(t.Context(), bot.Forgotten{Shop: bot.DefaultShop, People: []bot.Identity{Identity(noor.ID.String()), "slack:T/U"}}); err != nil {
			t.Fatal(err)
		}
		for _, words := range []string{"word of noor", noor.ID.String()} {
			if files := holds(t, j.cfg.Dir, words); len(files) > 0 {
				t.Errorf("%q is still in %v", words, files)
			}
		}
		if len(holds(t, j.cfg.Dir, j.kim.ID.String())) == 0 {
			t.Error("somebody else was forgotten too")
		}
	})
}

// A room in which nobody has anything to do with us is left after a refusal;
// any other is not.
func TestLeaveStrangers(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	st := newStation(t, s, s.URL(), "milepost", false)
	eve := person.Join(t, s, "eve")
	kim := person.Join(t, s, "kim") // whom the configuration names
	refuse := func(room id.RoomID) {
		t.Helper()
		j := &job{station: st, kim: eve, room: room}
		j.joined()
		j.begin("milepost: let me in")
		out := j.out(1, flow.Refusal, "Sorry, I only talk with people this shop has named.")
		out.Job, out.Key, out.Reply.Role = "", "shop/0/"+strings.TrimPrefix(room.String(), "!"), flow.Stranger
		j.send(out)
	}
	in := func(room id.RoomID) bool {
		t.Helper()
		rooms, err := st.m.now().client.JoinedRooms(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rooms.JoinedRooms {
			if r == room {
				return true
			}
		}
		return false
	}
	alone := eve.CreateRoom("alone", false, st.user())
	refuse(alone)
	if in(alone) {
		t.Error("the assistant stays with a stranger")
	}
	with := eve.CreateRoom("with kim", false, st.user(), kim.ID)
	eve.WaitJoined(with, kim.ID, st.user())
	refuse(with)
	if !in(with) {
		t.Error("the assistant left someone it knows")
	}
	holdsJob := eve.CreateRoom("with a job", false, st.user())
	if err := st.m.now().state.setRoot(t.Context(), holdsJob.String()+"/$x", "$root", holdsJob.String(), "k7mw2pd"); err != nil {
		t.Fatal(err)
	}
	refuse(holdsJob)
	if !in(holdsJob) {
		t.Error("the assistant left a room with a job")
	}
	configured := eve.CreateRoom("configured", false, st.user())
	st.m.now().cfg.Patterns = []string{configured.String()}
	refuse(configured)
	if !in(configured) {
		t.Error("the assistant left a room of the configuration")
	}
}
