package slack

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
)

// A token may be revoked, or the app taken out of the workspace, while we run. Slack
// tells that by an event, but over a connection that may end with it; and any call is
// then answered so. What Slack says of itself, asked once more, decides.

// witness looks at the answers of the Web API for those after which no call can do
// anything any more.
type witness struct {
	next http.RoundTripper
	tell func()
}

// maxRefusal bounds an answer that is looked at: a refusal is short.
const maxRefusal = 2 << 10

// RoundTrip is of http.RoundTripper.
func (w *witness) RoundTrip(r *http.Request) (*http.Response, error) {
	res, err := w.next.RoundTrip(r)
	method := path.Base(r.URL.Path)
	// The first is of the other token, and the second is how it is asked.
	if err != nil || res.StatusCode != http.StatusOK || !strings.Contains(method, ".") || method == "apps.connections.open" || method == "auth.test" {
		return res, err
	}
	head, bad := io.ReadAll(io.LimitReader(res.Body, maxRefusal))
	rest := io.Reader(res.Body)
	if bad != nil {
		rest = broken{bad}
	}
	res.Body = struct {
		io.Reader
		io.Closer
	}{io.MultiReader(bytes.NewReader(head), rest), res.Body}
	var a struct {
		OK    bool   `json:"ok"`
		Error string `json:"error"`
	}
	if json.Unmarshal(head, &a) == nil && !a.OK && slices.Contains(grave, a.Error) {
		w.tell()
	}
	return res, nil
}

// broken is the rest of an answer that broke off.
type broken struct{ err error }

func (b broken) Read([]byte) (int, error) { return 0, b.err }

// doubt has it asked whether Slack still takes us.
func (s *Slack) doubt() {
	select {
	case s.doubts <- struct{}{}:
	default:
	}
}

// trust asks whenever that is in doubt, and calls refused when it is for good.
func (s *Slack) trust(ctx context.Context, refused func(error)) {
	for {
		select {
		case <-s.doubts:
		case <-ctx.Done():
			return
		}
		err := s.patiently(ctx, "auth.test", url.Values{}, &struct{}{})
		if is(err, grave) {
			err = graveError(err)
			s.unready(err)
			refused(err)
			return
		}
		if !sleep(ctx, s.times.between) {
			return
		}
	}
}
