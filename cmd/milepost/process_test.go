package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"milepost/bot/bottest"
	"milepost/flow"
)

// process is the program, serving one network, as a process of its own that tests
// kill and start again. The data lie in a folder of their own.
type process struct {
	t       testing.TB
	program string // which of TestMain's
	network string

	dir, data, file string
	cmd             *exec.Cmd // nil while it does not run
	out, log        *safeBuffer
	ended           chan error

	starts, kills, early int // early: killed before it was ready
}

// newProcess makes the folders. It is not started.
func newProcess(t testing.TB, network string) *process {
	t.Helper()
	p := &process{t: t, program: "milepost", network: network, dir: t.TempDir(), log: &safeBuffer{}}
	p.data, p.file = filepath.Join(p.dir, "store", "data"), filepath.Join(p.dir, "serve.toml")
	t.Cleanup(func() {
		if p.cmd != nil {
			p.kill()
		}
		if t.Failed() {
			t.Logf("end of the program's log:\n%s", tail(p.log.String(), 60))
		}
	})
	return p
}

// write writes a file beside the configuration, or it.
func (p *process) write(name, text string) {
	p.t.Helper()
	if err := os.WriteFile(filepath.Join(p.dir, name), []byte(text), 0o600); err != nil {
		p.t.Fatal(err)
	}
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

// start starts the program and does not wait for it.
func (p *process) start() *process {
	p.t.Helper()
	path, err := exec.LookPath(p.program)
	if err != nil {
		p.t.Fatal(err)
	}
	p.starts++
	p.out, p.ended = &safeBuffer{}, make(chan error, 1)
	p.cmd = exec.Command(path, "serve", "--config", p.file)
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.log
	if err := p.cmd.Start(); err != nil {
		p.t.Fatal(err)
	}
	go func(cmd *exec.Cmd, ended chan<- error) { ended <- cmd.Wait() }(p.cmd, p.ended)
	return p
}

func (p *process) isReady() bool {
	return strings.HasPrefix(p.out.String(), "ready: "+p.network+"; ")
}

// ready waits until it says so.
func (p *process) ready() *process {
	p.t.Helper()
	for end := time.Now().Add(3 * time.Minute); !p.isReady(); time.Sleep(2 * time.Millisecond) {
		select {
		case err := <-p.ended:
			p.cmd = nil // nothing is left to be ended when the test is cleaned up
			p.t.Fatalf("it ended before it was ready: %v", err)
		default:
		}
		if time.Now().After(end) {
			p.t.Fatal("it is not ready")
		}
	}
	return p
}

// kill ends it as a power cut would.
func (p *process) kill() {
	p.t.Helper()
	_ = p.cmd.Process.Kill()
	p.killed()
}

// killed waits for its end, which must be by a kill.
func (p *process) killed() {
	p.t.Helper()
	err, cmd := <-p.ended, p.cmd
	p.cmd = nil
	if s, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || !s.Signaled() || s.Signal() != syscall.SIGKILL {
		p.t.Fatalf("it ended by itself: %v", err)
	}
	p.kills++
	if !p.isReady() {
		p.early++
	}
}

// stop ends it in order and says how long that took.
func (p *process) stop() time.Duration {
	p.t.Helper()
	began := time.Now()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Fatal(err)
	}
	select {
	case err := <-p.ended:
		p.cmd = nil
		if err != nil {
			p.t.Errorf("it ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		p.t.Fatal("it did not stop")
	}
	took := time.Since(began)
	if took > 10*time.Second {
		p.t.Errorf("it took %s to stop", took)
	}
	return took
}

// Log exports a job beside the program, verifies the export and reads it.
func (p *process) Log(job string) ([]flow.Entry, error) {
	file := filepath.Join(p.t.TempDir(), "job.jsonl")
	var out, errs bytes.Buffer
	for _, args := range [][]string{{"export", job, "-o", file, "--config", p.file}, {"verify", file, "--config", p.file}} {
		if code := execute(args, &streams{in: strings.NewReader(""), out: &out, err: &errs}); code != exitDone {
			return nil, fmt.Errorf("%v: exit code %d: %s", args, code, errs.String())
		}
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	return bottest.ExportedEntries(b)
}

// memory gives what the program holds now and held at most, in MB; ok is false
// where the system does not say.
func (p *process) memory() (now, peak float64, ok bool) {
	p.t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		return 0, 0, false
	}
	read := func(what string) float64 {
		m := regexp.MustCompile(what + `:\s+(\d+) kB`).FindSubmatch(b)
		if m == nil {
			p.t.Fatalf("no %s", what)
		}
		kb, _ := strconv.ParseFloat(string(m[1]), 64) // digits
		return kb / 1024
	}
	return read("VmRSS"), read("VmHWM"), true
}

func tail(text string, lines int) string {
	all := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(all[max(0, len(all)-lines):], "\n")
}
