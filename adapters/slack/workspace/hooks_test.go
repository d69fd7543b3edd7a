package workspace_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// hook is an app that listens. It checks signatures its own way.
type hook struct {
	mu     sync.Mutex
	got    []hooked
	answer func(hooked) (int, string, http.Header)
	secret string
}

type hooked struct {
	path, body       string
	signed           bool
	retry, why, kind string
	payload          map[string]any
}

func (h *hook) ServeHTTP(rw http.ResponseWriter, r *http.Request) {
	b, _ := io.ReadAll(r.Body)
	mac := hmac.New(sha256.New, []byte(h.secret))
	mac.Write([]byte("v0:" + r.Header.Get("X-Slack-Request-Timestamp") + ":" + string(b)))
	x := hooked{path: r.URL.Path, body: string(b), retry: r.Header.Get("X-Slack-Retry-Num"), why: r.Header.Get("X-Slack-Retry-Reason"),
		signed: r.Header.Get("X-Slack-Signature") == "v0="+hex.EncodeToString(mac.Sum(nil)), kind: r.Header.Get("Content-Type")}
	if x.kind == "application/json" {
		json.Unmarshal(b, &x.payload)
	} else if form, err := url.ParseQuery(string(b)); err == nil {
		json.Unmarshal([]byte(form.Get("payload")), &x.payload)
	}
	if c, ok := x.payload["challenge"].(string); ok {
		io.WriteString(rw, c)
		return
	}
	h.mu.Lock()
	h.got = append(h.got, x)
	answer := h.answer
	h.mu.Unlock()
	if answer == nil {
		return
	}
	status, words, header := answer(x)
	for k, v := range header {
		rw.Header()[k] = v
	}
	rw.WriteHeader(status)
	io.WriteString(rw, words)
}

func (h *hook) list() []hooked {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]hooked(nil), h.got...)
}

func newHook(t *testing.T, o workspace.Options) (*app, *hook, string) {
	t.Helper()
	a := newApp(t, o)
	h := &hook{secret: a.w.SigningSecret()}
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	if err := a.w.UseHTTP(s.URL+"/events", s.URL+"/actions", s.URL+"/commands"); err != nil {
		t.Fatal(err)
	}
	return a, h, s.URL
}

func TestHTTPDelivery(t *testing.T) {
	a, h, _ := newHook(t, workspace.Options{})
	a.w.User("kim").Say("shop", "@milepost hello")
	if !a.w.Settle(workspace.Patience) {
		t.Fatal("not settled")
	}
	got := h.list()
	if len(got) != 2 || got[0].path != "/events" || !got[0].signed || got[0].retry != "" || got[0].payload["type"] != "event_callback" {
		t.Fatalf("requests %+v", got)
	}
	ts := a.post("shop", "", "Ready?", map[string]string{"blocks": button})
	if ans := a.w.User("kim").Press("shop", ts, "Go on"); ans.Err != "" {
		t.Errorf("press %+v", ans)
	}
	h.mu.Lock()
	h.answer = func(x hooked) (int, string, http.Header) {
		if x.path == "/commands" {
			return 200, `{"text":"three jobs"}`, nil
		}
		return 200, "", nil
	}
	h.mu.Unlock()
	if ans := a.w.User("kim").Command("shop", "/milepost", "status of @sam & co"); ans.Err != "" {
		t.Errorf("command %+v", ans)
	}
	got = h.list()
	press, command := got[len(got)-2], got[len(got)-1]
	if press.path != "/actions" || !press.signed || press.payload["type"] != "block_actions" {
		t.Errorf("press %+v", press)
	}
	form, _ := url.ParseQuery(command.body)
	if !command.signed || form.Get("command") != "/milepost" || form.Get("text") != "status of <@U0SAM|sam> &amp; co" || form.Get("thread_ts") != "" {
		t.Errorf("command %v", form)
	}
	if e := a.w.Ephemerals("kim"); len(e) != 1 || e[0].Text != "three jobs" {
		t.Errorf("answer to the command %+v", e)
	}
	a.refused(a.callWith(a.w.AppToken(), "apps.connections.open", nil), "socket_mode_not_enabled")
}

