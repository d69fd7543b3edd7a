package slack

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// endsForGood waits until the adapter has given up and says so.
func (r *rig) endsForGood(code string) {
	r.t.Helper()
	r.await("unready", func() bool {
		err := r.Ready()
		return err != nil && strings.Contains(err.Error(), "for good") && strings.Contains(err.Error(), code)
	})
	r.await("the end", func() bool { return r.runs.Load() == 0 })
	err := r.stop()
	r.stop = nil
	if k, _ := kindOf(err); k != bot.Forbidden {
		r.t.Errorf("Run: %v", err)
	}
}

// The bot token may be revoked while everything else goes on: the next call shows it.
func TestBotTokenRevoked(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		t.Parallel()
		r := listen(t, http, workspace.Options{})
		thread, _ := r.begins("kim")
		r.card(thread, "k7mw2pd")
		r.w.RevokeBotToken("token_revoked")
		out := bot.Outbound{Key: "k7mw2pd/9", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 9, Reply: flow.Reply{Kind: flow.Notice, Text: "hello"}}
		if err := r.Send(t.Context(), out); err == nil {
			t.Error("it is sent")
		}
		r.endsForGood("token_revoked")
		r.w.RevokeBotToken("")
		r.start()
		if err := r.Send(t.Context(), out); err != nil {
			t.Errorf("mended: %v", err)
		}
	})
}

// Slack tells of it by an event as well: over HTTP nothing else need happen.
func TestRevokedTold(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	r.settled()
	r.w.RevokeToken("account_inactive")
	r.endsForGood("account_inactive")
}

// The event may be of the tokens of people: then all goes on.
func TestOthersRevoked(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		n := len(r.w.Calls("auth.test"))
		r.w.Emit(map[string]any{"type": "tokens_revoked", "tokens": map[string]any{"oauth": []any{r.w.User("kim").ID()}, "bot": []any{}}})
		r.await("asked", func() bool { return len(r.w.Calls("auth.test")) > n })
		r.hearsOf("still here")
		if err := r.Ready(); err != nil {
			t.Error(err)
		}
	})
}

// One refusal that Slack does not stand by ends nothing.
func TestRefusedOnce(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	n := len(r.w.Calls("auth.test"))
	r.w.Fault(workspace.Fault{Method: "chat.postMessage", Error: "invalid_auth"})
	out := bot.Outbound{Key: "k7mw2pd/9", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 9, Reply: flow.Reply{Kind: flow.Notice, Text: "hello"}}
	if err := r.Send(t.Context(), out); err == nil {
		t.Error("it is sent")
	}
	r.await("asked", func() bool { return len(r.w.Calls("auth.test")) > n })
	if err := r.Send(t.Context(), out); err != nil {
		t.Error(err)
	}
	r.hearsOf("still here")
}

// tripper answers with a body.
type tripper struct{ body io.ReadCloser }

func (b tripper) RoundTrip(r *http.Request) (*http.Response, error) {
	return &http.Response{StatusCode: http.StatusOK, Body: b.body, Request: r}, nil
}

// What is looked at is handed on as it is, long or broken off.
func TestWitness(t *testing.T) {
	errCut := errors.New("cut")
	long := `{"ok":true,"text":"` + strings.Repeat("x", 3*maxRefusal) + `"}`
	for _, c := range []struct {
		path, body string
		err        error
		told       int
	}{
		{"/api/chat.postMessage", `{"ok": false, "error": "token_revoked"}`, nil, 1},
		{"/api/chat.postMessage", `{"ok":true,"error":"token_revoked"}`, nil, 0},
		{"/api/chat.postMessage", `{"ok":false,"error":"not_in_channel"}`, nil, 0},
		{"/api/auth.test", `{"ok":false,"error":"token_revoked"}`, nil, 0},
		{"/api/apps.connections.open", `{"ok":false,"error":"invalid_auth"}`, nil, 0},
		{"/upload/1", `{"ok":false,"error":"invalid_auth"}`, nil, 0},
		{"/api/conversations.history", long, nil, 0},
		{"/api/conversations.history", long, errCut, 0},
		{"/api/conversations.history", `{"ok":false,"error":"token_rev`, errCut, 0},
		{"/api/conversations.history", "", nil, 0},
	} {
		told := 0
		var rest io.Reader = strings.NewReader("")
		if c.err != nil {
			rest = broken{c.err}
		}
		w := &witness{next: tripper{io.NopCloser(io.MultiReader(strings.NewReader(c.body), rest))}, tell: func() { told++ }}
		req, err := http.NewRequestWithContext(context.Background(), http.MethodPost, "https://slack.invalid"+c.path, nil)
		if err != nil {
			t.Fatal(err)
		}
		res, err := w.RoundTrip(req)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(res.Body)
		if string(got) != c.body || !errors.Is(err, c.err) || told != c.told {
			t.Errorf("%s %.40s: %d bytes, %v, told %d", c.path, c.body, len(got), err, told)
		}
		if err := res.Body.Close(); err != nil {
			t.Error(err)
		}
	}
}
