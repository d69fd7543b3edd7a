package person

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
)

// answersWithin is more than the longest wait of the client's commands.
const answersWithin = time.Minute

// Foreign is someone who uses a client from elsewhere (testdata/foreign-client,
// on node), with encryption. It has no error in common with ours.
type Foreign struct {
	ID    id.UserID
	t     testing.TB
	cmd   *exec.Cmd
	in    io.WriteCloser
	lines chan []byte // answers; closed at the end
}

// JoinForeign registers a person with a client from elsewhere. With onlySigned it
// shuns devices that their owners have not signed: it neither shows what they
// send nor sends to them. Without node, npm or network for the first install the
// test is skipped, or fails if MILEPOST_REQUIRE holds "foreign".
func JoinForeign(t testing.TB, s *homeserver.Server, name string, onlySigned bool) *Foreign {
	t.Helper()
	dir, err := foreignDir()
	if err != nil {
		homeserver.Missing(t, "foreign", err)
	}
	a := s.Register(t, name, Password(name))
	f := &Foreign{ID: id.UserID(a.UserID), t: t, lines: make(chan []byte)}
	f.run(dir)
	f.ask(map[string]any{"do": "start", "url": s.URL(), "user": a.UserID, "token": a.AccessToken, "device": a.DeviceID, "onlySigned": onlySigned}, nil)
	return f
}

// foreignDir is a folder with the client and all it needs.
var foreignDir = sync.OnceValues(func() (string, error) {
	for _, name := range []string{"node", "npm"} {
		if _, err := exec.LookPath(name); err != nil {
			return "", err
		}
	}
	root, err := homeserver.ModuleRoot()
	if err != nil {
		return "", err
	}
	files := map[string][]byte{}
	var key []byte
	for _, name := range []string{"package.json", "package-lock.json", "client.mjs"} {
		if files[name], err = os.ReadFile(filepath.Join(root, "testdata", "foreign-client", name)); err != nil {
			return "", err
		}
		key = append(key, files[name]...)
	}
	return homeserver.Cached("foreign-client", key, func(dir string) error {
		for name, content := range files {
			if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
				return err
			}
		}
		cmd := exec.Command("npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund")
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("npm ci: %w\n%s", err, out)
		}
		return nil
	})
})

// run starts the client and reads its answers. It ends when its input does, so
// also with us.
func (f *Foreign) run(dir string) {
	f.t.Helper()
	log, err := os.Create(filepath.Join(f.t.TempDir(), "client.log"))
	if err != nil {
		f.t.Fatalf("%s: %v", f.ID, err)
	}
	f.cmd = exec.Command("node", filepath.Join(dir, "client.mjs"))
	f.cmd.Stderr = log
	in, err1 := f.cmd.StdinPipe()
	out, err2 := f.cmd.StdoutPipe()
	if err := errors.Join(err1, err2, f.cmd.Start()); err != nil {
		f.t.Fatalf("%s: %v", f.ID, errors.Join(err, log.Close()))
	}
	f.in = in
	go func() {
		defer close(f.lines)
		for r := bufio.NewReader(out); ; {
			line, err := r.ReadBytes('\n')
			if err != nil {
				return
			}
			f.lines <- line
		}
	}()
	f.t.Cleanup(func() {
		in.Close()
		gone := time.AfterFunc(5*time.Second, func() { f.cmd.Process.Kill() })
		for range f.lines { // an answer nobody waited for
		}
		_ = f.cmd.Wait() // killed or not, it is of no more interest
		gone.Stop()
		text, _ := os.ReadFile(log.Name())
		log.Close()
		if f.t.Failed() {
			lines := bytes.Split(bytes.TrimSpace(text), []byte("\n"))
			f.t.Logf("end of the log of %s:\n%s", f.ID, bytes.Join(lines[max(0, len(lines)-20):], []byte("\n")))
		}
	})
}

// ask gives a command and takes its answer.
func (f *Foreign) ask(command map[string]any, answer any) {
	f.t.Helper()
	text, err := json.Marshal(command)
	if err == nil {
		_, err = f.in.Write(append(text, '\n'))
	}
	if err != nil {
		f.t.Fatalf("%s: %s: %v", f.ID, command["do"], err)
	}
	var line []byte
	select {
	case line = <-f.lines:
	case <-time.After(answersWithin):
	}
	var failed struct{ Error string }
	if err := json.Unmarshal(line, &failed); err != nil || failed.Error != "" {
		f.t.Fatalf("%s: %s: no good answer: %v %s", f.ID, command["do"], err, failed.Error)
	}
	if answer == nil {
		return
	}
	if err := json.Unmarshal(line, answer); err != nil {
		f.t.Fatalf("%s: %s: %v in %s", f.ID, command["do"], err, line)
	}
}

// Enter joins a room as soon as the invitation is there.
func (f *Foreign) Enter(room id.RoomID) {
	f.t.Helper()
	f.ask(map[string]any{"do": "join", "room": room}, nil)
}

// Say says something, in the thread of root if that is not "".
func (f *Foreign) Say(room id.RoomID, root id.EventID, body string) id.EventID {
	f.t.Helper()
	var said struct{ ID id.EventID }
	f.ask(map[string]any{"do": "say", "room": room, "root": root, "body": body}, &said)
	return said.ID
}

// Timeline is what the person sees of a room. Of each Event these are set: ID,
// Sender, Root, Type, Body, HTML, Edited, Encrypted, Decrypted and Err.
func (f *Foreign) Timeline(room id.RoomID) []Event {
	f.t.Helper()
	var read struct {
		Messages []struct {
			ID, Root          id.EventID
			Sender            id.UserID
			Type              event.MessageType
			Body, HTML, Error string
			Edited, Encrypted bool
		}
	}
	f.ask(map[string]any{"do": "read", "room": room}, &read)
	var all []Event
	for _, m := range read.Messages {
		all = append(all, Event{ID: m.ID, Sender: m.Sender, Root: m.Root, Type: m.Type, Body: m.Body, HTML: m.HTML,
			Edited: m.Edited, Encrypted: m.Encrypted, Decrypted: m.Encrypted && m.Error == "", Err: m.Error})
	}
	return all
}

// Wait waits until the timeline of a room fulfils cond, and gives it.
func (f *Foreign) Wait(room id.RoomID, what string, cond func([]Event) bool) []Event {
	f.t.Helper()
	for limit := time.Now().Add(Patience); ; time.Sleep(50 * time.Millisecond) {
		all := f.Timeline(room)
		if cond(all) {
			return all
		}
		if time.Now().After(limit) {
			f.t.Fatalf("%s waited %v in vain for %s; sees in %s:\n%s", f.ID, Patience, what, room, Dump(all))
		}
	}
}

// WaitFor waits for a message of someone ("": anyone) with part in its words.
func (f *Foreign) WaitFor(room id.RoomID, from id.UserID, part string) Event {
	f.t.Helper()
	is := func(e Event) bool {
		return (from == "" || e.Sender == from) && e.Err == "" && strings.Contains(e.Body, part)
	}
	all := f.Wait(room, fmt.Sprintf("%q from %s", part, from), func(all []Event) bool { return slices.ContainsFunc(all, is) })
	return all[slices.IndexFunc(all, is)]
}
