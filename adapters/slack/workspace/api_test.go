package workspace_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

func TestTokens(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.fine(a.call("auth.test", nil))
	a.refused(a.callWith("", "auth.test", nil), "not_authed")
	a.refused(a.callWith("xoxb-wrong", "auth.test", nil), "invalid_auth")
	a.refused(a.callWith(a.w.AppToken(), "chat.postMessage", nil), "not_allowed_token_type")
	a.refused(a.callWith(a.w.BotToken(), "apps.connections.open", nil), "not_allowed_token_type")
	a.forgive("not_authed", 1)
	a.forgive("not_allowed_token_type", 2)
	a.w.RevokeToken("token_revoked")
	a.refused(a.call("auth.test", nil), "token_revoked")
	a.refused(a.callWith(a.w.AppToken(), "apps.connections.open", nil), "token_revoked")
	a.w.RevokeToken("")
	a.fine(a.call("auth.test", nil))

	res, err := http.Get(a.w.APIURL() + "auth.test?token=" + a.w.BotToken())
	if err != nil {
		t.Fatal(err)
	}
	a.refused(decode(t, res), "invalid_auth")
	a.forgive("token in the URL", 1)
}

func TestScopes(t *testing.T) {
	a := newApp(t, workspace.Options{})
	r := a.fine(a.call("auth.test", nil))
	if got := r["header"].(http.Header).Get("X-OAuth-Scopes"); got != strings.Join(workspace.DefaultScopes(), ",") {
		t.Errorf("X-OAuth-Scopes %q", got)
	}
	a.w.DropScope("chat:write")
	r = a.call("chat.postMessage", a.message("shop", "", "hello", nil))
	a.refused(r, "missing_scope")
	if r["needed"] != "chat:write" || !strings.Contains(r["provided"].(string), "files:read") {
		t.Errorf("needed %v, provided %v", r["needed"], r["provided"])
	}
	a.w.GrantScope("chat:write")
	a.post("shop", "", "hello", nil)

	a.w.DropScope("groups:history")
	a.refused(a.call("conversations.history", map[string]string{"channel": a.w.Channel("bay")}), "missing_scope")
	a.fine(a.call("conversations.history", map[string]string{"channel": a.w.Channel("shop")}))
	a.refused(a.call("pins.add", map[string]string{"channel": a.w.Channel("shop"), "timestamp": "1.000000"}), "missing_scope")
	a.refused(a.call("chat.postMessage", a.message("shop", "", "hello", map[string]string{"username": "Somebody"})), "missing_scope")
}

func TestBodies(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.fine(a.json("chat.postMessage", map[string]any{"channel": a.w.Channel("shop"), "text": "by JSON", "unfurl_links": false, "unfurl_media": false}))

	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for k, v := range a.message("shop", "", "by multipart", nil) {
		m.WriteField(k, v)
	}
	m.WriteField("token", a.w.BotToken())
	m.Close()
	res, err := http.Post(a.w.APIURL()+"chat.postMessage", m.FormDataContentType(), &b)
	if err != nil {
		t.Fatal(err)
	}
	a.fine(decode(t, res))
	if got := a.w.Posts("shop"); len(got) != 2 || got[1].Text != "by multipart" {
		t.Errorf("posts %+v", got)
	}

	a.refused(a.json("conversations.replies", map[string]any{"channel": a.w.Channel("shop"), "ts": "1.000001"}), "invalid_arguments")
	a.forgive("takes no JSON body", 1)
	a.forgive("invalid_arguments", 1)
	a.refused(a.json("chat.delete", map[string]any{"channel": a.w.Channel("shop"), "ts": 1.5}), "message_not_found")
	a.forgive("given as a number", 1)
	a.refused(a.json("chat.delete", []string{"x"}), "json_not_object")
	a.refused(a.call("no.such", nil), "unknown_method")
	a.forgive("unknown_method", 1)
}

