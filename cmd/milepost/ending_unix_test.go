//go:build unix

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

func begun(t *testing.T, data string) *running {
	t.Helper()
	r, err := startChat(data, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.tell("new job unit 14, in the bay, 48210 mi"); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestSignalsEndCleanly(t *testing.T) {
	for _, sig := range []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP} {
		data := filepath.Join(t.TempDir(), "data")
		r := begun(t, data)
		if err := r.cmd.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		done := make(chan error, 1)
		go func() {
			for r.out.Scan() { // to its end
			}
			done <- r.cmd.Wait()
		}()
		select {
		case err := <-done:
			if err != nil || r.err.String() != "" {
				t.Errorf("%v: %v, %s", sig, err, r.err.String())
			}
		case <-time.After(10 * time.Second):
			_ = r.cmd.Process.Kill()
			t.Fatalf("%v: still running", sig)
		}
		if _, err := os.Lstat(filepath.Join(data, socketName)); err == nil {
			t.Errorf("%v: the socket is still there", sig)
		}
	}
}

// Where nobody reads any more the program ends with an error, and what it could
// not say is said first at the next start.
func TestBrokenPipeEndsCleanly(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	path, err := exec.LookPath("milepost")
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(path, "chat", "--json", "--data", data)
	c.Stdin = strings.NewReader("{\"text\":\"new job unit 14, in the bay, 48210 mi\",\"id\":\"1\"}\n")
	var errs strings.Builder
	c.Stderr = &errs
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	r.Close()
	c.Stdout = w
	if err := c.Run(); err == nil || !strings.Contains(errs.String(), "write to terminal") {
		t.Errorf("ended with %v, %q", err, errs.String())
	}
	w.Close()
	again, err := startChat(data, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	answers, err := again.tell(`{"text":"new job unit 14, in the bay, 48210 mi","id":"1"}`)
	if err != nil {
		t.Fatal(err)
	}
	if len(answers) == 0 || !strings.Contains(answers[len(answers)-1], `"kind":"prompt"`) {
		t.Errorf("the question that could not be written has not come: %q", answers)
	}
	if err := again.end(); err != nil {
		t.Error(err)
	}
}

// A second program that asks while the first holds its socket open does not hold
// it up, and neither does one that says nothing or nonsense.
func TestSocketTakesNoNonsense(t *testing.T) {
	data := filepath.Join(t.TempDir(), strings.Repeat("long-name-", 15), "data") // over what a socket's path may be
	r := begun(t, data)
	defer func() {
		if err := r.end(); err != nil {
			t.Error(err)
		}
	}()
	for _, q := range []request{{}, {Do: "release"}, {Do: "backup", File: "relative.bak"}, {Do: "erase"}, {Do: strings.Repeat("x", maxRequest)}} {
		if _, err := knock(t.Context(), data, q); err == nil {
			t.Errorf("%.40v: no error", q)
		}
	}
	if fi, err := os.Lstat(filepath.Join(data, socketName)); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("socket: %v, %v", fi, err)
	}
	file := filepath.Join(t.TempDir(), "copy.bak")
	if _, err := knock(t.Context(), data, request{Do: "backup", File: file}); err != nil {
		t.Error(err)
	}
	if _, err := r.tell("where are we"); err != nil {
		t.Error(err)
	}
}
