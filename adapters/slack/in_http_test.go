package slack

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// Check 12: only what Slack signed just now is read.
func TestSignature(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	base := "http://" + r.addr()
	form := func(payload string) []byte { return []byte(url.Values{"payload": {payload}}.Encode()) }
	const formType = "application/x-www-form-urlencoded"
	for _, c := range []struct {
		name string
		f    workspace.Forgery
		want int
	}{
		{"wrong secret", workspace.Forgery{URL: base + PathEvents, Secret: "0123456789abcdef"}, 401},
		{"altered body", workspace.Forgery{URL: base + PathEvents, Alter: true}, 401},
		{"too old", workspace.Forgery{URL: base + PathEvents, Age: 6 * time.Minute}, 401},
		{"of tomorrow", workspace.Forgery{URL: base + PathEvents, Age: -6 * time.Minute}, 401},
		{"no headers", workspace.Forgery{URL: base + PathEvents, NoHeaders: true}, 401},
		{"2 MB", workspace.Forgery{URL: base + PathEvents, Body: bytes.Repeat([]byte("x"), 2<<20)}, 413},
		{"interaction, wrong secret", workspace.Forgery{URL: base + PathInteractions, ContentType: formType, Body: form(`{"type":"block_actions"}`), Secret: "x"}, 401},
		{"command, wrong secret", workspace.Forgery{URL: base + PathCommands, ContentType: formType, Body: []byte("command=/milepost&text=forged+words"), Secret: "x"}, 401},
		{"another path", workspace.Forgery{URL: base + "/slack/other"}, 404},
		{"GET events", workspace.Forgery{URL: base + PathEvents, Method: http.MethodGet}, 405},
		{"GET interactions", workspace.Forgery{URL: base + PathInteractions, Method: http.MethodGet}, 405},
		{"GET commands", workspace.Forgery{URL: base + PathCommands, Method: http.MethodGet}, 405},
		{"PUT", workspace.Forgery{URL: base + PathEvents, Method: http.MethodPut}, 405},
	} {
		status, body, err := r.w.Forge(c.f)
		if err != nil && c.want != 413 { // the server need not read on
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if err == nil && status != c.want || strings.Contains(body, "forged") {
			t.Errorf("%s: %d %q, want %d", c.name, status, body, c.want)
		}
	}
	r.settled()
	if list := r.ear.all(); len(list) > 0 {
		t.Errorf("heard %s", r.heard())
	}
	if strings.Contains(r.log.String(), "forged") {
		t.Error("the log holds what was refused")
	}
	// The payload is the signed body's, not the address's.
	status, _, err := r.w.Forge(workspace.Forgery{URL: base + PathInteractions + "?payload=%7B%22type%22%3A%22block_actions%22%7D", ContentType: formType, Body: []byte("a=b")})
	if err != nil || status != 200 {
		t.Errorf("payload in the address: %d %v", status, err)
	}
	if !strings.Contains(r.log.String(), "can't be read") {
		t.Error("what can't be read was not said")
	}
	// And with the right one it is heard.
	if status, body, err := r.w.Forge(workspace.Forgery{URL: base + PathEvents}); status != 200 || body != "" || err != nil {
		t.Errorf("rightly signed: %d %q %v", status, body, err)
	}
	r.await("heard", func() bool { return r.ear.texts() == "forged words" })
}

// What can't be read is stored, acknowledged and said; nothing of it is logged.
func TestUnreadable(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	base := "http://" + r.addr()
	for _, body := range []string{"Harrow", `{"type":"event_callback"}`, `{"type":"event_callback","event":"Harrow"}`, `{"type":"event_callback","event":{"type":"message","text":"Harrow"}}`,
		`{"type":"event_callback","event":{"type":"message","channel":"C1","user":"U1","ts":1700000000.1,"text":"Harrow"}}`, "{\"type\":\"event_callback\",\"event\":{\"type\":\"\xff\"}}", `[]`, `{}`} {
		if status, answer, err := r.w.Forge(workspace.Forgery{URL: base + PathEvents, Body: []byte(body)}); status != 200 || answer != "" || err != nil {
			t.Errorf("%s: %d %q %v", body, status, answer, err)
		}
	}
	var n int
	if err := r.state.db.QueryRowContext(t.Context(), "SELECT count(*) FROM inbox WHERE state = 1").Scan(&n); err != nil || n != 8 {
		t.Errorf("%d are kept, want 8 (%v)", n, err)
	}
	if k := strings.Count(r.log.String(), "can't be read"); k != 8 {
		t.Errorf("said %d times, want 8", k)
	}
	// Events that are not for us are neither stored nor said.
	b, _ := json.Marshal(map[string]any{"type": "event_callback", "event_id": "Ev1", "event": map[string]any{"type": "team_join", "user": map[string]any{"id": "U1"}}})
	if status, _, err := r.w.Forge(workspace.Forgery{URL: base + PathEvents, Body: b}); status != 200 || err != nil {
		t.Errorf("%d %v", status, err)
	}
	if k := strings.Count(r.log.String(), "can't be read"); k != 8 {
		t.Errorf("said %d times, want 8", k)
	}
}

// Slack looks now and then whether the certificate holds: that is no command, and no
// damage either.
func TestCertificateLook(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	status, body, err := r.w.Forge(workspace.Forgery{URL: "http://" + r.addr() + PathCommands, ContentType: "application/x-www-form-urlencoded", Body: []byte("token=x&ssl_check=1")})
	if status != 200 || body != "" || err != nil {
		t.Errorf("%d %q %v", status, body, err)
	}
	r.settled()
	if in, err := r.Inbox(t.Context()); err != nil || in.Unread != 0 || len(r.ear.all()) > 0 {
		t.Errorf("inbox %+v, %v, heard %s", in, err, r.heard())
	}
	if s := r.log.String(); strings.Contains(s, "level=ERROR") {
		t.Errorf("log:\n%s", s)
	}
}