func TestHTTPRetries(t *testing.T) {
	a, h, _ := newHook(t, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond, 20 * time.Millisecond}, AckTimeout: 250 * time.Millisecond})
	h.answer = func(x hooked) (int, string, http.Header) {
		switch x.retry {
		case "":
			return 500, "", nil
		case "1":
			time.Sleep(300 * time.Millisecond)
		}
		return 200, "", nil
	}
	a.w.User("kim").Say("shop", "hello")
	if !a.w.Settle(workspace.Patience) {
		t.Fatal("not settled")
	}
	got := h.list()
	if len(got) != 3 || got[1].why != "http_error" || got[2].why != "http_timeout" || got[0].payload["event_id"] != got[2].payload["event_id"] {
		t.Fatalf("requests %+v", got)
	}
	a.forgive("not acknowledged within", 1)

	h.mu.Lock()
	h.answer = func(hooked) (int, string, http.Header) { return 503, "", http.Header{"X-Slack-No-Retry": {"1"}} }
	h.mu.Unlock()
	a.w.User("kim").Say("shop", "refused for good")
	a.w.Settle(workspace.Patience)
	if n := len(h.list()); n != 4 || len(a.w.LostDeliveries()) != 1 {
		t.Errorf("%d requests, lost %+v", n, a.w.LostDeliveries())
	}

	h.mu.Lock()
	h.answer = func(hooked) (int, string, http.Header) { return 200, "thanks", nil }
	h.mu.Unlock()
	a.w.User("kim").Say("shop", "answered with words")
	a.w.Settle(workspace.Patience)
	a.forgive("answered with a body", 1)
	h.mu.Lock()
	h.answer = nil
	h.mu.Unlock()
	a.w.LoseAcks(1)
	a.w.User("kim").Say("shop", "its answer goes astray")
	a.w.Settle(workspace.Patience)
	if got := h.list(); len(got) != 7 || got[6].retry != "1" {
		t.Errorf("%d requests", len(got))
	}
}

func TestHTTPTooLate(t *testing.T) {
	w := workspace.New(t, workspace.Options{})
	s := httptest.NewServer(http.NotFoundHandler())
	defer s.Close()
	if err := w.UseHTTP(s.URL, s.URL, s.URL); err == nil || !strings.Contains(err.Error(), "url_verification") {
		t.Errorf("challenge not answered: %v", err)
	}
}

func TestForgedAndReplayed(t *testing.T) {
	a, h, base := newHook(t, workspace.Options{})
	a.w.User("kim").Say("shop", "hello")
	a.w.Settle(workspace.Patience)
	for _, c := range []struct {
		name   string
		f      workspace.Forgery
		signed bool
	}{
		{"like Slack's", workspace.Forgery{}, true},
		{"wrong secret", workspace.Forgery{Secret: "other"}, false},
		{"altered", workspace.Forgery{Alter: true}, false},
		{"no headers", workspace.Forgery{NoHeaders: true}, false},
		{"old, well signed", workspace.Forgery{Age: time.Hour}, true},
	} {
		c.f.URL = base + "/events"
		if status, _, err := a.w.Forge(c.f); err != nil || status != 200 {
			t.Errorf("%s: %d %v", c.name, status, err)
		}
		got := h.list()
		if x := got[len(got)-1]; x.signed != c.signed {
			t.Errorf("%s: signed %v", c.name, x.signed)
		}
	}
	if _, _, err := a.w.Replay(); err != nil {
		t.Error(err)
	}
	got := h.list()
	if x := got[len(got)-1]; x.body != got[0].body || !x.signed {
		t.Errorf("replay %+v", x)
	}
	if status, _, err := a.w.Forge(workspace.Forgery{URL: base + "/events", Method: http.MethodGet}); err != nil || status != 200 {
		t.Errorf("GET: %d %v", status, err)
	}
}
