package workspace_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"

	"milepost/adapters/slack/workspace"
)

// app is the least an app can be: it calls methods by form and answers envelopes.
type app struct {
	t  *testing.T
	w  *workspace.Workspace
	mu sync.Mutex
	// guarded by mu
	frames []frame
	reply  func(frame) (ack bool, payload any) // nil: acknowledge without payload
}

type frame struct {
	sock     *websocket.Conn
	Type     string
	ID       string `json:"envelope_id"`
	Attempt  int    `json:"retry_attempt"`
	Reason   string `json:"retry_reason"`
	Accepts  bool   `json:"accepts_response_payload"`
	Why      string `json:"reason"`
	Count    int    `json:"num_connections"`
	Payload  map[string]any
	received time.Time
}

// event is the inner event of an events_api frame, nil for others.
func (f frame) event() map[string]any {
	e, _ := f.Payload["event"].(map[string]any)
	return e
}

func (f frame) eventID() string {
	s, _ := f.Payload["event_id"].(string)
	return s
}

// name is the inner event's type with its subtype, else the interaction's type or the command.
func (f frame) name() string {
	if e := f.event(); e != nil {
		s := fmt.Sprint(e["type"])
		if e["subtype"] != nil {
			s += "/" + fmt.Sprint(e["subtype"])
		}
		return s
	}
	if f.Payload["command"] != nil {
		return fmt.Sprint(f.Payload["command"])
	}
	return fmt.Sprint(f.Payload["type"])
}

func newApp(t *testing.T, o workspace.Options) *app {
	t.Helper()
	return &app{t: t, w: workspace.New(t, o)}
}

// open opens a socket and reads it until it ends.
func (a *app) open() *websocket.Conn {
	a.t.Helper()
	r := a.callWith(a.w.AppToken(), "apps.connections.open", nil)
	link, _ := r["url"].(string)
	conn, _, err := websocket.Dial(context.Background(), link, nil)
	if err != nil {
		a.t.Fatalf("socket: %v", err)
	}
	conn.SetReadLimit(1 << 20)
	a.t.Cleanup(func() { conn.CloseNow() })
	_, raw, err := conn.Read(context.Background())
	var hello frame
	if err != nil || json.Unmarshal(raw, &hello) != nil || hello.Type != "hello" {
		a.t.Fatalf("no hello: %s %v", raw, err)
	}
	go func() {
		for {
			_, raw, err := conn.Read(context.Background())
			if err != nil {
				return
			}
			f := frame{sock: conn, received: time.Now()}
			if err := json.Unmarshal(raw, &f); err != nil {
				a.t.Errorf("frame %s: %v", raw, err)
				continue
			}
			a.mu.Lock()
			a.frames = append(a.frames, f)
			reply := a.reply
			a.mu.Unlock()
			if f.ID == "" {
				continue
			}
			ack, payload := true, any(nil)
			if reply != nil {
				ack, payload = reply(f)
			}
			if ack {
				a.ack(f, payload)
			}
		}
	}()
	a.w.Await(workspace.Patience, func() bool { return a.w.Sockets() > 0 })
	return conn
}

func (a *app) ack(f frame, payload any) {
	m := map[string]any{"envelope_id": f.ID}
	if payload != nil {
		m["payload"] = payload
	}
	b, _ := json.Marshal(m)
	f.sock.Write(context.Background(), websocket.MessageText, b)
}

func (a *app) answer(reply func(frame) (bool, any)) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.reply = reply
}

// got lists the frames received so far with that name, all if it is "".
func (a *app) got(name string) (list []frame) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, f := range a.frames {
		if f.ID != "" && (name == "" || f.name() == name) {
			list = append(list, f)
		}
	}
	return list
}

// await waits for n frames with that name.
func (a *app) await(name string, n int) []frame {
	a.t.Helper()
	if !a.w.Await(workspace.Patience, func() bool { return len(a.got(name)) >= n }) {
		var names []string
		for _, f := range a.got("") {
			names = append(names, f.name())
		}
		a.t.Fatalf("want %d × %s, got %d; all: %v", n, name, len(a.got(name)), names)
	}
	return a.got(name)
}

func (a *app) call(method string, args map[string]string) map[string]any {
	a.t.Helper()
	return a.callWith(a.w.BotToken(), method, args)
}

func (a *app) callWith(token, method string, args map[string]string) map[string]any {
	a.t.Helper()
	form := url.Values{"token": {token}}
	for k, v := range args {
		form.Set(k, v)
	}
	res, err := http.PostForm(a.w.APIURL()+method, form)
	if err != nil {
		return map[string]any{"ok": false, "error": err.Error()}
	}
	return decode(a.t, res)
}

