package matrix

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// childEnv holds the child's configuration: the test binary is run again as an
// assistant of its own, so that it can be killed.
const childEnv = "MILEPOST_TEST_MATRIX_CHILD"

type childConfig struct {
	Homeserver, User, AccessToken, PickleKey, Dir string
	Encryption                                    bool
	Record                                        string // what was heard, one JSON a line
}

// TestChild is no test: it is the assistant that TestKilled kills.
func TestChild(t *testing.T) {
	raw := os.Getenv(childEnv)
	if raw == "" {
		t.Skip("only as a child")
	}
	var c childConfig
	if err := json.Unmarshal([]byte(raw), &c); err != nil {
		t.Fatal(err)
	}
	rec, err := os.OpenFile(c.Record, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	m, err := New(Config{Homeserver: c.Homeserver, User: c.User, AccessToken: c.AccessToken, PickleKey: c.PickleKey, Dir: c.Dir, Encryption: c.Encryption,
		Servers: []string{homeserver.ServerName}})
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Run(context.Background(), recorder{rec}); err != nil {
		t.Fatal(err)
	}
}

type recorder struct{ f *os.File }

// Handle takes some time before and after the point from which a message is
// known, so that kills fall on both sides.
func (r recorder) Handle(_ context.Context, in bot.Inbound) error {
	time.Sleep(rand.N(3 * time.Millisecond))
	line, err := json.Marshal(map[string]string{"delivery": in.Delivery, "thread": string(in.Thread), "text": in.Text, "fault": in.Fault})
	if err != nil {
		return err
	}
	if _, err := r.f.Write(append(line, '\n')); err != nil { // one write: lines of several goroutines don't mix
		return err
	}
	time.Sleep(rand.N(3 * time.Millisecond))
	return nil
}

func TestKilled(t *testing.T) {
	for _, encrypted := range []bool{false, true} {
		t.Run(map[bool]string{false: "plain", true: "encrypted"}[encrypted], func(t *testing.T) { killed(t, encrypted) })
	}
}

func killed(t *testing.T, encrypted bool) {
	const threads, each, kills = 3, 60, 25
	if encrypted && !person.CanEncrypt {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	r := newRig(t).start().ready()
	ann := person.New(t, person.Config{Server: r.server, Name: "ann", Encrypted: encrypted})
	room := r.room(ann, encrypted)
	var roots []id.EventID
	for i := range threads {
		start := ann.Mention(room, fmt.Sprintf("job %d", i), r.user())
		r.ear.text(t, fmt.Sprintf("job %d", i))
		roots = append(roots, r.card(room, start, "[]"))
	}
	r.stop()

	record := filepath.Join(t.TempDir(), "heard")
	env, err := json.Marshal(childConfig{r.cfg.Homeserver, r.cfg.User, r.cfg.AccessToken, r.cfg.PickleKey, r.cfg.Dir, r.cfg.Encryption, record})
	if err != nil {
		t.Fatal(err)
	}
	run := func() *exec.Cmd {
		cmd := exec.Command(os.Args[0], "-test.run=^TestChild$", "-test.v")
		cmd.Env = append(os.Environ(), childEnv+"="+string(env))
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		return cmd
	}
	end := func(cmd *exec.Cmd) {
		cmd.Process.Kill()
		cmd.Wait() // says that it was killed
	}
	child := run()
	defer func() { end(child) }()
	want := make([][]string, threads)
	for i, done := 0, 0; i < threads*each; i++ {
		words := fmt.Sprintf("%d: no. %d", i%threads, i/threads)
		want[i%threads] = append(want[i%threads], words)
		ann.SayInThread(room, roots[i%threads], words)
		if i*kills >= done*threads*each {
			done++
			time.Sleep(rand.N(500 * time.Millisecond))
			end(child)
			child = run()
		}
	}
	deadline := time.Now().Add(person.Patience)
	for {
		if _, _, all := read(t, record); all == threads*each {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("not all was heard")
		}
		time.Sleep(100 * time.Millisecond)
	}
	time.Sleep(500 * time.Millisecond) // whatever else would come
	heard, repeats, all := read(t, record)
	t.Logf("%d kills, %d messages, %d handed over again under the same delivery", kills, all, repeats)
	if all != threads*each {
		t.Errorf("heard %d different messages, want %d", all, threads*each)
	}
	for i := range threads {
		var got []string
		for thread, words := range heard {
			if len(words) > 0 && words[0][:1] == fmt.Sprint(i) {
				got = words
				if _, start := splitThread(bot.Thread(thread)); start == "" {
					t.Errorf("in %q", thread)
				}
			}
		}
		if !slices.Equal(got, want[i]) {
			t.Errorf("thread %d: %q", i, got)
		}
	}
}

// read gives what was heard by thread, each delivery once, and how often one
// came again.
func read(t *testing.T, record string) (byThread map[string][]string, repeats, all int) {
	t.Helper()
	raw, err := os.ReadFile(record)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	byThread = map[string][]string{}
	known := map[string]bool{}
	for sc := bufio.NewScanner(bytes.NewReader(raw)); sc.Scan(); {
		var line struct{ Delivery, Thread, Text, Fault string }
		if err := json.Unmarshal(sc.Bytes(), &line); err != nil {
			t.Fatalf("%q: %v", sc.Text(), err)
		}
		if line.Fault != "" {
			t.Errorf("unread: %s", sc.Text())
		}
		if known[line.Delivery] {
			repeats++
			continue
		}
		known[line.Delivery] = true
		all++
		byThread[line.Thread] = append(byThread[line.Thread], line.Text)
	}
	return byThread, repeats, all
}
