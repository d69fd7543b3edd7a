package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/bot"
)

// safeBuffer is a buffer that may be read while it is written.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// served is a serve that runs in this process, over a hub.
type served struct {
	t        *testing.T
	hub      *hub
	dir      string
	file     string
	out, err safeBuffer
	cancel   context.CancelFunc
	done     chan error
}

const twoShops = `
[[shop]]
name = "north"
[shop.people]
"slack:T0AB/U0KIM" = "technician"
[[shop]]
name = "south"
[shop.people]
"slack:T0AB/U0LEE" = "technician"
`

// writeServe writes a configuration that talks to a hub, with two shops.
func writeServe(t *testing.T, dir string, h *hub, more string) string {
	t.Helper()
	t.Setenv("LINE_TOKEN", "hunter-of-secrets")
	file := filepath.Join(dir, "serve.toml")
	text := fmt.Sprintf("[store]\nsqlite = \"data\"\n[log]\nmetrics_addr = \"127.0.0.1:0\"\n[slack]\nsocket_mode = true\napp_token_env = \"LINE_TOKEN\"\n"+
		"bot_token_env = \"LINE_TOKEN\"\napi_url = %q\n%s", h.url(), more)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func startServe(t *testing.T) *served {
	t.Helper()
	v := &served{t: t, hub: newHub(t), dir: t.TempDir(), done: make(chan error, 1)}
	v.file = writeServe(t, v.dir, v.hub, twoShops)
	v.start()
	t.Cleanup(func() { v.cancel() })
	return v
}

func (v *served) start() {
	c, err := readConfig(v.file)
	if err != nil {
		v.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	v.cancel = cancel
	go func() { v.done <- serve(ctx, v.streams(), c) }()
	v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "ready: slack; shops north, south; ") })
}

func (v *served) streams() *streams {
	return &streams{out: &v.out, err: &v.err, nets: []wire{wireLine}}
}

func (v *served) eventually(what string, is func() bool) {
	v.t.Helper()
	for end := time.Now().Add(time.Minute); !is(); time.Sleep(10 * time.Millisecond) {
		select {
		case err := <-v.done:
			v.t.Fatalf("serve ended before %s: %v\n%s", what, err, v.err.String())
		default:
		}
		if time.Now().After(end) {
			v.t.Fatalf("never %s\n%s\n%s", what, v.out.String(), v.err.String())
		}
	}
}

