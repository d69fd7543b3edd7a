package homeserver

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

type syncAnswer struct {
	NextBatch string `json:"next_batch"`
	ToDevice  struct {
		Events []struct{ Content struct{ Body string } }
	} `json:"to_device"`
	Rooms struct {
		Join map[string]struct {
			Timeline struct {
				Events []struct{ Content struct{ Body string } }
			}
		}
	}
}

// syncOnce makes one request for what is new.
func syncOnce(t *testing.T, base string, a Account, since string, wait time.Duration) syncAnswer {
	t.Helper()
	req, err := http.NewRequest("GET", fmt.Sprintf("%s/_matrix/client/v3/sync?timeout=%d&since=%s", base, wait.Milliseconds(), url.QueryEscape(since)), nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+a.AccessToken)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	res, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	var s syncAnswer
	if err := json.Unmarshal(text, &s); err != nil || res.StatusCode != 200 {
		t.Fatalf("sync: %d %v %s", res.StatusCode, err, text)
	}
	return s
}

// said are the texts an answer brings in rooms.
func (s syncAnswer) said() string {
	var said []string
	for _, room := range s.Rooms.Join {
		for _, e := range room.Timeline.Events {
			if e.Content.Body != "" {
				said = append(said, e.Content.Body)
			}
		}
	}
	return strings.Join(said, " ")
}

func (s syncAnswer) toDevice() string {
	var sent []string
	for _, e := range s.ToDevice.Events {
		sent = append(sent, e.Content.Body)
	}
	return strings.Join(sent, " ")
}

// settled is a position from which nothing is left of the room's making.
func settled(t *testing.T, base string, a Account) string {
	t.Helper()
	since := syncOnce(t, base, a, "", 0).NextBatch
	for {
		s := syncOnce(t, base, a, since, 100*time.Millisecond)
		if s.NextBatch == since {
			return since
		}
		since = s.NextBatch
	}
}

func TestRepeatSync(t *testing.T) {
	p, r := proxied(t)
	since := settled(t, p.URL(), r.a)
	p.RepeatSync(1)
	if s := syncOnce(t, p.URL(), r.a, since, 100*time.Millisecond); s.said() != "" {
		t.Fatalf("came %q before anything was said", s.said())
	}
	r.s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("1"), text("one"), nil)
	first := syncOnce(t, p.URL(), r.a, since, 5*time.Second)
	again := syncOnce(t, p.URL(), r.a, first.NextBatch, 5*time.Second)
	if first.said() != "one" || again.said() != "one" || again.NextBatch != first.NextBatch {
		t.Errorf("first %+v, again %+v", first, again)
	}
	r.s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("2"), text("two"), nil)
	next := syncOnce(t, p.URL(), r.a, again.NextBatch, 5*time.Second)
	if rest := syncOnce(t, p.URL(), r.a, next.NextBatch, 100*time.Millisecond); next.said() != "two" || rest.said() != "" {
		t.Errorf("then %+v, then %+v; want two once", next, rest)
	}
}

func (r room) sendToDevice(t *testing.T, txn, body string) {
	t.Helper()
	r.s.mustCall(t, r.a.AccessToken, "PUT", "/_matrix/client/v3/sendToDevice/test.key/"+txn, map[string]any{
		"messages": map[string]any{r.a.UserID: map[string]any{r.a.DeviceID: text(body)}}}, nil)
}

// TestHoldKeys: the room's event comes at once, the key later, in a request that
// would have waited longer; in order, and nothing gets lost.
func TestHoldKeys(t *testing.T) {
	p, r := proxied(t)
	since := settled(t, p.URL(), r.a)
	const hold = 1500 * time.Millisecond
	p.HoldKeys(hold)
	r.sendToDevice(t, "1", "key1")
	r.sendToDevice(t, "2", "key2")
	r.s.mustCall(t, r.a.AccessToken, "PUT", r.sendPath("1"), text("message"), nil)
	begun := time.Now()
	var said, keys string
	var saidAt, keysAt time.Duration
	for keys != "key1key2" && time.Since(begun) < 10*time.Second {
		s := syncOnce(t, p.URL(), r.a, since, 20*time.Second)
		since = s.NextBatch
		if s.said() != "" {
			said, saidAt = said+s.said(), time.Since(begun)
		}
		if s.toDevice() != "" {
			keys, keysAt = keys+strings.ReplaceAll(s.toDevice(), " ", ""), time.Since(begun)
		}
	}
	if said != "message" || keys != "key1key2" || saidAt >= keysAt || keysAt < hold-100*time.Millisecond {
		t.Errorf("%q after %v, %q after %v; held for %v", said, saidAt, keys, keysAt, hold)
	}

	p.HoldKeys(time.Hour)
	r.sendToDevice(t, "3", "key3")
	if s := syncOnce(t, p.URL(), r.a, since, 5*time.Second); s.toDevice() != "" {
		t.Errorf("%q was not held", s.toDevice())
	} else {
		since = s.NextBatch
	}
	p.HoldKeys(0)
	if s := syncOnce(t, p.URL(), r.a, since, 20*time.Second); s.toDevice() != "key3" {
		t.Errorf("released %q, want key3", s.toDevice())
	}
}
