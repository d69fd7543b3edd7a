package web_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/adapters/web"
	"milepost/bot"
)

// served is a server at work, and a client that keeps no connection.
type served struct {
	*web.Server
	t *testing.T
}

func serve(t *testing.T, c web.Config) served {
	t.Helper()
	before := goleak.IgnoreCurrent()
	c.Addr = "127.0.0.1:0"
	s, err := web.Listen(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("it ended with %v", err)
		}
		goleak.VerifyNone(t, before)
	})
	return served{s, t}
}

func (s served) do(method, path string, body io.Reader) (*http.Response, string) {
	s.t.Helper()
	r, err := http.NewRequestWithContext(s.t.Context(), method, "http://"+s.Addr()+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	if body != nil { // sent when it is asked for: what nobody reads would break the connection off
		r.Header.Set("Expect", "100-continue")
	}
	a, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true, ExpectContinueTimeout: time.Minute}}).Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return a, string(b)
}

func (s served) get(path string) (int, string) {
	s.t.Helper()
	a, text := s.do("GET", path, nil)
	return a.StatusCode, text
}

func TestHealth(t *testing.T) {
	var mu sync.Mutex
	var fault error
	s := serve(t, web.Config{Parts: []web.Part{
		{Name: "store", Ready: func(context.Context) error { return nil }},
		{Name: "matrix", Ready: func(context.Context) error { mu.Lock(); defer mu.Unlock(); return fault }},
	}})
	if code, text := s.get("/healthz"); code != 200 || text != "alive\n" {
		t.Errorf("healthz: %d %q", code, text)
	}
	if code, text := s.get("/readyz"); code != 200 || text != "store: ready\nmatrix: ready\n" {
		t.Errorf("readyz: %d %q", code, text)
	}
	mu.Lock()
	fault = errors.New("no sync\nfor a minute")
	mu.Unlock()
	if code, text := s.get("/readyz"); code != 503 || text != "store: ready\nmatrix: not ready: no sync for a minute\n" {
		t.Errorf("readyz with a fault: %d %q", code, text)
	}
	if code, _ := s.get("/healthz"); code != 200 {
		t.Errorf("healthz with a fault: %d", code)
	}
}

// A part that hangs, or panics, makes it unready and nothing worse.
func TestReadyFaults(t *testing.T) {
	s := serve(t, web.Config{Log: slog.New(slog.DiscardHandler), Parts: []web.Part{
		{Name: "slow", Ready: func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }}}})
	if code, text := s.get("/readyz"); code != 503 || !strings.Contains(text, "slow: not ready: ") {
		t.Errorf("a part that hangs: %d %q", code, text)
	}
	s = serve(t, web.Config{Parts: []web.Part{{Name: "x", Ready: func(context.Context) error { panic("a secret") }}}})
	if code, text := s.get("/readyz"); code != 500 || strings.Contains(text, "secret") {
		t.Errorf("a part that panics: %d %q", code, text)
	}
	if code, _ := s.get("/healthz"); code != 200 {
		t.Errorf("healthz after a panic: %d", code)
	}
}

func TestMetrics(t *testing.T) {
	s := serve(t, web.Config{Networks: []string{"matrix", "slack"}, Depths: func() bot.Depths {
		return bot.Depths{Jobs: 3, Queued: 5, Lines: 2, Behind: true}
	}})
	s.Turn("matrix", bot.TurnDone, 30*time.Millisecond)
	s.Turn("matrix", bot.TurnRefused, time.Millisecond)
	s.Sent("slack", bot.SentRetry, 3*time.Second)
	s.Refused("matrix", true)
	s.Refused("matrix", false)
	a, text := s.do("GET", "/metrics", nil)
	if a.StatusCode != 200 || !strings.HasPrefix(a.Header.Get("Content-Type"), "text/plain; version=0.0.4") {
		t.Errorf("%d %s", a.StatusCode, a.Header.Get("Content-Type"))
	}
	for _, want := range []string{
		`milepost_turns_total{network="matrix",outcome="done"} 1`,
		`milepost_turns_total{network="matrix",outcome="refused"} 1`,
		`milepost_turns_total{network="slack",outcome="failed"} 0`,
		`milepost_turn_seconds_bucket{network="matrix",le="0.025"} 1`,
		`milepost_turn_seconds_bucket{network="matrix",le="0.05"} 2`,
		`milepost_turn_seconds_count{network="matrix"} 2`,
		`milepost_sends_total{network="slack",outcome="retry"} 1`,
		`milepost_send_seconds_sum{network="slack"} 3`,
		`milepost_refused_messages_total{network="matrix"} 2`, `milepost_refused_people_total{network="matrix"} 1`,
		`milepost_refused_messages_total{network="slack"} 0`, `milepost_refused_people_total{network="slack"} 0`,
		"milepost_jobs_in_memory 3", "milepost_outgoing_queued 5", "milepost_outgoing_threads 2", "milepost_outgoing_behind 1",
		"go_goroutines ", "process_start_time_seconds ",
	} {
		if !strings.Contains(text, "\n"+want) {
			t.Errorf("no %q", want)
		}
	}
}

