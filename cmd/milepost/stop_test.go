package main

import (
	"bufio"
	"errors"
	"fmt"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/journal"
	"milepost/flow"
)

// serveProcess runs `milepost serve` as a process of its own, over a hub.
func serveProcess(t *testing.T, file string) (c *exec.Cmd, log *safeBuffer) {
	t.Helper()
	path, err := exec.LookPath("milepost-line")
	if err != nil {
		t.Fatal(err)
	}
	c, log = exec.Command(path, "serve", "--config", file), &safeBuffer{}
	c.Stderr = log
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill() })
	lines := bufio.NewScanner(out)
	if !lines.Scan() || !strings.HasPrefix(lines.Text(), "ready: slack; ") {
		t.Fatalf("first line %q\n%s", lines.Text(), log.String())
	}
	return c, log
}

// A real process is told to stop in the middle of a stream of messages. It ends
// with 0 within 10 s; what it acknowledged is stored; what it did not is sent
// again to the next one, as a network does, and nothing is lost or done twice.
func TestStopLosesNothing(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("there is no SIGTERM")
	}
	h, dir := newHub(t), t.TempDir()
	file := writeServe(t, dir, h, "[people]\n\"slack:T0AB/U0KIM\" = \"technician\"\n")
	const jobs, each = 6, 8
	var due []lineIn
	for n := range each {
		for j := range jobs {
			text := fmt.Sprintf("note number %d", n)
			if n == 0 {
				text = fmt.Sprintf("new job unit %d, in the bay, 48210 mi", j)
			}
			due = append(due, lineIn{Delivery: fmt.Sprintf("%d-%d", j, n), From: "slack:T0AB/U0KIM", Thread: fmt.Sprintf("T0AB/C0BAY/%d", j), Text: text})
		}
	}
	acked, keys := map[string]bool{}, map[string]bool{}
	take := func(o lineOut) {
		if o.Ack != "" {
			acked[o.Ack] = true
		}
		if o.Key != "" {
			keys[o.Key] = true
		}
	}
	pump := func(until func() bool) {
		late := time.After(time.Minute)
		for !until() {
			select {
			case o := <-h.heard:
				take(o)
			case <-late:
				t.Fatalf("only %d of %d messages are acknowledged", len(acked), len(due))
			}
		}
	}

	c, log := serveProcess(t, file)
	for j := range jobs { // the threads exist before the rest is sent at once
		h.say(due[j])
		pump(func() bool { return acked[due[j].Delivery] })
	}
	for _, l := range due[jobs:] {
		h.say(l)
	}
	pump(func() bool { return len(acked) > jobs+4 })
	began := time.Now()
	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := c.Wait(); err != nil {
		t.Fatalf("it ended with %v\n%s", err, log.String())
	}
	took := time.Since(began)
	if took > 10*time.Second {
		t.Errorf("it took %s to stop", took)
	}
	for more := true; more; { // what it said on its way out
		select {
		case o := <-h.heard:
			take(o)
		case <-time.After(100 * time.Millisecond):
			more = false
		}
	}
	t.Logf("%d of %d acknowledged at the stop, which took %s", len(acked), len(due), took.Round(time.Millisecond))
	if len(acked) == len(due) {
		t.Log("the stop came after the last message: nothing was in the middle")
	}
	wantStored(t, dir, due, acked, keys, false)

	c, log = serveProcess(t, file)
	for _, l := range due {
		if !acked[l.Delivery] {
			h.say(l)
		}
	}
	pump(func() bool { return len(acked) == len(due) })
	pump(func() bool { return wantStored(t, dir, due, acked, keys, true) })
	if err := errors.Join(c.Process.Signal(syscall.SIGTERM), c.Wait()); err != nil {
		t.Fatalf("it ended with %v\n%s", err, log.String())
	}
}

// wantStored checks that all that was acknowledged is in the log, once, and, at
// the end, whether all that is to be said has been.
func wantStored(t *testing.T, dir string, due []lineIn, acked, said map[string]bool, whole bool) bool {
	t.Helper()
	jobs := jobsOf(t, filepath.Join(dir, "data"))
	store, err := sqlite.Open(t.Context(), sqlite.Config{Dir: filepath.Join(dir, "data"), ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	heard := map[string]int{} // by thread and text
	for vehicle, job := range jobs {
		stored, err := store.Entries(t.Context(), bot.DefaultShop, job, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range stored {
			l, err := journal.Parse(e.Bytes)
			if err != nil {
				t.Fatal(err)
			}
			for _, item := range e.Items {
				if l.Kind == string(flow.KindHeard) {
					heard[strings.TrimPrefix(vehicle, "unit ")+" "+string(item.Content)]++
				}
			}
		}
	}
	for _, l := range due {
		n := heard[strings.TrimPrefix(l.Thread, "T0AB/C0BAY/")+" "+l.Text]
		if acked[l.Delivery] && n != 1 || n > 1 {
			t.Errorf("message %s was acknowledged (%v) and is %d times in the log", l.Delivery, acked[l.Delivery], n)
		}
	}
	if !whole || t.Failed() {
		return true
	}
	rows, err := store.Unsent(t.Context(), 10000)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows { // not yet marked, or not yet said
		if !said[r.Key] {
			return false
		}
	}
	return true
}