// get reads a page of health or figures.
func (v *served) get(path string) (int, string) {
	v.t.Helper()
	addr := regexp.MustCompile(`http://[0-9.:]+`).FindString(v.out.String())
	c := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	r, err := c.Get(addr + path)
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// run runs another command beside it, with this configuration.
func (v *served) run(args ...string) (string, int) {
	var out, errs safeBuffer
	code := execute(args, &streams{out: &out, err: &errs, nets: []wire{wireLine}})
	return out.String() + errs.String(), code
}

func (v *served) stop() error {
	v.cancel()
	select {
	case err := <-v.done:
		return err
	case <-time.After(10 * time.Second):
		v.t.Fatal("it did not stop within 10 s")
		return nil
	}
}

// hears checks that nothing waits on the way in, and that the network was heard
// a while ago at most.
func (v *served) hears(network string) {
	v.t.Helper()
	var figures string
	label := `{network="` + network + `"} `
	v.eventually("nothing waits", func() bool {
		_, figures = v.get("/metrics")
		for _, n := range []string{"waiting", "unreadable", "set_aside"} {
			if !strings.Contains(figures, "\nmilepost_incoming_"+n+label+"0\n") {
				return false
			}
		}
		return true
	})
	_, age, _ := strings.Cut(figures, "\nmilepost_contact_age_seconds"+label)
	age, _, _ = strings.Cut(age, "\n")
	if s, err := strconv.ParseFloat(age, 64); err != nil || s < 0 || s > 120 {
		v.t.Errorf("%s was heard %q seconds ago", network, age)
	}
}

// Two shops with a key each, commands beside the running program, figures, and a
// stop that leaves nothing running.
func TestServe(t *testing.T) {
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) }) // after the hub's own
	v := startServe(t)
	v.hub.say(lineIn{Delivery: "1", From: "slack:T0AB/U0KIM", Thread: "T0AB/C0BAY/1", Text: "new job zebrafinch van, in the bay, 48210 mi"})
	v.hub.acked("1")
	v.hub.say(lineIn{Delivery: "2", From: "slack:T0AB/U0LEE", Thread: "T0AB/C0YARD/2", Text: "new job wombat truck, in the bay, 120000 km"})
	v.hub.acked("2")
	v.hub.say(lineIn{Delivery: "2", From: "slack:T0AB/U0LEE", Thread: "T0AB/C0YARD/2", Text: "new job wombat truck, in the bay, 120000 km"})
	v.hub.acked("2")

	if code, text := v.get("/healthz"); code != 200 || text != "alive\n" {
		t.Errorf("/healthz: %d %s", code, text)
	}
	if code, text := v.get("/readyz"); code != 200 || text != "store: ready\nslack: ready\n" {
		t.Errorf("/readyz: %d %s", code, text)
	}
	_, figures := v.get("/metrics")
	for _, want := range []string{`milepost_turns_total{network="slack",outcome="done"} 2`, `milepost_turns_total{network="slack",outcome="repeat"} 1`,
		`milepost_jobs_in_memory 2`, "go_goroutines ", "process_start_time_seconds"} {
		if !strings.Contains(figures, want) {
			t.Errorf("no %s in\n%s", want, figures)
		}
	}
	v.hub.say(lineIn{Delivery: "3", From: "slack:T0AB/U0EVE", Thread: "T0AB/D0EVE/3", Text: "hello"})
	v.hub.acked("3")
	_, figures = v.get("/metrics")
	for _, want := range []string{`milepost_refused_people_total{network="slack"} 1`, `milepost_refused_messages_total{network="slack"} 1`} {
		if !strings.Contains(figures, want) {
			t.Errorf("after a stranger no %s", want)
		}
	}
	if strings.Contains(figures, "milepost_incoming_") || strings.Contains(figures, "milepost_contact_") {
		t.Error("figures of the inbox of a network that has none to tell")
	}
	board, code := v.run("board", "--config", v.file)
	if code != 0 || !strings.Contains(board, "north: ") || !strings.Contains(board, "zebrafinch") || !strings.Contains(board, "south: ") {
		t.Errorf("board: %d %s", code, board)
	}
	job := regexp.MustCompile(`south: (?:job )?([a-z0-9]{7})`).FindStringSubmatch(board)
	if job == nil {
		t.Fatalf("no job of south in %s", board)
	}
	export := filepath.Join(v.dir, "job.jsonl")
	for _, call := range [][]string{
		{"export", job[1], "-o", export, "--config", v.file},
		{"verify", export, "--config", v.file},
		{"verify", export, "--data", filepath.Join(v.dir, "data")},
		{"backup", filepath.Join(v.dir, "b.bak"), "--config", v.file},
		{"erase", job[1], "--config", v.file},
		{"check", "--config", v.file},
	} {
		if text, code := v.run(call...); code != 0 {
			t.Errorf("%s: %d %s", call, code, text)
		}
	}
	if board, _ := v.run("board", "--config", v.file); strings.Contains(board, "wombat") || !strings.Contains(board, "zebrafinch") {
		t.Errorf("after the erasure: %s", board)
	}
	if text, code := v.run("chat", "--data", filepath.Join(v.dir, "data"), "--json"); code != 1 || !strings.Contains(text, `belongs to "serve"`) {
		t.Errorf("chat: %d %s", code, text)
	}
	if err := v.stop(); err != nil {
		t.Errorf("it stopped with %v", err)
	}
	if n := strings.Count(v.out.String(), "\n"); n != 1 {
		t.Errorf("%d lines on stdout: %s", n, v.out.String())
	}
	for _, word := range []string{"zebrafinch", "wombat", "hunter", "U0KIM"} {
		if strings.Contains(v.err.String(), word) {
			t.Errorf("%q is in the log:\n%s", word, v.err.String())
		}
	}
	for _, name := range []string{"log.key", "log.pub", "log-south.key", "log-south.pub", "owner"} {
		if fi, err := os.Stat(filepath.Join(v.dir, "data", name)); err != nil || fi.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", name, fi, err)
		}
	}
}