func TestRateLimit(t *testing.T) {
	a := newApp(t, workspace.Options{})
	limited := 0
	var r map[string]any
	for range 6 {
		if r = a.call("chat.postMessage", a.message("shop", "", "line", nil)); r["status"] == http.StatusTooManyRequests {
			limited++
			break
		}
	}
	if limited != 1 || r["error"] != "ratelimited" || r["header"].(http.Header).Get("Retry-After") != "1" {
		t.Fatalf("limit never came: %v", r)
	}
	a.post("bay", "", "another channel has its own limit", nil)
	a.w.Await(1100*time.Millisecond, func() bool { return false })
	a.post("shop", "", "after the wait", nil)
	if r = a.call("chat.postMessage", a.message("shop", "", "too soon", nil)); r["status"] != http.StatusTooManyRequests {
		t.Fatalf("not limited: %v", r)
	}
	a.call("chat.postMessage", a.message("shop", "", "much too soon", nil))
	a.forgive("before its Retry-After", 1)
}

func TestRateLimitOff(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	for range 60 {
		a.post("shop", "", "line", nil)
	}
}

func TestDistributedApp(t *testing.T) {
	a := newApp(t, workspace.Options{Distributed: true})
	for range 20 {
		a.w.User("kim").Say("shop", "line")
	}
	r := a.fine(a.call("conversations.history", map[string]string{"channel": a.w.Channel("shop")}))
	if n := len(r["messages"].([]any)); n != 15 || r["has_more"] != true {
		t.Errorf("%d messages, more %v", n, r["has_more"])
	}
	if r = a.call("conversations.history", map[string]string{"channel": a.w.Channel("shop")}); r["status"] != http.StatusTooManyRequests {
		t.Errorf("second call in a minute: %v", r["status"])
	}
}

func TestFaults(t *testing.T) {
	a := newApp(t, workspace.Options{})
	send := func(words string) map[string]any {
		return a.call("chat.postMessage", a.message("shop", "", words, nil))
	}

	a.w.Fault(workspace.Fault{Method: "chat.postMessage", RetryAfter: 50 * time.Millisecond})
	if r := send("one"); r["status"] != 429 || r["header"].(http.Header).Get("Retry-After") != "1" {
		t.Errorf("429: %v", r)
	}
	a.w.Await(60*time.Millisecond, func() bool { return false })
	a.w.Fault(workspace.Fault{Method: "chat.postMessage", Status: 500, Skip: 1})
	a.fine(send("two"))
	if r := send("three"); r["status"] != 500 {
		t.Errorf("500: %v", r)
	}
	a.w.Fault(workspace.Fault{Cut: true})
	if r := send("four"); r["ok"] != false || r["status"] != nil {
		t.Errorf("cut: %v", r)
	}
	a.w.Fault(workspace.Fault{Method: "chat.postMessage", After: true, Cut: true})
	if r := send("five"); r["ok"] != false {
		t.Errorf("lost answer: %v", r)
	}
	a.w.Fault(workspace.Fault{Method: "chat.postMessage", Error: "fatal_error", Times: -1})
	a.refused(send("six"), "fatal_error")
	a.refused(send("seven"), "fatal_error")
	a.w.Heal()
	start := time.Now()
	a.w.Fault(workspace.Fault{Method: "auth.test", Delay: 80 * time.Millisecond})
	a.fine(a.call("auth.test", nil))
	if d := time.Since(start); d < 80*time.Millisecond {
		t.Errorf("delay %v", d)
	}
	var seen []string
	for _, m := range a.w.Messages("shop", "") {
		seen = append(seen, m.Text)
	}
	if got := strings.Join(seen, " "); got != "two five" {
		t.Errorf("posted %q, want those done before the answer went astray", got)
	}
	if n := len(a.w.Calls("chat.postMessage")); n != 7 {
		t.Errorf("%d calls", n)
	}
	for _, c := range a.w.Calls("") {
		if c.Args.Has("token") {
			t.Error("a token in the record of calls")
		}
	}
}

func TestDownAndUp(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	a.w.Down()
	if r := a.call("auth.test", nil); r["ok"] != false {
		t.Errorf("answered while down: %v", r)
	}
	if !a.w.Await(workspace.Patience, func() bool { return a.w.Sockets() == 0 }) {
		t.Error("socket still open")
	}
	a.w.Up()
	a.fine(a.call("auth.test", nil))
	a.open()
}