// What waits of each network is told as far as it is known, and for how long it
// was not heard. What can't be counted is no nought.
func TestInboxes(t *testing.T) {
	s := serve(t, web.Config{Networks: []string{"matrix", "slack", "line"}, Inbox: func(ctx context.Context, network string) (bot.Inbox, error) {
		if _, bounded := ctx.Deadline(); !bounded {
			return bot.Inbox{}, errors.New("it may take for ever")
		}
		switch network {
		case "matrix":
			return bot.Inbox{Waiting: 7, Unread: 5, Aside: 2, Contact: time.Now().Add(-time.Hour)}, nil
		case "slack":
			return bot.Inbox{}, &bot.Error{Kind: bot.Unavailable, Err: errors.New("it does not run")}
		}
		return bot.Inbox{}, errors.ErrUnsupported
	}})
	_, text := s.get("/metrics")
	for _, want := range []string{`milepost_incoming_waiting{network="matrix"} 7`, `milepost_incoming_unreadable{network="matrix"} 5`,
		`milepost_incoming_set_aside{network="matrix"} 2`} {
		if !strings.Contains(text, "\n"+want+"\n") {
			t.Errorf("no %q", want)
		}
	}
	ages := map[string]float64{}
	for _, m := range regexp.MustCompile(`(?m)^milepost_contact_age_seconds\{network="([a-z]+)"\} (\S+)$`).FindAllStringSubmatch(text, -1) {
		age, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			t.Error(err)
		}
		ages[m[1]] = age
	}
	if len(ages) != 2 || ages["matrix"] < 3600 || ages["matrix"] > 3900 || ages["slack"] <= 0 || ages["slack"] > 300 {
		t.Errorf("not heard for %v seconds", ages)
	}
	for _, not := range []string{`milepost_incoming_waiting{network="slack"`, `milepost_incoming_waiting{network="line"`} {
		if strings.Contains(text, not) {
			t.Errorf("%s is told, and not known", not)
		}
	}
}

// README tells of every figure, and of none that is not there.
func TestFiguresInREADME(t *testing.T) {
	s := serve(t, web.Config{Networks: []string{"matrix"}, Inbox: func(context.Context, string) (bot.Inbox, error) { return bot.Inbox{}, nil }})
	s.Turn("matrix", bot.TurnDone, time.Second) // a time is told once there is one
	s.Sent("matrix", bot.SentOut, time.Second)
	_, text := s.get("/metrics")
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	names := func(pattern, text string) (all []string) {
		for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
			all = append(all, m[1])
		}
		slices.Sort(all)
		return slices.Compact(all)
	}
	served, told := names(`(?m)^# TYPE (milepost_\w+) `, text), names("`(milepost_\\w+)`", string(readme))
	if !slices.Equal(served, told) || len(served) < 14 {
		t.Errorf("served: %q\ntold: %q", served, told)
	}
}

// Whatever is passed in as network or outcome, no label holds anything but the
// names fixed at the start: so no job, person or vehicle can.
func TestLabels(t *testing.T) {
	s := serve(t, web.Config{Networks: []string{"matrix"}})
	for _, odd := range []string{"k7mw2pd", "matrix:@kim:example.org", "north van", "", "1M8GDM9A_KP042788", "matrix\n", strings.Repeat("x", 10000)} {
		s.Turn(odd, odd, time.Second)
		s.Sent(odd, odd, time.Second)
		s.Refused(odd, true)
		s.Turn("matrix", odd, time.Second)
	}
	_, text := s.get("/metrics")
	allowed := map[string][]string{
		"network": {"matrix", "other"},
		"outcome": {"done", "repeat", "refused", "failed", "sent", "retry", "dropped", "other"},
	}
	seen := 0
	for line := range strings.Lines(text) {
		if !strings.HasPrefix(line, "milepost_") {
			continue
		}
		for _, m := range regexp.MustCompile(`([a-z_]+)="((?:[^"\\]|\\.)*)"`).FindAllStringSubmatch(line, -1) {
			seen++
			if m[1] != "le" && !slices.Contains(allowed[m[1]], m[2]) {
				t.Errorf("label %s=%q in %s", m[1], m[2], line)
			}
		}
	}
	if seen < 20 || !strings.Contains(text, `network="other",outcome="other"} 7`) {
		t.Errorf("only %d labels were seen in\n%s", seen, text)
	}
}

// Nothing else is served, and nothing is taken in.
func TestRefuses(t *testing.T) {
	s := serve(t, web.Config{})
	for _, c := range []struct {
		method, path string
		want         int
	}{{"GET", "/", 404}, {"GET", "/debug/pprof/", 404}, {"POST", "/healthz", 405}, {"DELETE", "/metrics", 405}, {"HEAD", "/healthz", 200}} {
		body := strings.NewReader(strings.Repeat("x", 1<<20))
		var sends io.Reader
		if c.method == "POST" {
			sends = body
		}
		if a, _ := s.do(c.method, c.path, sends); a.StatusCode != c.want || body.Len() != 1<<20 {
			t.Errorf("%s %s: %d, want %d; %d bytes of the body not taken", c.method, c.path, a.StatusCode, c.want, body.Len())
		}
	}
	c, err := net.Dial("tcp", s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "GET /healthz HTTP/1.1\r\nHost: x\r\nX-Long: %s\r\n\r\n", strings.Repeat("x", 64<<10))
	if line, _ := bufio.NewReader(c).ReadString('\n'); !strings.Contains(line, "431") {
		t.Errorf("headers of 64 KiB: %q", line)
	}
}

// Who sends its request a byte a second is cut off.
func TestSlowReader(t *testing.T) {
	if testing.Short() {
		t.Skip("takes as long as a request may")
	}
	s := serve(t, web.Config{})
	c, err := net.Dial("tcp", s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /healthz HT")
	_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
	if _, err := io.ReadAll(c); err != nil {
		t.Errorf("the connection stands: %v", err)
	}
}

func TestTakenAddress(t *testing.T) {
	s := serve(t, web.Config{})
	if _, err := web.Listen(t.Context(), web.Config{Addr: s.Addr()}); err == nil || !strings.Contains(err.Error(), s.Addr()) {
		t.Errorf("an address that is taken: %v", err)
	}
	if _, err := web.Listen(t.Context(), web.Config{Addr: "nowhere"}); err == nil {
		t.Error("an address that is none was taken")
	}
}
