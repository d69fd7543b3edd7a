package workspace

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// obj is a JSON object.
type obj = map[string]any

// Workspace is a running workspace. Its methods may be called by several goroutines at once.
type Workspace struct {
	t    testing.TB
	opt  Options
	addr string
	far  *http.Server // the other host that downloads may be redirected to
	farC string       // its address

	ctx  context.Context
	stop context.CancelFunc
	life sync.Mutex // guards over
	over bool
	done sync.WaitGroup // what spawn began

	rules struct {
		sync.Mutex
		broken []string
	}

	mu sync.Mutex // guards all that follows
	server
	place
	app
	flows
	faults
	record
}

// place is the team: who and where. Guarded by Workspace.mu.
type place struct {
	channels map[string]*channel
	people   map[string]*person
	files    map[string]*file
	views    map[string]*view  // open modals by id
	homes    map[string]*view  // home tab by user id
	ephem    map[string][]*eph // ephemeral messages by user id
	last     int64             // last ts given out, in µs
	serial   int
}

// app is the installed app. Guarded by Workspace.mu.
type app struct {
	appID, botID, botUser   string
	botToken, appToken, key string
	scopes                  []string
	revoked                 string // error code once the tokens are no good
	botRevoked              string // the same of the bot token alone
}

// New starts a workspace and stops it when the test ends. The test then fails if a rule was broken.
func New(t testing.TB, o Options) *Workspace {
	t.Helper()
	w := &Workspace{t: t, opt: o.filled()}
	w.ctx, w.stop = context.WithCancel(context.Background())
	w.place = place{channels: map[string]*channel{}, people: map[string]*person{}, files: map[string]*file{},
		views: map[string]*view{}, homes: map[string]*view{}, ephem: map[string][]*eph{}}
	secret := func(n int) string {
		const letters = "abcdefghijkmnpqrstuvwxyz23456789"
		b := make([]byte, n)
		for i := range b {
			b[i] = letters[rand.IntN(len(letters))]
		}
		return string(b)
	}
	w.app = app{appID: "A0MILE", botID: "B0MILE", botUser: "U0MILE", scopes: slices.Clone(w.opt.Scopes),
		botToken: "xoxb-" + secret(24), appToken: "xapp-1-A0MILE-" + secret(24), key: secret(32)}
	w.flows.init()
	w.queue.cond = sync.NewCond(&w.mu)
	w.settle()
	if err := w.listen("127.0.0.1:0"); err != nil {
		t.Fatalf("workspace: %v", err)
	}
	w.listenFar()
	w.spawn(w.dispatch)
	t.Cleanup(func() {
		w.close()
		for _, b := range w.Broken() {
			t.Errorf("workspace: broken rule: %s", b)
		}
	})
	return w
}

// APIURL is the base of the Web API; it ends in "/".
func (w *Workspace) APIURL() string { return "http://" + w.addr + "/api/" }

// BotToken is the app's bot token (xoxb-).
func (w *Workspace) BotToken() string { return w.botToken }

// AppToken is the app-level token (xapp-), good for opening sockets only.
func (w *Workspace) AppToken() string { return w.appToken }

// SigningSecret is what requests over HTTP are signed with.
func (w *Workspace) SigningSecret() string { return w.key }

// Team is the team's id.
func (w *Workspace) Team() string { return w.opt.Team }

// App is the user id that people mention the app by.
func (w *Workspace) App() string { return w.botUser }

// Broken lists the rules that were broken so far.
func (w *Workspace) Broken() []string {
	w.rules.Lock()
	defer w.rules.Unlock()
	return slices.Clone(w.rules.broken)
}

// Forgive removes the broken rules that hold the given words and says how many there were: for tests that break one on purpose.
func (w *Workspace) Forgive(words string) int {
	w.rules.Lock()
	defer w.rules.Unlock()
	n := len(w.rules.broken)
	w.rules.broken = slices.DeleteFunc(w.rules.broken, func(s string) bool { return strings.Contains(s, words) })
	return n - len(w.rules.broken)
}

func (w *Workspace) broke(format string, a ...any) {
	w.rules.Lock()
	defer w.rules.Unlock()
	w.rules.broken = append(w.rules.broken, fmt.Sprintf(format, a...))
}

// ts gives the next message time: microseconds, each once.
func (w *Workspace) ts() string {
	us := max(time.Now().UnixMicro(), w.last+1)
	w.last = us
	return stamp(us)
}

func stamp(us int64) string { return fmt.Sprintf("%d.%06d", us/1e6, us%1e6) }

// id makes a fresh identifier with the given first letters.
func (w *Workspace) id(prefix string) string {
	w.serial++
	return fmt.Sprintf("%s0%08X", prefix, w.serial)
}

// after runs do later, under the lock, unless the workspace has ended by then.
func (w *Workspace) after(d time.Duration, do func()) {
	w.spawn(func() {
		if !w.sleep(d) {
			return
		}
		w.mu.Lock()
		defer w.mu.Unlock()
		do()
	})
}

// spawn runs f beside, unless the workspace has ended; close waits for it.
func (w *Workspace) spawn(f func()) {
	w.life.Lock()
	defer w.life.Unlock()
	if w.over {
		return
	}
	w.done.Add(1)
	go func() {
		defer w.done.Done()
		f()
	}()
}

// sleep waits and says whether the workspace still runs.
func (w *Workspace) sleep(d time.Duration) bool {
	if d <= 0 {
		return w.ctx.Err() == nil
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-w.ctx.Done():
		return false
	}
}

func (w *Workspace) close() {
	w.stop()
	w.mu.Lock()
	w.queue.wake()
	w.mu.Unlock()
	w.Down()
	w.far.Close()
	w.life.Lock()
	w.over = true
	w.life.Unlock()
	w.done.Wait()
}

// server is the listening side. Guarded by Workspace.mu.
type server struct {
	http *http.Server
}

func (w *Workspace) listen(addr string) error {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	s := &http.Server{Handler: w.routes()}
	w.mu.Lock()
	if w.http = s; w.addr == "" {
		w.addr = l.Addr().String()
	}
	w.mu.Unlock()
	w.spawn(func() {
		s.Serve(l)
	})
	return nil
}

// Down refuses every connection and cuts those there are, until Up.
func (w *Workspace) Down() {
	w.mu.Lock()
	s := w.http
	w.http = nil
	w.mu.Unlock()
	if s != nil {
		s.Close()
	}
	w.CutSockets()
}

// Up listens again, at the same address.
func (w *Workspace) Up() {
	w.t.Helper()
	var err error
	for range 100 { // the port may take a moment to come free
		if err = w.listen(w.addr); err == nil {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	w.t.Fatalf("workspace: up: %v", err)
}

func (w *Workspace) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("/api/", w.serveAPI)
	mux.HandleFunc("/link/", w.serveSocket)
	mux.HandleFunc("/upload/", w.serveUpload)
	mux.HandleFunc("/files-pri/", w.serveDownload)
	mux.HandleFunc("/respond/", w.serveRespond)
	return mux
}
