package homeserver

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Request is what a client asked through a proxy.
type Request struct {
	Method string
	Path   string // decoded, without query: /_matrix/client/v3/rooms/…/send/m.room.message/TXN
	Query  url.Values
	Token  string // access token, "" without
	Body   []byte // the first 64 KiB
	At     time.Time
}

// Fault is what goes wrong with one request; the zero value lets it pass. Delay
// goes with any of the others, of which the first that is set holds.
type Fault struct {
	Delay time.Duration // before anything else happens

	// Cut closes the connection before the server hears of the request, Lose
	// after the server has done what it was asked. net/http repeats a GET by
	// itself when that happens on a connection used before, a PUT or POST never.
	Cut, Lose bool

	// Late closes the connection at once, and the server does what it was asked
	// only this much later, having forgotten the transaction: so does one whose
	// queue goes on with what a caller has given up. For sent events only.
	Late time.Duration

	// Status is answered in the server's place: 502, 503 and 504 with a page of
	// HTML, as gateways do, others with JSON and Code.
	Status     int
	Code       string        // errcode; "": M_LIMIT_EXCEEDED for 429, else M_UNKNOWN
	Soft       bool          // soft_logout: a refused token is of a device that is kept
	RetryAfter time.Duration // header in whole seconds, rounded up, and retry_after_ms in JSON; 0: neither
}

// Rule says what goes wrong with a request. Rules are asked one at a time, so
// they may count without a lock of their own; they must not call the proxy.
type Rule func(Request) Fault

// Times is a rule for the next n requests with this method ("": any) whose path
// contains part.
func Times(n int, method, part string, f Fault) Rule {
	return func(r Request) Fault {
		if n <= 0 || !r.is(method, part) {
			return Fault{}
		}
		n--
		return f
	}
}

func (r Request) is(method, part string) bool {
	return (method == "" || r.Method == method) && strings.Contains(r.Path, part)
}

// answer writes the refusal a fault stands for.
func (f Fault) answer(w http.ResponseWriter) {
	if f.RetryAfter > 0 {
		seconds := (f.RetryAfter + time.Second - 1) / time.Second
		w.Header().Set("Retry-After", strconv.Itoa(int(seconds)))
	}
	if f.Status >= http.StatusBadGateway && f.Status <= http.StatusGatewayTimeout && f.Code == "" {
		w.Header().Set("Content-Type", "text/html")
		w.WriteHeader(f.Status)
		fmt.Fprintf(w, "<html><body><h1>%d %s</h1></body></html>\n", f.Status, http.StatusText(f.Status))
		return
	}
	body := map[string]any{"errcode": f.Code, "error": "refused by the test's proxy"}
	if f.Code == "" {
		body["errcode"] = "M_UNKNOWN"
		if f.Status == http.StatusTooManyRequests {
			body["errcode"] = "M_LIMIT_EXCEEDED"
		}
	}
	if f.Soft {
		body["soft_logout"] = true
	}
	if f.RetryAfter > 0 {
		body["retry_after_ms"] = f.RetryAfter.Milliseconds()
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(f.Status)
	_ = json.NewEncoder(w).Encode(body) // the client may be gone
}
