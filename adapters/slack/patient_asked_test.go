package slack

import (
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	api "github.com/slack-go/slack"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// However Slack asks to be left alone, it is a refusal that says for how long.
func TestAsked(t *testing.T) {
	soon := time.Now().Add(5 * time.Minute).UTC().Format(http.TimeFormat)
	for _, c := range []struct {
		after     string
		from, til time.Duration
	}{
		{"7", 7 * time.Second, 7 * time.Second},
		{"1.5", 2 * time.Second, 2 * time.Second},
		{soon, 2 * time.Minute, 5 * time.Minute},
		{"Wed, 21 Oct 2015 07:28:00 GMT", time.Second, time.Second},
		{"", time.Minute, time.Minute},
		{"0", time.Second, time.Second},
		{"-3", time.Minute, time.Minute},
		{"soon", time.Minute, time.Minute},
		{"NaN", time.Minute, time.Minute},
		{"1e300", maxAsked, maxAsked},
		{"99999999999999999999", maxAsked, maxAsked},
	} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			if c.after != "" {
				w.Header().Set("Retry-After", c.after)
			}
			w.WriteHeader(http.StatusTooManyRequests)
			_, _ = io.WriteString(w, `{"ok":false,"error":"ratelimited"}`)
		}))
		base := &http.Transport{}
		client := newClient(Config{BotToken: "xoxb-1", APIURL: server.URL + "/api/"}, api.OptionHTTPClient(&http.Client{Transport: newPatient(base)}))
		_, _, err := client.PostMessage("C1")
		if fateOf(err) != undone || wait(err) < c.from || wait(err) > c.til {
			t.Errorf("Retry-After %q: message: fate %v, wait %v: %v", c.after, fateOf(err), wait(err), err)
		}
		for range 2 { // the second is kept away
			_, err = client.AuthTest()
			if fateOf(err) != undone || wait(err) < c.from/2 || wait(err) > c.til {
				t.Errorf("Retry-After %q: another: fate %v, wait %v: %v", c.after, fateOf(err), wait(err), err)
			}
		}
		base.CloseIdleConnections()
		server.Close()
	}
}

// chat.postMessage has a code of its own for it: the channel is left alone as well.
func TestRateLimitedCode(t *testing.T) {
	for _, code := range []string{"ratelimited", "rate_limited"} {
		w := workspace.New(t, workspace.Options{NoRateLimit: true})
		cfg := speakConfig(t, w)
		cfg.Every = -1
		s := speakWith(t, w, cfg)
		th, _ := s.opened(t)
		w.Fault(workspace.Fault{Method: "chat.postMessage", Error: code})
		out := s.out("k7mw2pd/2", th, flow.Notice, "hello")
		err := s.Send(t.Context(), out)
		var later *laterError
		if !errors.As(err, &later) || later.RetryAfter() < time.Second || refusedFor(err) {
			t.Errorf("%s: %v", code, err)
		}
		_, channel, _ := splitThread(out.Thread)
		if s.paces.of(channel).tryEnter("other") {
			t.Errorf("%s: the channel is not left alone", code)
		}
	}
}