func (a *app) json(method string, body any) map[string]any {
	a.t.Helper()
	b, _ := json.Marshal(body)
	req, _ := http.NewRequest(http.MethodPost, a.w.APIURL()+method, bytes.NewReader(b))
	req.Header.Set("Content-Type", "application/json; charset=utf-8")
	req.Header.Set("Authorization", "Bearer "+a.w.BotToken())
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		a.t.Fatal(err)
	}
	return decode(a.t, res)
}

func decode(t *testing.T, res *http.Response) map[string]any {
	t.Helper()
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	out := map[string]any{"status": res.StatusCode, "header": res.Header}
	if err := json.Unmarshal(b, &out); err != nil {
		out["body"] = string(b)
	}
	return out
}

// post posts in a channel by name and gives the ts.
func (a *app) post(channel, thread, words string, more map[string]string) string {
	a.t.Helper()
	r := a.call("chat.postMessage", a.message(channel, thread, words, more))
	if r["ok"] != true {
		a.t.Fatalf("chat.postMessage: %v %v", r["error"], r["errors"])
	}
	return r["ts"].(string)
}

func (a *app) message(channel, thread, words string, more map[string]string) map[string]string {
	args := map[string]string{"channel": a.w.Channel(channel), "text": words, "unfurl_links": "false", "unfurl_media": "false"}
	if thread != "" {
		args["thread_ts"] = thread
	}
	for k, v := range more {
		args[k] = v
	}
	return args
}

// forgive takes back n broken rules that hold the words; it is an error if there were more or fewer.
func (a *app) forgive(words string, n int) {
	a.t.Helper()
	if got := a.w.Forgive(words); got != n {
		a.t.Errorf("broken rules with %q: %d, want %d; others: %q", words, got, n, a.w.Broken())
	}
}

// refused checks that an answer is an error with the code.
func (a *app) refused(r map[string]any, code string) {
	a.t.Helper()
	if r["ok"] != false || r["error"] != code {
		a.t.Errorf("answer ok %v error %v, want error %s", r["ok"], r["error"], code)
	}
}

func (a *app) fine(r map[string]any) map[string]any {
	a.t.Helper()
	if r["ok"] != true {
		a.t.Errorf("answer error %v: %v", r["error"], r["errors"])
	}
	return r
}

const button = `[{"type":"section","block_id":"s","text":{"type":"mrkdwn","text":"Ready?"}},{"type":"actions","block_id":"a","elements":[` +
	`{"type":"button","action_id":"go","value":"yes-1","text":{"type":"plain_text","text":"Go on"}}]}]`

const modal = `{"type":"modal","callback_id":"size","title":{"type":"plain_text","text":"Size"},"submit":{"type":"plain_text","text":"Send"},"blocks":[` +
	`{"type":"input","block_id":"w","label":{"type":"plain_text","text":"Width"},"element":{"type":"plain_text_input","action_id":"width","max_length":10}},` +
	`{"type":"input","block_id":"k","optional":true,"label":{"type":"plain_text","text":"Kind"},"element":{"type":"static_select","action_id":"kind",` +
	`"options":[{"text":{"type":"plain_text","text":"Summer"},"value":"s"},{"text":{"type":"plain_text","text":"Winter"},"value":"w"}]}}]}`

// spoof is a testing.TB that keeps what it is told.
type spoof struct {
	testing.TB
	clean  []func()
	errors []string
}

func (s *spoof) Helper()                   {}
func (s *spoof) Cleanup(f func())          { s.clean = append(s.clean, f) }
func (s *spoof) Errorf(f string, a ...any) { s.errors = append(s.errors, fmt.Sprintf(f, a...)) }

func TestBrokenRuleFailsTheTest(t *testing.T) {
	for _, c := range []struct {
		name, unfurl string
		want         int
	}{{"rule kept", "false", 0}, {"rule broken", "true", 1}} {
		s := &spoof{TB: t}
		w := workspace.New(s, workspace.Options{})
		a := &app{t: t, w: w}
		a.fine(a.call("chat.postMessage", a.message("shop", "", "hello", map[string]string{"unfurl_links": c.unfurl})))
		for _, f := range s.clean {
			f()
		}
		if len(s.errors) != c.want || c.want > 0 && !strings.Contains(s.errors[0], "unfurl_links") {
			t.Errorf("%s: %q", c.name, s.errors)
		}
	}
}
