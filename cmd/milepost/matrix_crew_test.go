package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// crew is people in a room of a real homeserver with the program, which runs as
// a process of its own behind a proxy and is disturbed by tests.
type crew struct {
	*process
	encrypted bool
	server    *homeserver.Server
	proxy     *homeserver.Proxy // between the program and the server
	people    map[string]*person.Person
	room      person.RoomID // with all of them
}

// plainAndEncrypted runs a test in plain and in encrypted rooms, side by side: they wait for
// the server most of the time.
func plainAndEncrypted(t *testing.T, test func(t *testing.T, encrypted bool)) {
	t.Run("plain", func(t *testing.T) { t.Parallel(); test(t, false) })
	t.Run("encrypted", func(t *testing.T) {
		t.Parallel()
		if !person.CanEncrypt {
			t.Skip("encrypted rooms need the build tag goolm")
		}
		test(t, true)
	})
}

// newCrew gathers people and writes the program's configuration. It is not started.
func newCrew(t testing.TB, encrypted bool, policy flow.Policy, people ...bottest.ScriptPerson) *crew {
	t.Helper()
	c := &crew{encrypted: encrypted, server: homeserver.Start(t, homeserver.Options{}), people: map[string]*person.Person{}}
	c.proxy = homeserver.NewProxy(t, c.server)
	c.server.Register(t, "milepost", "hunter-of-passwords")
	var roles strings.Builder
	for _, p := range people {
		name := strings.ToLower(p.Name)
		q := person.New(t, person.Config{Server: c.server, Name: name, Encrypted: encrypted})
		if err := q.Client.SetDisplayName(context.Background(), p.Name); err != nil {
			t.Fatal(err)
		}
		c.people[name] = q
		fmt.Fprintf(&roles, "%q = %q\n", "matrix:"+string(q.ID), p.Role)
	}
	c.process = newProcess(t, "matrix")
	c.write("password", "hunter-of-passwords\n")
	c.write("pickle", "hunter-of-pickles\n")
	c.write("serve.toml", fmt.Sprintf("[store]\nsqlite = %q\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[matrix]\nhomeserver = %q\nuser = %q\npassword_file = \"password\"\n"+
		"servers = [\"localhost\"]\nencryption = %v\n%s[policy]\n%s[people]\n%s", c.data, c.proxy.URL(), assistant, encrypted, keysOf(encrypted), policyTable(policy), roles.String()))
	return c
}

func keysOf(encrypted bool) string {
	if !encrypted {
		return ""
	}
	return "pickle_key_file = \"pickle\"\nrecovery_key_file = \"recovery\"\n" // made at the first start
}

// gather makes the room, with everybody and the program in it, which must run.
func (c *crew) gather(names ...string) *crew {
	c.t.Helper()
	c.room = c.newRoom(c.people[names[0]], names[1:]...)
	return c
}

// newRoom makes a room of a person with others and the program.
func (c *crew) newRoom(of *person.Person, others ...string) person.RoomID {
	c.t.Helper()
	invited := []person.UserID{assistant}
	for _, n := range others {
		invited = append(invited, c.people[n].ID)
	}
	room := of.CreateRoom("bay", c.encrypted, invited...)
	of.WaitJoined(room, invited...)
	return room
}