// The order of the shops does not move their keys, and what was begun goes on.
func TestServeKeysStay(t *testing.T) {
	v := startServe(t)
	if err := v.stop(); err != nil {
		t.Fatal(err)
	}
	north, _ := os.ReadFile(filepath.Join(v.dir, "data", "log.pub"))
	south, _ := os.ReadFile(filepath.Join(v.dir, "data", "log-south.pub"))
	if !strings.HasPrefix(string(north), "milepost/north+") || !strings.HasPrefix(string(south), "milepost/south+") {
		t.Fatalf("keys %s %s", north, south)
	}
	parts := strings.Split(twoShops, "[[shop]]")
	writeServe(t, v.dir, v.hub, "[[shop]]"+parts[2]+"[[shop]]"+parts[1])
	c, err := readConfig(v.file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		v.eventually("ready", func() bool { return strings.Contains(v.out.String(), "shops south, north") })
		cancel()
	}()
	if err := serve(ctx, v.streams(), c); err != nil {
		t.Fatal(err)
	}
	for name, was := range map[string][]byte{"log.pub": north, "log-south.pub": south} {
		if now, err := os.ReadFile(filepath.Join(v.dir, "data", name)); !bytes.Equal(now, was) || err != nil {
			t.Errorf("%s: %s %v", name, now, err)
		}
	}
	if strings.Contains(v.err.String(), "signing key has changed") {
		t.Error(v.err.String())
	}
}

// A connection that ends, and a panic, are begun again; until then it is not
// ready.
func TestServeBeginsAgain(t *testing.T) {
	v := startServe(t)
	for n, end := range []func(){v.hub.drop, func() { v.hub.say(lineIn{Do: "panic"}) }} {
		end()
		v.eventually("unready", func() bool { code, _ := v.get("/readyz"); return code == 503 })
		v.eventually("ready again", func() bool { code, _ := v.get("/readyz"); return code == 200 })
		id := fmt.Sprint("again", n)
		v.hub.say(lineIn{Delivery: id, From: "slack:T0AB/U0KIM", Thread: "T0AB/C0BAY/1", Text: "help"})
		v.hub.acked(id)
	}
	if log := v.err.String(); !strings.Contains(log, "begun again") || !strings.Contains(log, "as the hub said") {
		t.Error(log)
	}
	if err := v.stop(); err != nil {
		t.Error(err)
	}
	if n := strings.Count(v.out.String(), "\n"); n != 1 {
		t.Errorf("%d lines on stdout: %s", n, v.out.String())
	}
}

// What is refused for good is not tried again; with no network left serve ends.
func TestServeRefused(t *testing.T) {
	v := startServe(t)
	v.hub.say(lineIn{Do: "forbid"})
	select {
	case err := <-v.done:
		var e *bot.Error
		if !errors.As(err, &e) || e.Kind != bot.Forbidden {
			t.Errorf("ended with %v", err)
		}
	case <-time.After(time.Minute):
		t.Fatal("it goes on")
	}
	if n := strings.Count(v.err.String(), "refused for good"); n != 1 {
		t.Errorf("said %d times:\n%s", n, v.err.String())
	}
	if v.hub.conns != 1 {
		t.Errorf("%d connections", v.hub.conns)
	}
}

func TestPanicOfAMessage(t *testing.T) {
	var log safeBuffer
	panics := func(context.Context, bot.Inbound) error { panic("a fault") }
	err := guarded{nil, panics, slog.New(slog.NewTextHandler(&log, nil))}.Handle(t.Context(), bot.Inbound{Text: "hunter"})
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Internal {
		t.Errorf("error %v", err)
	}
	if !strings.Contains(log.String(), "a fault") || strings.Contains(log.String(), "hunter") {
		t.Errorf("log %s", log.String())
	}
}

// What hangs does not keep the program.
func TestWaitFor(t *testing.T) {
	var hangs sync.WaitGroup
	hangs.Add(1)
	defer hangs.Done()
	if err := waitFor(&hangs, 10*time.Millisecond, "the networks"); err == nil {
		t.Error("it waited for ever")
	}
	if err := waitFor(&sync.WaitGroup{}, time.Minute, "nothing"); err != nil {
		t.Error(err)
	}
	if most := networksFor + botFor; most > 9*time.Second {
		t.Errorf("a stop may take %s before the store is closed", most)
	}
}
