package homeserver

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

const recorded = 64 << 10 // bytes of a request's body that are kept

// Proxy stands between a client and a server. Without rules it passes
// everything on unchanged. Its methods may be called from any goroutine, but
// for those that take the test.
type Proxy struct {
	target string
	gate   *gate

	mu    sync.Mutex
	rules []Rule
	seen  []Request
	syncs syncs
}

// NewProxy starts a proxy before a server. It ends with the test.
func NewProxy(t testing.TB, s *Server) *Proxy {
	t.Helper()
	p := &Proxy{target: s.URL(), syncs: newSyncs()}
	p.gate = &gate{addr: reservePort(t), handler: http.HandlerFunc(p.serve),
		transport: &http.Transport{DisableCompression: true}} // bodies of /sync are looked into
	t.Cleanup(p.Down)
	p.Up(t)
	return p
}

// URL is the base address for the client, the same after Down and Up.
func (p *Proxy) URL() string { return "http://" + p.gate.addr }

// Down refuses connections and closes those that are open, until Up.
func (p *Proxy) Down() { p.gate.close() }

// Up accepts connections again.
func (p *Proxy) Up(t testing.TB) {
	t.Helper()
	if err := p.gate.open(); err != nil {
		t.Fatalf("proxy: %v", err)
	}
}

// Rule adds a rule. The first rule with a fault for a request holds.
func (p *Proxy) Rule(r Rule) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rules = append(p.rules, r)
}

// Fail is Rule(Times(n, method, part, f)).
func (p *Proxy) Fail(n int, method, part string, f Fault) { p.Rule(Times(n, method, part, f)) }

// Clear forgets all rules.
func (p *Proxy) Clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rules = nil
}

// Requests are those seen so far, refused ones too, with this method ("": any)
// and part of the path.
func (p *Proxy) Requests(method, part string) []Request {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(p.seen), func(r Request) bool { return !r.is(method, part) })
}

// Count is the number of Requests.
func (p *Proxy) Count(method, part string) int { return len(p.Requests(method, part)) }

// RepeatSync has each of the next n answers of /sync that bring something (an
// event of a room or to the device) come twice: the request after it, from the
// same device, gets the same answer.
func (p *Proxy) RepeatSync(n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.syncs.repeat = n
}

// HoldKeys takes what is sent to the device itself, room keys above all, out of
// the answers of /sync, and puts it into one that comes that much later. From
// HoldKeys(0) on nothing is withheld, and what was held comes within a second.
func (p *Proxy) HoldKeys(d time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.syncs.setHold(d)
}

func (p *Proxy) serve(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		panic(http.ErrAbortHandler)
	}
	f := p.judge(r, body)
	if f.Delay > 0 {
		select {
		case <-time.After(f.Delay):
		case <-r.Context().Done():
			panic(http.ErrAbortHandler)
		}
	}
	switch {
	case f.Late > 0:
		later := r.Clone(context.WithoutCancel(r.Context()))
		time.AfterFunc(f.Late, func() { _, _ = p.forward(later, later.URL.RequestURI()+"late", body) })
		panic(http.ErrAbortHandler)
	case f.Cut:
		panic(http.ErrAbortHandler) // closes the connection, without a word in a log
	case f.Status != 0 && !f.Lose:
		f.answer(w)
		return
	}
	a, err := p.ask(r, body)
	if err != nil && r.Context().Err() == nil && !errors.Is(err, context.Canceled) {
		Fault{Status: http.StatusBadGateway}.answer(w) // the server itself is down
		return
	}
	if err != nil || f.Lose {
		panic(http.ErrAbortHandler)
	}
	a.write(w)
}

// judge records a request and asks the rules.
func (p *Proxy) judge(r *http.Request, body []byte) Fault {
	seen := Request{Method: r.Method, Path: r.URL.Path, Query: r.URL.Query(), Token: token(r),
		Body: bytes.Clone(body[:min(len(body), recorded)]), At: time.Now()}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen = append(p.seen, seen)
	for _, rule := range p.rules {
		if f := rule(seen); f != (Fault{}) {
			return f
		}
	}
	return Fault{}
}

func token(r *http.Request) string {
	_, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	return token
}

type answer struct {
	status int
	header http.Header
	body   []byte
}

func (a answer) write(w http.ResponseWriter) {
	for name, values := range a.header {
		w.Header()[name] = values
	}
	w.WriteHeader(a.status)
	_, _ = w.Write(a.body) // the client may be gone
}

// ask passes a request on, and looks into it if it is a /sync.
func (p *Proxy) ask(r *http.Request, body []byte) (answer, error) {
	if !strings.HasPrefix(r.URL.Path, "/_matrix/client/") || !strings.HasSuffix(r.URL.Path, "/sync") {
		return p.forward(r, r.URL.RequestURI(), body)
	}
	device := token(r)
	p.mu.Lock()
	again, is := p.syncs.again(device)
	target := p.syncs.shorten(device, r.URL, time.Now())
	p.mu.Unlock()
	if is {
		return again, nil
	}
	a, err := p.forward(r, target, body)
	if err != nil || a.status != http.StatusOK {
		return a, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.syncs.change(device, a, time.Now())
}

func (p *Proxy) forward(r *http.Request, target string, body []byte) (answer, error) {
	req, err := http.NewRequestWithContext(r.Context(), r.Method, p.target+target, bytes.NewReader(body))
	if err != nil {
		return answer{}, err
	}
	req.Header = r.Header.Clone()
	for _, name := range []string{"Accept-Encoding", "Connection"} {
		req.Header.Del(name)
	}
	res, err := p.gate.transport.RoundTrip(req)
	if err != nil {
		return answer{}, err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	for _, name := range []string{"Connection", "Content-Length", "Transfer-Encoding"} {
		res.Header.Del(name)
	}
	return answer{res.StatusCode, res.Header, text}, err
}
