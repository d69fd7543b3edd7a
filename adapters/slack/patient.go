package slack

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"
	"time"
)

// patient keeps every caller of a method away from Slack for as long as Slack
// asked one of them: who comes earlier gets the same answer from here. So that few
// are on the way meanwhile, a method is called by one at a time, and where people
// wait for the answer by several: what they asked for must not wait for what others
// did. Messages are paced by channel and pass.
type patient struct {
	next http.RoundTripper

	mu      sync.Mutex
	methods map[string]*gate
}

// gate is one method's.
type gate struct {
	turns chan struct{} // holds one for each that may go

	mu    sync.Mutex
	until time.Time
}

// atOnce is how many calls of a method may be on the way.
func atOnce(method string) int {
	switch {
	case method == "views.open": // a trigger is good for three seconds
		return maxBeside
	case method == "users.info", method == "chat.postEphemeral", strings.HasPrefix(method, "conversations."):
		return 8
	}
	return 1
}

// errNoTurn says that a call was not made: its time was over before its turn.
var errNoTurn = errors.New("too many calls before this one")

func newPatient(next http.RoundTripper) *patient {
	return &patient{next: next, methods: map[string]*gate{}}
}

func (p *patient) gate(method string) *gate {
	p.mu.Lock()
	defer p.mu.Unlock()
	g := p.methods[method]
	if g == nil {
		n := atOnce(method)
		g = &gate{turns: make(chan struct{}, n)}
		for range n {
			g.turns <- struct{}{}
		}
		p.methods[method] = g
	}
	return g
}

// left is how long nobody may call yet.
func (g *gate) left() time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	return time.Until(g.until)
}

// close lets nobody call for a while; it never shortens what was asked before.
func (g *gate) close(d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if t := time.Now().Add(d); t.After(g.until) {
		g.until = t
	}
}

// RoundTrip is of http.RoundTripper.
func (p *patient) RoundTrip(r *http.Request) (*http.Response, error) {
	method := path.Base(r.URL.Path)
	if method == "chat.postMessage" || !strings.Contains(method, ".") {
		res, err := p.next.RoundTrip(r)
		asked(res, err)
		return res, err
	}
	g := p.gate(method)
	select {
	case <-g.turns:
	case <-r.Context().Done():
		return nil, closed(r, fmt.Errorf("%w: %w", errNoTurn, r.Context().Err()))
	}
	defer func() { g.turns <- struct{}{} }()
	if left := g.left(); left > 0 {
		return &http.Response{Status: "429 Too Many Requests", StatusCode: http.StatusTooManyRequests, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Header: http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(left.Seconds())))}}, Body: http.NoBody, Request: r}, closed(r, nil)
	}
	res, err := p.next.RoundTrip(r)
	if d := asked(res, err); d > 0 {
		g.close(d)
	}
	return res, err
}

// maxAsked bounds how long Slack is left alone for one answer.
const maxAsked = 24 * time.Hour

// asked is how long Slack asks to be left alone, 0 if it does not. It is written into
// the answer in whole seconds: of anything else the library makes no refusal, but an
// error that says nothing of what became of the deed.
func asked(res *http.Response, err error) time.Duration {
	if err != nil || res.StatusCode != http.StatusTooManyRequests {
		return 0
	}
	d := min(max(retryAfter(res.Header.Get("Retry-After")), time.Second), maxAsked)
	seconds := int(math.Ceil(d.Seconds()))
	res.Header.Set("Retry-After", strconv.Itoa(seconds))
	return time.Duration(seconds) * time.Second
}

// retryAfter reads the header: Slack's is a number of seconds, HTTP's may be a time too
// (RFC 9110, 10.2.3). What is neither is a minute.
func retryAfter(s string) time.Duration {
	if n, err := strconv.ParseFloat(s, 64); err == nil && n >= 0 {
		return time.Duration(min(n, maxAsked.Seconds()) * float64(time.Second))
	}
	if at, err := http.ParseTime(s); err == nil {
		return time.Until(at)
	}
	return time.Minute
}

// closed closes the body of a request that is not made, as a transport must.
func closed(r *http.Request, err error) error {
	if r.Body == nil {
		return err
	}
	if bad := r.Body.Close(); err == nil {
		err = bad
	}
	return err
}
