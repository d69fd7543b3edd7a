package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot/bottest"
	"milepost/flow"
)

// crew is people in a room of a real homeserver with the program, which runs as
// a process of its own behind a proxy and is disturbed by tests.
type crew struct {
	t         testing.TB
	encrypted bool
	server    *homeserver.Server
	proxy     *homeserver.Proxy // between the program and the server
	people    map[string]*person.Person
	room      person.RoomID // with all of them

	dir, data, file string
	cmd             *exec.Cmd // nil while it does not run
	out, log        *safeBuffer
	ended           chan error

	starts, kills, early int // early: killed before it was ready
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

// newCrew gathers people and writes the program's configuration. The data lie in
// a folder of their own. It is not started.
func newCrew(t testing.TB, encrypted bool, policy flow.Policy, people ...bottest.ScriptPerson) *crew {
	t.Helper()
	c := &crew{t: t, encrypted: encrypted, server: homeserver.Start(t, homeserver.Options{}), people: map[string]*person.Person{}, dir: t.TempDir(), log: &safeBuffer{}}
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
	c.data, c.file = filepath.Join(c.dir, "store", "data"), filepath.Join(c.dir, "serve.toml")
	c.write("password", "hunter-of-passwords\n")
	c.write("pickle", "hunter-of-pickles\n")
	c.write("serve.toml", fmt.Sprintf("[store]\nsqlite = %q\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[matrix]\nhomeserver = %q\nuser = %q\npassword_file = \"password\"\n"+
		"servers = [\"localhost\"]\nencryption = %v\n%s[policy]\n%s[people]\n%s", c.data, c.proxy.URL(), assistant, encrypted, keysOf(encrypted), policyTable(policy), roles.String()))
	t.Cleanup(func() {
		if c.cmd != nil {
			c.kill()
		}
		if t.Failed() {
			t.Logf("end of the program's log:\n%s", tail(c.log.String(), 60))
		}
	})
	return c
}

func keysOf(encrypted bool) string {
	if !encrypted {
		return ""
	}
	return "pickle_key_file = \"pickle\"\nrecovery_key_file = \"recovery\"\n" // made at the first start
}

// policyTable writes a policy as a configuration has it.
func policyTable(p flow.Policy) string {
	var b strings.Builder
	for key, value := range map[string]string{"speed": p.Speed, "length": p.Length, "rule": p.Rule, "aim": p.Calib} {
		if value != "" {
			fmt.Fprintf(&b, "%s = %q\n", key, value)
		}
	}
	if p.WorkSpeed > 0 {
		fmt.Fprintf(&b, "work_speed = %v\n", p.WorkSpeed)
	}
	return b.String()
}

func (c *crew) write(name, text string) {
	c.t.Helper()
	if err := os.WriteFile(filepath.Join(c.dir, name), []byte(text), 0o600); err != nil {
		c.t.Fatal(err)
	}
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
	of.WaitJoined(room, 60*time.Second, invited...)
	return room
}

// start starts the program and does not wait for it.
func (c *crew) start() *crew {
	c.t.Helper()
	path, err := exec.LookPath("milepost")
	if err != nil {
		c.t.Fatal(err)
	}
	c.starts++
	c.out, c.ended = &safeBuffer{}, make(chan error, 1)
	c.cmd = exec.Command(path, "serve", "--config", c.file)
	c.cmd.Stdout, c.cmd.Stderr = c.out, c.log
	if err := c.cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	go func(cmd *exec.Cmd, ended chan<- error) { ended <- cmd.Wait() }(c.cmd, c.ended)
	return c
}

func (c *crew) isReady() bool { return strings.HasPrefix(c.out.String(), "ready: matrix; ") }

// ready waits until it says so.
func (c *crew) ready() *crew {
	c.t.Helper()
	for end := time.Now().Add(60 * time.Second); !c.isReady(); time.Sleep(2 * time.Millisecond) {
		select {
		case err := <-c.ended:
			c.t.Fatalf("it ended before it was ready: %v", err)
		default:
		}
		if time.Now().After(end) {
			c.t.Fatal("it is not ready")
		}
	}
	return c
}

// kill ends it as a power cut would.
func (c *crew) kill() {
	c.t.Helper()
	_ = c.cmd.Process.Kill()
	c.killed()
}

// killed waits for its end, which must be by a kill.
func (c *crew) killed() {
	c.t.Helper()
	err := <-c.ended
	if s, ok := c.cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || !s.Signaled() || s.Signal() != syscall.SIGKILL {
		c.t.Fatalf("it ended by itself: %v", err)
	}
	c.kills++
	if !c.isReady() {
		c.early++
	}
	c.cmd = nil
}

// stop ends it in order and says how long that took.
func (c *crew) stop() time.Duration {
	c.t.Helper()
	began := time.Now()
	if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		c.t.Fatal(err)
	}
	select {
	case err := <-c.ended:
		c.cmd = nil
		if err != nil {
			c.t.Errorf("it ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		c.t.Fatal("it did not stop")
	}
	took := time.Since(began)
	if took > 10*time.Second {
		c.t.Errorf("it took %s to stop", took)
	}
	return took
}

func tail(text string, lines int) string {
	all := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(all[max(0, len(all)-lines):], "\n")
}
