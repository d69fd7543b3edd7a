package slack

import (
	"io"
	"math"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"
	"time"
)

// patient keeps every caller of a method away from Slack for as long as Slack
// asked one of them: who comes earlier gets the same answer from here. Messages
// are paced by channel and pass.
type patient struct {
	next http.RoundTripper

	mu    sync.Mutex
	until map[string]time.Time // by method
}

func newPatient(next http.RoundTripper) *patient {
	return &patient{next: next, until: map[string]time.Time{}}
}

// RoundTrip is of http.RoundTripper.
func (p *patient) RoundTrip(r *http.Request) (*http.Response, error) {
	method := path.Base(r.URL.Path)
	if method == "chat.postMessage" || !strings.Contains(method, ".") {
		return p.next.RoundTrip(r)
	}
	p.mu.Lock()
	left := time.Until(p.until[method])
	p.mu.Unlock()
	if left > 0 {
		if r.Body != nil {
			if err := r.Body.Close(); err != nil {
				return nil, err
			}
		}
		return &http.Response{Status: "429 Too Many Requests", StatusCode: http.StatusTooManyRequests, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Header: http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(left.Seconds())))}}, Body: io.NopCloser(strings.NewReader("")), Request: r}, nil
	}
	res, err := p.next.RoundTrip(r)
	if err == nil && res.StatusCode == http.StatusTooManyRequests {
		seconds, bad := strconv.Atoi(res.Header.Get("Retry-After"))
		if bad != nil || seconds < 1 {
			seconds = 60
		}
		p.mu.Lock()
		p.until[method] = time.Now().Add(time.Duration(seconds) * time.Second)
		p.mu.Unlock()
	}
	return res, err
}
