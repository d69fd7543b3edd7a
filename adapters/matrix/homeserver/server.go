package homeserver

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"
)

const (
	readyWithin = 30 * time.Second
	endsWithin  = 15 * time.Second
	quiet       = 500 * time.Millisecond
	logLines    = 40
)

// Options of a server; the zero value serves most tests.
type Options struct {
	MediaLimit int64 // bytes of one upload, more is refused with 413; 0: 10 MiB
}

// Server is a homeserver of one test. Its methods are for the test's own
// goroutine, as they end the test when something goes wrong.
type Server struct {
	dir, bin string
	addr     string // its own; clients come by the gate
	gate     *gate
	client   *http.Client

	mu   sync.Mutex
	proc *process // nil while stopped
}

// Start starts a server with no accounts and waits until it answers. It ends
// with the test; the last lines of its log are shown if the test failed.
func Start(t testing.TB, o Options) *Server {
	t.Helper()
	bin := Build(t)
	s := newServer(t, bin)
	if err := writeConfig(s.dir, o); err != nil {
		t.Fatalf("start homeserver: %v", err)
	}
	t.Cleanup(func() {
		s.Kill(t) // its data go with the test: there is nothing to end in order
		if t.Failed() {
			t.Logf("end of the homeserver's log:\n%s", s.log())
		}
	})
	s.start(t)
	return s
}

func newServer(t testing.TB, bin string) *Server {
	t.Helper()
	addr := reservePort(t)
	return &Server{dir: t.TempDir(), bin: bin, addr: addr, gate: newGate(reservePort(t), &url.URL{Scheme: "http", Host: addr}),
		client: &http.Client{Timeout: time.Minute, Transport: &http.Transport{DisableKeepAlives: true}}}
}

// URL is the server's base address, the same after a restart.
func (s *Server) URL() string { return "http://" + s.gate.addr }

func (s *Server) inner() string { return "http://" + s.addr }

func (s *Server) start(t testing.TB) {
	t.Helper()
	log, err := os.OpenFile(filepath.Join(s.dir, logName), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatalf("start homeserver: %v", err)
	}
	defer log.Close()
	cmd := exec.Command(s.bin, "--config", configName, "--http-bind-address", s.addr, "--really-enable-open-registration")
	cmd.Dir, cmd.Stdout, cmd.Stderr = s.dir, log, log // files, so that no goroutine of ours copies
	p, err := launch(cmd)
	if err != nil {
		t.Fatalf("start homeserver: %v", err)
	}
	s.mu.Lock()
	s.proc = p
	s.mu.Unlock()
	if err := s.ready(p); err != nil {
		t.Fatalf("start homeserver: %v\n%s", err, s.log())
	}
	if err := s.gate.open(); err != nil {
		t.Fatalf("start homeserver: %v", err)
	}
}

// ready waits until the server answers, or has ended.
func (s *Server) ready(p *process) error {
	limit := time.After(readyWithin)
	tick := time.NewTicker(25 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-p.done:
			return fmt.Errorf("it ended: %v", p.err)
		case <-limit:
			return fmt.Errorf("no answer within %v", readyWithin)
		case <-tick.C:
		}
		res, err := s.client.Get(s.inner() + "/_matrix/client/versions")
		if err != nil {
			continue
		}
		res.Body.Close()
		if res.StatusCode == http.StatusOK && !p.ended() {
			return nil
		}
	}
}

// Stop ends the server in order and waits for it: about a second. Connections
// are closed before: clients that waited in a /sync while it ended were seen to
// miss events for good. Then it is left alone for a moment, so that it has handed
// on within itself what it took in.
func (s *Server) Stop(t testing.TB) {
	t.Helper()
	s.gate.close()
	if s.running() {
		time.Sleep(quiet)
	}
	if !s.end(syscall.SIGTERM) {
		t.Errorf("stop homeserver: still there after %v, killed", endsWithin)
	}
}

// Kill ends the server at once. An event it had taken a moment before, and not
// yet shown to anybody, is never shown then: the queue by which it hands events
// on within itself is cleared, as it doesn't come through a kill whole and would
// swallow later events too.
func (s *Server) Kill(t testing.TB) {
	t.Helper()
	s.gate.close()
	if !s.end(os.Kill) {
		t.Errorf("kill homeserver: still there after %v", endsWithin)
	}
	if err := os.RemoveAll(filepath.Join(s.dir, queueName)); err != nil {
		t.Errorf("kill homeserver: %v", err)
	}
}

// Restart stops the server if it runs, and starts it on the same port with the
// same data.
func (s *Server) Restart(t testing.TB) {
	t.Helper()
	s.Stop(t)
	s.start(t)
}

func (s *Server) running() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.proc != nil && !s.proc.ended()
}

// end signals and waits; it is true if the signal was enough.
func (s *Server) end(sig os.Signal) bool {
	s.mu.Lock()
	p := s.proc
	s.proc = nil
	s.mu.Unlock()
	if p == nil || p.ended() {
		return true
	}
	if p.cmd.Process.Signal(sig) != nil {
		p.cmd.Process.Kill() // there are no signals, or it is ending already
	}
	select {
	case <-p.done:
		return true
	case <-time.After(endsWithin):
		p.cmd.Process.Kill()
		<-p.done
		return false
	}
}

func (s *Server) log() string {
	text, err := os.ReadFile(filepath.Join(s.dir, logName))
	if err != nil {
		return err.Error()
	}
	return lastLines(text, logLines)
}
