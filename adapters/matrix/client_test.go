package matrix

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
	"maunium.net/go/mautrix"

	"milepost/bot"
)

var notFound = &http.Response{StatusCode: http.StatusNotFound, Header: http.Header{}}

func TestNewRefuses(t *testing.T) {
	good := Config{Homeserver: "https://shop.example", User: "@milepost:shop.example", AccessToken: "x", Dir: "x"}
	for _, c := range []struct {
		name   string
		change func(*Config)
	}{
		{"no encryption on the line", func(c *Config) { c.Homeserver = "http://shop.example" }},
		{"no address", func(c *Config) { c.Homeserver = "shop.example" }},
		{"no user", func(c *Config) { c.User = "milepost" }},
		{"no token", func(c *Config) { c.AccessToken = "" }},
		{"no directory", func(c *Config) { c.Dir = "" }},
		{"no pickle key", func(c *Config) { c.Encryption = true }},
	} {
		cfg := good
		c.change(&cfg)
		var e *bot.Error
		if _, err := New(cfg); !errors.As(err, &e) || e.Kind != bot.Invalid {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if _, err := New(good); err != nil {
		t.Error(err)
	}
}

func answer(code int, header string, extra map[string]any) error {
	h := http.Header{}
	if header != "" {
		h.Set("Retry-After", header)
	}
	return fmt.Errorf("x: %w", mautrix.HTTPError{Response: &http.Response{StatusCode: code, Header: h}, RespError: &mautrix.RespError{ExtraData: extra}})
}

func TestTransient(t *testing.T) {
	for _, c := range []struct {
		err  error
		want bool
	}{
		{nil, false},
		{context.Canceled, false},
		{mautrix.HTTPError{WrappedError: errors.New("refused")}, true},
		{answer(500, "", nil), true}, {answer(502, "", nil), true}, {answer(429, "", nil), true}, {answer(408, "", nil), true},
		{answer(403, "", nil), false}, {answer(404, "", nil), false}, {answer(400, "", nil), false},
		{&bot.Error{Kind: bot.Unavailable}, true}, {&bot.Error{Kind: bot.Internal}, false}, {&bot.Error{Kind: bot.Conflict}, false},
	} {
		if got := transient(c.err); got != c.want {
			t.Errorf("%v: %t", c.err, got)
		}
	}
}

func TestRetryAfter(t *testing.T) {
	for _, c := range []struct {
		err  error
		want time.Duration
	}{
		{answer(429, "3", nil), 3 * time.Second},
		{answer(429, "", map[string]any{"retry_after_ms": 1500.0}), 1500 * time.Millisecond},
		{answer(429, "2", map[string]any{"retry_after_ms": 9000.0}), 2 * time.Second},
		{answer(429, "-5", nil), 0},
		{answer(429, "soon", nil), 0},
		{answer(429, "99999999", nil), retryAtMost},
		{answer(429, "", map[string]any{"retry_after_ms": "x"}), 0},
		{answer(429, "Mon, 01 Jan 2001 00:00:00 GMT", nil), 0},
		{errors.New("x"), 0},
	} {
		if got := retryAfter(c.err); got != c.want {
			t.Errorf("%v: %v, want %v", c.err, got, c.want)
		}
	}
}

func TestBackoffGrows(t *testing.T) {
	var b backoff
	for i := range 100 {
		d := b.next(nil)
		most := min(firstWait<<min(i, 10), longestWait)
		if d < most/2 || d > most {
			t.Fatalf("try %d waits %v, want within half of %v", i, d, most)
		}
	}
}

// The library's lines go on without what people wrote.
func TestLogBridge(t *testing.T) {
	var out bytes.Buffer
	log := zerolog.New(logBridge{slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	log.Warn().Str("room_id", "!r:x").Str("url", "http://x/secret").Str("req_body", "secret").Str("body", "secret").Err(errors.New("broken")).Msg("odd")
	log.Debug().Interface("content", map[string]string{"body": "secret"}).Int("status_code", 200).Msg("Request completed")
	log.Warn().Msg("Didn't find olm session to encrypt group session")
	got := out.String()
	if strings.Count(got, "level=WARN") != 1 || strings.Count(got, "level=DEBUG") != 2 {
		t.Errorf("log:\n%s", got)
	}
	if strings.Contains(got, "secret") || !strings.Contains(got, "!r:x") || !strings.Contains(got, "broken") || !strings.Contains(got, "level=WARN") || !strings.Contains(got, "status_code=200") {
		t.Errorf("log:\n%s", got)
	}
}

func TestBriefError(t *testing.T) {
	line := &url.Error{Op: "Get", URL: "http://shop.example/_matrix/long", Err: errors.New("refused")}
	err := brief(fmt.Errorf("join: %w", mautrix.HTTPError{Message: "request error", WrappedError: line}))
	if err.Error() != "join: request error: refused" || !transient(err) || !errors.Is(err, line) {
		t.Errorf("got %v", err)
	}
	if err := brief(context.Canceled); err != context.Canceled {
		t.Errorf("got %v", err)
	}
}
