package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rs/zerolog"
	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Times and sizes of requests. The server holds a sync for pollFor, so every
// limit on an answer is above that.
const (
	pollFor     = 30 * time.Second
	pollLimit   = 75 * time.Second
	headLimit   = 2 * time.Minute
	callLimit   = 5 * time.Minute // a file of 64 MiB over a slow line
	maxResponse = 64 << 20

	firstWait   = 500 * time.Millisecond
	longestWait = 15 * time.Second
	retryAtMost = 10 * time.Minute // whatever the server asks for
)

// newClient sets up requests. It repeats none by itself: whoever asks knows what
// may be repeated, and when.
func newClient(cfg Config) (*mautrix.Client, error) {
	c, err := mautrix.NewClient(cfg.Homeserver, id.UserID(cfg.User), cfg.AccessToken)
	if err != nil {
		return nil, fmt.Errorf("set up client: %w", err)
	}
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost, t.MaxConnsPerHost, t.ResponseHeaderTimeout = 16, 64, headLimit
	c.Client = &http.Client{Transport: t, Timeout: callLimit}
	c.UserAgent = "Milepost/" + cfg.Program
	c.ResponseSizeLimit = maxResponse
	c.Log = zerolog.New(logBridge{cfg.Log}).Level(bridgeLevel(cfg.Log))
	return c, nil
}

// transient says whether the same request may do better later.
func transient(err error) bool {
	var he mautrix.HTTPError
	switch {
	case err == nil, errors.Is(err, context.Canceled):
		return false
	case !errors.As(err, &he):
		var e *bot.Error
		return !errors.As(err, &e) || e.Kind == bot.Unavailable
	case he.Response == nil:
		return true // no answer
	}
	code := he.Response.StatusCode
	return code >= 500 || code == http.StatusTooManyRequests || code == http.StatusRequestTimeout || code < 300
}

// final says whether the server has said no for good. A token it does not take
// is another matter: that ends the sync, and then nothing was decided.
func final(err error) bool {
	return err != nil && !transient(err) && !errors.Is(err, context.Canceled) && status(err) != http.StatusUnauthorized
}

// status gives the HTTP status of a refusal, 0 where there was no answer.
func status(err error) int {
	var he mautrix.HTTPError
	if errors.As(err, &he) && he.Response != nil {
		return he.Response.StatusCode
	}
	return 0
}

// retryAfter gives how long the server wants to be left alone, 0 if it did not
// say: by the header, in seconds or by date, or by the body of older servers.
func retryAfter(err error) time.Duration {
	var he mautrix.HTTPError
	if !errors.As(err, &he) || he.Response == nil {
		return 0
	}
	var d time.Duration
	if h := he.Response.Header.Get("Retry-After"); h != "" {
		if s, err := strconv.ParseInt(h, 10, 32); err == nil {
			d = time.Duration(s) * time.Second
		} else if t, err := http.ParseTime(h); err == nil {
			d = time.Until(t)
		}
	} else if he.RespError != nil {
		if ms, ok := he.RespError.ExtraData["retry_after_ms"].(float64); ok && ms > 0 && ms < 1e9 {
			d = time.Duration(ms) * time.Millisecond
		}
	}
	return min(max(d, 0), retryAtMost)
}

// backoff is the wait between tries: it grows, and half of it is chance, so
// that not all come back at once.
type backoff struct{ tries int }

func (b *backoff) next(err error) time.Duration {
	d := min(firstWait<<min(b.tries, 10), longestWait)
	b.tries++
	return max(d/2+rand.N(d/2), retryAfter(err))
}

// brief leaves the address out of an error of the line: it is long, and known.
func brief(err error) error {
	var u *url.Error
	if !errors.As(err, &u) {
		return err
	}
	return &briefly{strings.Replace(err.Error(), u.Error(), u.Err.Error(), 1), err}
}

type briefly struct {
	what string
	err  error
}

func (b *briefly) Error() string { return b.what }
func (b *briefly) Unwrap() error { return b.err }

// sleep waits, or gives the context's error.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// logBridge takes the library's log lines to ours. Of a line's fields only those
// listed go on: others may hold what people wrote.
type logBridge struct{ log *slog.Logger }

var bridged = []string{"method", "status_code", "duration", "room_id", "event_id", "session_id", "device_id", "user_id", "sender", "retry_in_seconds", "error"}

// usual are warnings that are none: of requests whoever asked says so, and to a
// device that nothing was sent to yet a way is made at once.
var usual = []string{"Request canceled", "Request failed", "Didn't find olm session to encrypt group session"}

const maxLogged = 300

func (b logBridge) Write(p []byte) (int, error) { return b.WriteLevel(zerolog.DebugLevel, p) }

func (b logBridge) WriteLevel(l zerolog.Level, p []byte) (int, error) {
	var line map[string]any
	if json.Unmarshal(p, &line) != nil {
		return len(p), nil
	}
	level := slog.LevelDebug
	if said, _ := line["message"].(string); l >= zerolog.WarnLevel && !slices.Contains(usual, said) {
		level = slog.LevelWarn
	}
	var args []any
	for _, k := range bridged {
		if v, ok := line[k]; ok {
			if s, ok := v.(string); ok && len(s) > maxLogged {
				v = s[:maxLogged]
			}
			args = append(args, k, v)
		}
	}
	b.log.Log(context.Background(), level, fmt.Sprintf("matrix library: %.100v", line["message"]), args...)
	return len(p), nil
}

// bridgeLevel keeps the library from writing lines that would go nowhere.
func bridgeLevel(log *slog.Logger) zerolog.Level {
	if log.Enabled(context.Background(), slog.LevelDebug) {
		return zerolog.DebugLevel
	}
	return zerolog.WarnLevel
}
