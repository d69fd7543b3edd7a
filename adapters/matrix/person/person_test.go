package person

import (
	"bytes"
	"crypto/sha256"
	"testing"

	"go.uber.org/goleak"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
)

func start(t *testing.T) *homeserver.Server {
	t.Helper()
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) })
	return homeserver.Start(t, homeserver.Options{})
}

// both runs a test with plain rooms, and with encrypted ones if this build can.
func both(t *testing.T, test func(t *testing.T, s *homeserver.Server, join func(name string) *Person, encrypted bool)) {
	for name, encrypted := range map[string]bool{"plain": false, "encrypted": true} {
		t.Run(name, func(t *testing.T) {
			if encrypted && !CanEncrypt {
				t.Skip("encrypted rooms need the build tag goolm")
			}
			s := start(t)
			test(t, s, func(name string) *Person { return New(t, Config{Server: s, Name: name, Encrypted: encrypted}) }, encrypted)
		})
	}
}

// TestChat: two people read all of each other: words, a thread, an edit, a reply,
// a mention, a reaction, what is taken back, and a file to the last byte.
func TestChat(t *testing.T) {
	both(t, func(t *testing.T, s *homeserver.Server, join func(string) *Person, encrypted bool) {
		anna, ben := join("anna"), join("ben")
		room := anna.CreateRoom("Bay 3", encrypted, ben.ID)
		anna.WaitJoined(room, ben.ID)

		root := anna.Say(room, "Where do I begin?")
		ben.WaitRead(room, root)
		answer := ben.SayInThread(room, root, "At the tyre.")
		anna.WaitRead(room, answer)
		second := anna.SayInThread(room, root, "Which one?")
		reply := ben.Reply(room, root, "Anywhere.")
		wrong := ben.Say(room, "Not this.")
		called := anna.Mention(room, "come <here>", ben.ID)
		data := bytes.Repeat([]byte("0123456789abcdef"), 20_000)
		file := ben.SendFile(room, root, "track.gpx", data, "application/gpx+xml")
		anna.WaitRead(room, file)

		ben.Edit(room, answer, "At the driven tyre.")
		anna.Edit(room, answer, "not hers to edit")
		sign := anna.React(room, answer, "👍")
		regret := anna.React(room, answer, "👎")
		anna.Redact(room, regret)
		ben.Redact(room, wrong)
		last := anna.Say(room, "That is all.")

		for _, p := range []*Person{anna, ben} {
			p.WaitRead(room, last)
			all := p.Wait(room, "all of it", func(all []Event) bool {
				a, _ := Find(all, answer)
				_, there := Find(all, wrong)
				return a.Edited && len(a.Reactions) == 1 && !there
			})
			at := func(event id.EventID) Event { e, _ := Find(all, event); return e }
			if e := at(root); e.Body != "Where do I begin?" || e.Sender != anna.ID || e.Root != "" || e.ReplyTo != "" || e.Type != event.MsgText {
				t.Errorf("%s: root %+v", p.ID, e)
			}
			if e := at(answer); e.Body != "At the driven tyre." || e.Root != root || e.ReplyTo != "" || e.Reactions[0] != (Reaction{sign, anna.ID, "👍"}) {
				t.Errorf("%s: answer %+v", p.ID, e)
			}
			if e := at(second); e.Root != root || e.ReplyTo != "" {
				t.Errorf("%s: second %+v", p.ID, e)
			}
			if e := at(reply); e.Root != "" || e.ReplyTo != root {
				t.Errorf("%s: reply %+v", p.ID, e)
			}
			if e := at(called); len(e.Mentions) != 1 || e.Mentions[0] != ben.ID || e.Body != "ben: come <here>" ||
				e.HTML != `<a href="https://matrix.to/#/@ben:localhost">ben</a>: come &lt;here&gt;` {
				t.Errorf("%s: mention %+v", p.ID, e)
			}
			e := at(file)
			if e.Type != event.MsgFile || e.Root != root || e.File == nil || e.File.Name != "track.gpx" || e.File.ContentType != "application/gpx+xml" || e.File.Encrypted != encrypted {
				t.Fatalf("%s: file %+v", p.ID, e)
			}
			if got, err := e.File.Download(); err != nil || sha256.Sum256(got) != sha256.Sum256(data) {
				t.Errorf("%s: %d bytes of %d, %v", p.ID, len(got), len(data), err)
			}
			if len(all) != 7 {
				t.Errorf("%s sees %d messages, want 7:\n%s", p.ID, len(all), Dump(all))
			}
			for _, e := range all {
				if e.Err != "" || e.Encrypted != encrypted || e.Decrypted != encrypted {
					t.Errorf("%s: %+v", p.ID, e)
				}
			}
		}
	})
}

// TestRestartedServer: after it nothing is missing, and the talk goes on.
func TestRestartedServer(t *testing.T) {
	both(t, func(t *testing.T, s *homeserver.Server, join func(string) *Person, encrypted bool) {
		anna, ben := join("anna"), join("ben")
		room := anna.CreateDM(ben.ID, encrypted)
		anna.WaitJoined(room, ben.ID)
		before := anna.Say(room, "before")
		ben.WaitRead(room, before)
		s.Restart(t)
		after := ben.Say(room, "after")
		anna.WaitRead(room, after)
		ben.Away()
		missed := anna.Say(room, "missed")
		ben.Back()
		for _, p := range []*Person{anna, ben} {
			p.WaitRead(room, missed)
			all := p.Timeline(room)
			if len(all) != 3 || all[0].ID != before || all[1].ID != after || all[2].ID != missed {
				t.Errorf("%s sees\n%s", p.ID, Dump(all))
			}
		}
	})
}

// TestMembership: who is invited comes, unless they wait; who was removed hears
// nothing more, and can be invited again.
func TestMembership(t *testing.T) {
	both(t, func(t *testing.T, s *homeserver.Server, join func(string) *Person, encrypted bool) {
		anna, ben := join("anna"), join("ben")
		waits := New(t, Config{Server: s, Name: "cara", Encrypted: encrypted, Waits: true})
		room := anna.CreateRoom("Bay 3", encrypted, ben.ID, waits.ID)
		anna.WaitJoined(room, ben.ID)
		anna.WaitMembers(room, event.MembershipInvite, waits.ID)
		waits.Enter(room)
		anna.WaitJoined(room, waits.ID)
		heard := anna.Say(room, "to all")
		ben.WaitRead(room, heard)
		waits.WaitRead(room, heard)

		anna.Kick(room, ben.ID)
		waits.Leave(room)
		anna.WaitMembers(room, event.MembershipLeave, ben.ID, waits.ID)
		unheard := anna.Say(room, "to nobody")
		anna.Invite(room, ben.ID)
		anna.WaitJoined(room, ben.ID)
		again := anna.Say(room, "to ben again")
		ben.WaitRead(room, again)
		if e, ok := Find(ben.Timeline(room), unheard); ok && encrypted && e.Err == "" { // the event itself the server may show
			t.Errorf("ben can read %+v", e)
		}
		if _, ok := Find(waits.Timeline(room), unheard); ok {
			t.Error("cara heard what was said after she left")
		}
	})
}
