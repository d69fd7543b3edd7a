package slack

import (
	"math"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"
	"time"
)

// patient keeps every caller of a method away from Slack for as long as Slack
// asked one of them: who comes earlier gets the same answer from here. So that
// nobody is on the way meanwhile, a method is called by one at a time. Messages
// are paced by channel and pass.
type patient struct {
	next http.RoundTripper

	mu      sync.Mutex
	methods map[string]*gate
}

// gate is one method's.
type gate struct {
	turn  chan struct{} // holds one while nobody is on the way
	until time.Time     // who has the turn may read and set it
}

func newPatient(next http.RoundTripper) *patient {
	return &patient{next: next, methods: map[string]*gate{}}
}

func (p *patient) gate(method string) *gate {
	p.mu.Lock()
	defer p.mu.Unlock()
	g := p.methods[method]
	if g == nil {
		g = &gate{turn: make(chan struct{}, 1)}
		g.turn <- struct{}{}
		p.methods[method] = g
	}
	return g
}

// RoundTrip is of http.RoundTripper.
func (p *patient) RoundTrip(r *http.Request) (*http.Response, error) {
	method := path.Base(r.URL.Path)
	if method == "chat.postMessage" || !strings.Contains(method, ".") {
		return p.next.RoundTrip(r)
	}
	g := p.gate(method)
	select {
	case <-g.turn:
	case <-r.Context().Done():
		return nil, closed(r, r.Context().Err())
	}
	defer func() { g.turn <- struct{}{} }()
	if left := time.Until(g.until); left > 0 {
		return &http.Response{Status: "429 Too Many Requests", StatusCode: http.StatusTooManyRequests, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Header: http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(left.Seconds())))}}, Body: http.NoBody, Request: r}, closed(r, nil)
	}
	res, err := p.next.RoundTrip(r)
	if err == nil && res.StatusCode == http.StatusTooManyRequests {
		seconds, bad := strconv.Atoi(res.Header.Get("Retry-After"))
		if bad != nil || seconds < 1 {
			seconds = 60
		}
		g.until = time.Now().Add(time.Duration(seconds) * time.Second)
	}
	return res, err
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
